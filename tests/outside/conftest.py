"""Data that no package of ours may depend on: unpacked elsewhere, found by one name."""

import os
from pathlib import Path

import pytest

HINT = (
    "needs OUTSIDE_DATA, a folder with the unpacked Debian package r-cran-segmented and the wheel sweat 0.25.0; "
    ".ci/run shows how"
)


@pytest.fixture(scope="session")
def outside_data():
    """Return a function from a name to a path in the folder of outside data; never skipped in CI."""
    folder = os.environ.get("OUTSIDE_DATA")
    if folder is None:
        if os.environ.get("CI"):
            pytest.fail(HINT)
        pytest.skip(HINT)
    return Path(folder).joinpath
