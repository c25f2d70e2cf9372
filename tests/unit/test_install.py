"""A damaged install says so."""

import subprocess
import sys

import pytest

from fitkit import files


def test_a_missing_file_of_the_kit_is_said():
    with pytest.raises(FileNotFoundError, match=r"templates/nothing\.html is not part of this install"):
        files.template("nothing.html")


def test_importing_the_package_costs_nothing():
    ask = "import sys; before = set(sys.modules); import fitkit; print(*sorted(set(sys.modules) - before))"
    found = subprocess.run([sys.executable, "-c", ask], capture_output=True, text=True, check=True, timeout=60)
    assert found.stdout.split() == ["fitkit"]
