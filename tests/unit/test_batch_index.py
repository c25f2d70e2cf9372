"""The index and the summary say what happened to each visit."""

import csv
import io
import re

import pytest

from fitkit.batch.folder import Entry, ReportFolder
from fitkit.batch.index import Row, headline, index_html, rows_of, summary_csv
from fitkit.files import Access

NAMES = ("left.half_stance", "hip.spacing")
RESULTS = ({"name": "left.half_stance", "value": -1.25}, {"name": "hip.spacing", "value": None, "needs": "pelvis"})
FILES = ("record.ipynb", "record.html", "rider_sheet.html", "results.json")


def read(text):
    return list(csv.DictReader(io.StringIO(text)))


def test_the_summary_has_a_column_for_each_result_and_blanks_where_there_is_none():
    rows = [Row("rider-1_2026-03-04_road", True, "made", document={"results": RESULTS}, files=FILES)]
    (row,) = read(summary_csv(rows, NAMES))
    assert row == {
        "key": "rider-1_2026-03-04_road",
        "status": "made",
        "reason": "",
        "left.advice": "",
        "right.advice": "",
        "unsafe": "",
        "left.half_stance": "-1.25",
        "hip.spacing": "",
    }


def test_the_summary_gives_no_values_of_a_record_that_is_out_of_date():
    rows = [Row("rider-1_2026-03-04_road", True, "failed", "=cmd()", document={"results": RESULTS}, files=FILES)]
    (row,) = read(summary_csv(rows, NAMES))
    assert row["left.half_stance"] == ""
    assert row["reason"] == "'=cmd(); the record here is an earlier one and out of date"


def test_the_summary_holds_advice_what_is_not_safe_and_both_ends_of_a_bracket():
    bracket = {"name": "left.forward_limit", "value": None, "low": 12, "high": 16}
    document = {
        "results": [bracket],
        "advice": {"left": {"kind": "move"}, "right": {"kind": "leave"}},
        "unsafe": [{"what": "thread", "side": "left", "why": "7.1 turns of pedal thread engaged, 8 wanted"}],
    }
    rows = [Row("rider-1_2026-03-04_road", True, "made", document=document)]
    (row,) = read(summary_csv(rows, ["left.forward_limit"]))
    assert (row["left.advice"], row["right.advice"]) == ("move", "leave")
    assert row["unsafe"] == "left: 7.1 turns of pedal thread engaged, 8 wanted"
    assert (row["left.forward_limit.low"], row["left.forward_limit.high"]) == ("12", "16")
    assert "left.forward_limit" not in row


def made(name, **document):
    return Row(f"{name}_2026-03-04_road", True, "made", files=FILES, document=document)


SIGN = [{"name": "left.cleat_setback.move", "value": None, "needs": "clinician: fever"}]


def test_what_needs_attention_comes_first_the_most_urgent_on_top():
    rows = [
        made("rider-1"),
        made("rider-2", advice={"left": {"kind": "put_back", "why": ["worse"]}}),
        made("rider-3", unsafe=[{"what": "mass", "side": "right", "why": "for riders up to 90 kg"}]),
        made("rider-4", results=SIGN),
        Row("rider-5_2026-03-04_road", True, "failed", "no room"),
    ]
    page = index_html(rows, headline="")
    said = [
        "Must see a clinician first",
        "rider-4",
        "see a clinician first",
        "Not safe as fitted",
        "rider-3",
        "not safe as fitted: right: for riders up to 90 kg",
        "Not made",
        "rider-5",
        "not made: no room",
        "Got worse since the last change",
        "rider-2",
        "All others",
        "rider-1",
    ]
    at = 0
    for words in said:
        assert words in page[at:], words
        at = page.index(words, at)
    assert 'href="rider-4_2026-03-04_road/record.html"' in page


def test_a_record_that_could_not_be_made_again_keeps_what_the_earlier_one_warned_of():
    page = index_html(
        [Row("rider-4_2026-03-04_road", True, "failed", "no room", False, FILES, {"results": SIGN})], headline=""
    )
    assert "Must see a clinician first" in page
    assert "not made: no room; the record here is an earlier one and out of date; see a clinician first" in page


