"""What the overview's command refuses, and that forgetting a client takes the overview along."""

from datetime import date
from pathlib import Path

import pytest

from fitkit.batch.folder import OVERVIEW_PAGES, opened
from fitkit.batch.index import forget_reports, opened_to_forget
from fitkit.batch.overview import OverviewOptions, overview
from fitkit.files import Access
from fitkit.problems import WrongCallError

NOTEBOOK, PAGE = OVERVIEW_PAGES
DEMO = Path(__file__).resolve().parents[2] / "demo_sessions"


def test_an_export_needs_a_person(tmp_path):
    with pytest.raises(WrongCallError, match="--export-band needs --decided-by"):
        overview([DEMO], OverviewOptions(tmp_path / "out", export_band=tmp_path / "rules.json"))
    assert not (tmp_path / "out").exists()


def test_an_export_never_replaces_a_file(tmp_path):
    (tmp_path / "rules.json").write_text("{}")
    with pytest.raises(WrongCallError, match=r"rules\.json is there already"):
        overview([DEMO], OverviewOptions(tmp_path / "out", export_band=tmp_path / "rules.json", decided_by="m1"))


def test_an_export_needs_a_folder(tmp_path):
    with pytest.raises(WrongCallError, match="nowhere is not a folder"):
        overview(
            [DEMO], OverviewOptions(tmp_path / "out", export_band=tmp_path / "nowhere" / "rules.json", decided_by="m1")
        )


def test_nothing_found_is_a_wrong_call(tmp_path):
    (tmp_path / "in").mkdir()
    with pytest.raises(WrongCallError, match="no session file found"):
        overview([tmp_path / "in"], OverviewOptions(tmp_path / "out", day=date(2026, 12, 31)))


def test_forgetting_a_client_takes_the_overview_along(tmp_path):
    with opened(tmp_path / "out", Access()) as folder:
        for name in OVERVIEW_PAGES:
            folder.access.write(folder.path / name, b"rider-101")
    with opened_to_forget(tmp_path / "out", Access()) as folder:
        removed = forget_reports(folder, "rider-101")
    assert {path.name for path in removed} == set(OVERVIEW_PAGES)
    assert not (tmp_path / "out" / PAGE).exists()
