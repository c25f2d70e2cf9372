"""The kit's own files are found from a checkout and from a built install alike."""

import os
import subprocess
import sys
import zipfile

from fitkit import files
from tests.notebooks.refresh import ROOT

ASK = "from fitkit import files, house; print(files.template('client_report.ipynb')); house.load()"


def test_a_checkout_uses_its_own_templates():
    assert files.template("house_rules.json") == ROOT / "templates" / "house_rules.json"


def test_a_built_install_uses_the_templates_inside_it(tmp_path):
    build = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(tmp_path)]
    subprocess.run(build, cwd=ROOT, check=True, capture_output=True, timeout=120)
    site = tmp_path / "site"
    with zipfile.ZipFile(next(tmp_path.glob("*.whl"))) as wheel:
        wheel.extractall(site)
    found = subprocess.run(
        [sys.executable, "-c", ASK],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(site)},
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    assert found.stdout.strip() == str(site / "fitkit" / "_templates" / "client_report.ipynb")
