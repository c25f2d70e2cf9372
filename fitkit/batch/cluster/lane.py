"""The kit's own process beside a Dask worker: a pool of one, so that limits and isolation are those of one machine.

Called as ``python -m fitkit.batch.cluster.lane SOCKET``. It ends when the other end of the link closes.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from multiprocessing.connection import Connection
from pathlib import Path

from fitkit.batch.cluster.parcel import Parcel, Returned, unpacked
from fitkit.batch.job import Job
from fitkit.batch.pool import Pool

__all__ = ["main"]


def main() -> None:
    """Make the record of each parcel and send it back."""
    link = Connection(int(sys.argv[1]))
    folder = Path(tempfile.mkdtemp(prefix="cleat-lane-"))
    try:
        _work(link, folder)
    except (EOFError, OSError):
        return  # the Dask worker has gone
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _work(link: Connection, folder: Path) -> None:
    parcel: Parcel = link.recv()
    with Pool(1, _house(parcel, folder), wake=link.fileno()) as pool:
        while True:
            visit = folder / "visit"
            visit.mkdir(mode=0o700)
            job = unpacked(parcel, visit)
            outcome = _outcome(pool, job, parcel)
            link.send(Returned(outcome, _files(Path(job.making, job.key)) if outcome["status"] == "made" else ()))
            shutil.rmtree(visit)
            parcel = link.recv()


def _outcome(pool: Pool, job: Job, parcel: Parcel) -> dict:
    if parcel.pdf and job.browser is None:
        reason = "--pdf needs Chromium, and the cluster's worker has none"
        return {"status": "failed", "reason": reason, "seconds": 0.0}
    for _, outcome in pool.run([job]):
        return outcome
    raise EOFError


def _house(parcel: Parcel, folder: Path) -> dict[str, str]:
    """Write the house rules and parts in force and return the variables that name them."""
    environment = {}
    for variable, name, content in parcel.house:
        target = folder / variable / name
        target.parent.mkdir(mode=0o700)
        target.write_bytes(content)
        environment[variable] = str(target)
    return environment


def _files(record: Path) -> tuple[tuple[str, bytes], ...]:
    return tuple((path.name, path.read_bytes()) for path in sorted(record.iterdir()))


if __name__ == "__main__":
    main()