def test_the_index_goes_by_client_newest_first_each_visit_once():
    keys = ["rider-2_2026-01-01_road", "rider-1_2025-01-01_road", "rider-1_2026-03-04_road"]
    page = index_html([Row(key, True, "made", files=FILES) for key in keys], headline="3 made")
    places = [page.index(f'href="{key}/record.html"') for key in (keys[2], keys[1], keys[0])]
    assert places == sorted(places)
    assert page.count("<tr>") == 1 + len(keys)
    assert 'href="rider-1_2026-03-04_road/rider_sheet.html"' in page


def test_the_index_flags_demonstrations():
    page = index_html([Row("rider-1_2026-03-04_road", True, "made", demonstration=True)], headline="")
    assert ">made; demonstration<" in page


def test_the_index_runs_nothing_and_reaches_nothing():
    rows = [Row("<script>alert(1)</script>.json", False, "failed", '"><img src=x onerror=alert(1)>\x1b[2J')]
    page = index_html(rows, headline="<b>")
    assert "<script" not in page
    assert "<img" not in page
    assert "\x1b" not in page
    assert "<b>" not in page
    assert "http" not in page.replace("http-equiv", "")
    assert "content=\"default-src 'none'; img-src data:; style-src 'unsafe-inline'\"" in page
    assert '<html lang="en">' in page
    colours = set(re.findall(r"#[0-9a-fA-F]{3,6}\b", page))
    assert colours <= {"#1a1a1a", "#595959", "#cfcfcf", "#f1f1f1", "#0072b2", "#fff"}


def test_rows_are_the_latest_run_what_waits_and_what_earlier_runs_left(tmp_path):
    folder = ReportFolder(tmp_path, Access(), tmp_path)
    key = "rider-{}_2026-03-04_road".format
    for number in (1, 2, 3):
        (tmp_path / key(number)).mkdir()
        (tmp_path / key(number) / "results.json").write_text('{"results": []}', encoding="utf-8")
    entries = [
        Entry(run="1", at="", key=key(3), file="", status="made", demonstration=True),
        Entry(run="2", at="", key=key(1), file="", status="failed", reason="why"),
        Entry(run="2", at="", key=None, file="/x/notes.json", status="failed", reason="is none"),
    ]
    rows = rows_of(folder, entries, waiting=[key(4), key(2)])
    assert [(row.name, row.status) for row in rows] == [
        ("/x/notes.json", "failed"),
        (key(1), "failed"),
        (key(2), "waiting"),
        (key(3), "earlier"),
        (key(4), "waiting"),
    ]
    assert rows[1].said == "why; the record here is an earlier one and out of date"
    assert rows[3].demonstration
    assert headline(rows) == "0 made, 0 unchanged, 2 not made, 1 from earlier runs."


@pytest.mark.parametrize(
    ("gap", "after", "mark"),
    [
        ((5, 2), (-1, -4), "toe meets tyre"),
        ((5, 2), (1, -2), "toe may meet tyre"),
        ((0, -3), None, "toe may meet tyre"),
        ((-2, -5), None, "toe meets tyre"),
        ((5, 2), None, None),
        ((0, -3), (6, 3), None),
    ],
)
def test_a_toe_that_meets_or_may_meet_the_tyre_is_marked(gap, after, mark):
    # Value and low end of the gap as found, and after the move where there is one.
    found = [{"name": "left.toe.gap", "value": gap[0], "low": gap[1], "needs": None}]
    found.append({"name": "left.toe.gap_after", "value": None, "low": None, "needs": "a move"})
    if after:
        found[1] |= {"value": after[0], "low": after[1]}
    rows = [Row("rider-1_2026-03-04_road", True, "made", document={"results": found}, files=FILES)]
    page = index_html(rows, headline="1 made")
    assert [word for word in ("toe meets tyre", "toe may meet tyre") if word in page] == ([mark] if mark else [])
