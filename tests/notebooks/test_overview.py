"""A year's demonstration: 1500 invented visits become one notebook and one page, and a house rule when asked."""

import json
import re
from datetime import date

import nbformat
import pytest

from fitkit import house
from fitkit.batch.folder import OVERVIEW_PAGES
from fitkit.batch.overview import OverviewOptions, overview
from tests import invented_year

DAY = date(2026, 12, 31)
POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'"
NOTEBOOK, PAGE = OVERVIEW_PAGES


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """Return the folder with the overview of a year, and the rules written beside it."""
    place = tmp_path_factory.mktemp("year")
    invented_year.write(place / "sessions" / "2026", 1500)
    options = OverviewOptions(place / "out", day=DAY, export_band=place / "rules.json", decided_by="m1")
    assert overview([place / "sessions"], options) == 0
    return place


def test_the_page_is_one_small_private_file(made):
    page = (made / "out" / PAGE).read_bytes()
    text = page.decode()
    assert len(page) < 150_000
    assert POLICY in text
    assert "<script" not in text
    assert not re.search(r"(src|href)=\"(?!data:|#)", text)
    assert "1500 visits" in text
    for name in (PAGE, NOTEBOOK):
        assert str(made) not in (made / "out" / name).read_text(encoding="utf-8")
        assert oct((made / "out" / name).stat().st_mode)[-3:] == "600"
    before, after = text.split("Follow-ups due and overdue</h2>")
    after = after.split("Parts to order</h2>")[1]
    assert not re.search(r"rider-\d", before + after)


def test_the_notebook_ran_to_its_end(made):
    notebook = nbformat.read(made / "out" / NOTEBOOK, as_version=4)
    code = [cell for cell in notebook.cells if cell.cell_type == "code"]
    assert all(cell.execution_count for cell in code)
    assert not [output for cell in code for output in cell.outputs if output.output_type in ("error", "stream")]


def test_the_decided_band_is_a_house_rule(made):
    band = house.load(made / "rules.json").rules.starting_band
    assert band.grade == "this clinic"
    assert "decided by m1 on 2026-12-31" in band.source
    shown = nbformat.read(made / "out" / NOTEBOOK, as_version=4).cells[-1].outputs[0].data
    document = shown["application/vnd.cleat-stance-band+json"]
    at_42 = next(one for one in document["bands"] if one["size_eu"] == 42)
    assert band.low_at_eu_40_mm + 2 * band.per_size_mm == pytest.approx(at_42["middle_half_mm"][0], abs=0.2)


def test_the_same_visits_give_the_same_bytes_and_a_bad_file_is_said(made, capsys, tmp_path):
    few = tmp_path / "few"
    few.mkdir()
    for path in sorted((made / "sessions" / "2026").iterdir())[:30]:
        (few / path.name).write_bytes(path.read_bytes())
    pages = []
    for name in ("one", "two"):
        assert overview([few], OverviewOptions(tmp_path / name, day=DAY)) == 0
        pages.append([(tmp_path / name / file).read_bytes() for file in (PAGE, NOTEBOOK)])
    assert pages[0] == pages[1]
    bad = few / "rider-x_2026-01-01_road.json"
    bad.write_text(json.dumps({"format": "none"}), encoding="utf-8")
    assert overview([few], OverviewOptions(tmp_path / "one", day=DAY)) == 1
    assert "rider-x_2026-01-01_road.json: not counted" in capsys.readouterr().err
    assert "Not counted: rider-x_2026-01-01_road.json" in (tmp_path / "one" / PAGE).read_text(encoding="utf-8")


def test_nothing_learned_is_no_house_rule(made, capsys, tmp_path):
    few = sorted((made / "sessions" / "2026").iterdir())[:10]
    options = OverviewOptions(tmp_path / "out", day=DAY, export_band=tmp_path / "rules.json", decided_by="m1")
    assert overview(few, options) == 1
    assert "rules.json is not written: no band was learned" in capsys.readouterr().err
    assert not (tmp_path / "rules.json").exists()
