"""The way to a cluster, and what is refused: unsafe addresses, nobody there, another kit."""

from __future__ import annotations

import contextlib
import ipaddress
import re
from collections.abc import Iterator
from typing import TYPE_CHECKING

from fitkit.batch.cluster import remote
from fitkit.batch.cluster.parcel import differences
from fitkit.problems import WrongCallError
from fitkit.words import one_line

if TYPE_CHECKING:
    from distributed import Client

__all__ = ["check_address", "connected"]

_ADDRESS = re.compile(r"(?P<kind>[a-z]+)://(?P<host>\[[0-9a-fA-F:.]+\]|[\w.-]+):(?P<port>\d{1,5})")
_EXPECTED = "expected tls://HOST:PORT, or tcp://127.0.0.1:PORT on this machine"
_ANSWER_S = 10


def check_address(address: str) -> None:
    """Refuse an address over which health data could be read on its way."""
    found = _ADDRESS.fullmatch(address)
    if not found or int(found["port"]) > 65535 or found["kind"] not in ("tcp", "tls"):
        raise WrongCallError(f"the cluster's address is {one_line(address, longest=120)!r}; {_EXPECTED}")
    if not _is_safe(address):
        raise WrongCallError(
            f"{one_line(address)} is another machine and not encrypted: clients' health data would be readable on the "
            f"way; {_EXPECTED}"
        )


def _is_safe(address: str) -> bool:
    found = _ADDRESS.fullmatch(address)
    if not found:
        return False
    if found["kind"] == "tls" or found["host"] == "localhost":
        return True
    try:
        return ipaddress.ip_address(found["host"].strip("[]")).is_loopback
    except ValueError:
        return False


@contextlib.contextmanager
def connected(address: str) -> Iterator[Client]:
    """Hold the way to a cluster that may be used, for as long as the block runs."""
    check_address(address)
    try:
        from distributed import Client, Security
    except ImportError:
        raise WrongCallError(
            "--cluster needs the package 'distributed'; install the kit's extra [cluster], or leave out --cluster"
        ) from None
    if address.startswith("tls:") and Security().get_connection_args("client").get("ssl_context") is None:
        raise WrongCallError(
            f"{one_line(address)} needs certificates; name them in Dask's configuration, under distributed.comm.tls"
        )
    try:
        client = Client(address, timeout=_ANSWER_S, set_as_default=False)
    except (OSError, ValueError, TypeError, RuntimeError) as error:
        raise WrongCallError(f"no cluster answers at {one_line(address)}: {one_line(error, longest=200)}") from None
    try:
        _check_workers(client, address)
        yield client
    finally:
        client.close()


def _check_workers(client: Client, address: str) -> None:
    workers = client.scheduler_info(n_workers=-1)["workers"]
    if not workers:
        raise WrongCallError(f"the cluster at {one_line(address)} has no workers; start some, then run again")
    unsafe = sorted(worker for worker in workers if not _is_safe(worker))
    if unsafe:
        raise WrongCallError(
            f"the cluster's worker {one_line(unsafe[0])} is another machine and not encrypted; {_EXPECTED}"
        )
    try:
        found = client.run(remote.facts)
    except Exception as error:  # whatever a worker without the kit, or with an older one, stumbles over
        reason = one_line(error, longest=200)
        raise WrongCallError(
            f"the workers of {one_line(address)} do not have this kit ({reason}); install it there"
        ) from None
    for worker, facts in sorted(found.items()):
        differ = differences(facts)
        if differ:
            raise WrongCallError(
                f"the cluster's worker {one_line(worker)} has another version of the kit: {one_line(differ)}; "
                "install the same everywhere"
            )
