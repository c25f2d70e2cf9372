"""House rules and parts table: read as meant, or refused with everything that is wrong with them."""

import json
import pickle
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitkit import files, house
from fitkit.house.rules import parse_rules
from fitkit.vocabulary import PART_KINDS

RULES = files.template("house_rules.json").read_text(encoding="utf-8")
PARTS = files.template("parts.csv").read_text(encoding="utf-8")


@pytest.fixture(autouse=True)
def _no_files_of_one_s_own(monkeypatch):
    monkeypatch.delenv("FITKIT_RULES", raising=False)
    monkeypatch.delenv("FITKIT_PARTS", raising=False)


def rules_with(old, new):
    assert RULES.count(old) == 1, old
    return RULES.replace(old, new)


def table(*rows):
    return "\n".join((PARTS.splitlines()[0], *rows)) + "\n"


def problems(rules):
    return [str(problem) for problem in parse_rules(rules, file="rules.json")[1]]


# --- As shipped -----------------------------------------------------------------------------------------------------


def test_shipped_starting_band_goes_through_the_trade_s_anchors():
    # Common practice, no source: 10 to 15 at EU 40, 13 to 18 and about 15 at EU 42, more than 20 at EU 47.
    band = house.load().rules.starting_band
    low = {size: band.low_at_eu_40_mm + band.per_size_mm * (size - 40) for size in (40, 42, 47)}
    assert low == {40: 10, 42: 13, 47: 20.5}
    assert {size: low[size] + band.high_above_low_mm for size in (40, 42)} == {40: 15, 42: 18}
    assert low[42] + band.point_above_low_mm == 15
    assert (band.grade, band.source) == ("common practice", "common practice, no source")


def test_shipped_shifts_are_the_house_choices():
    # House choices, no source: what each kind of riding and each thing seen does to the starting point.
    ends = {shift.cause: shift.to for shift in house.load().rules.shifts}
    assert {cause for cause, end in ends.items() if end == "high"} == {
        "long_steady",
        "time_trial",
        "heel_drops",
        "unsteady",
    }
    assert {cause for cause, end in ends.items() if end == "low"} == {"short_maximal"}
    assert {cause for cause, end in ends.items() if end == "none"} == {"toes_point", "ankling"}
    assert all("watch" in shift.reason for shift in house.load().rules.shifts if shift.to == "none")


def test_shipped_parts_hold_every_kind_in_three_invented_families():
    shipped = house.load()
    assert shipped.families == ("A", "B", "C")
    assert {part.kind for part in shipped.parts} == set(PART_KINDS)
    assert {part.id[0] for part in shipped.family("A")} == {"A"}
    assert shipped.family("no such family") == ()
    assert sum(len(shipped.family(name)) for name in shipped.families) == len(shipped.parts)


def test_shipped_parts_have_none_of_the_trade_s_steps():
    # Common practice, no source: washers of 2, spindles -5 to +4, longer ones by 4 up to 12.5, extenders 20,
    # a step of 16 between two parts, lateral play 6. The shipped parts are invented and must not be these.
    trade = {"washer": {2}, "extender": {20}, "spindle": {-5, 4, 8, 12, 12.5}, "crank": set()}
    shipped = house.load()
    for part in shipped.parts:
        assert part.adds_mm not in trade.get(part.kind, ()), part.id
        assert part.play_mm != 6, part.id
    for name in shipped.families:
        widths = sorted(part.adds_mm for part in shipped.family(name) if part.kind == "spindle")
        assert {b - a for a, b in pairwise(widths)}.isdisjoint({4, 16})


def test_a_family_leaves_a_rider_in_between_and_another_does_not():
    shipped = house.load()
    in_between = shipped.family("B")
    assert [part.adds_mm for part in in_between if part.kind == "spindle"] == [0, 5, 15]
    assert [part.play_mm for part in in_between if part.kind == "cleat"] == [4]
    assert not any(part.kind == "washer" for part in in_between)
    assert 10 in [part.adds_mm for part in shipped.family("C") if part.kind == "spindle"]


def test_what_is_loaded_cannot_be_changed():
    loaded = house.load()
    with pytest.raises(ValueError, match="frozen"):
        loaded.rules.unsteady_from = 9
    with pytest.raises(ValueError, match="frozen"):
        loaded.parts[0].adds_mm = 9
    assert isinstance(loaded.rules.shifts, tuple)


# --- Which files ----------------------------------------------------------------------------------------------------


def test_arguments_come_before_variables_and_variables_before_what_is_shipped(tmp_path, monkeypatch):
    ours, theirs = tmp_path / "ours.json", tmp_path / "theirs.json"
    ours.write_text(rules_with('"unsteady_from": 4', '"unsteady_from": 5'), encoding="utf-8")
    theirs.write_text(rules_with('"unsteady_from": 4', '"unsteady_from": 6'), encoding="utf-8")
    few = tmp_path / "few.csv"
    few.write_text(table("D,D-spindle-0,spindle,0,,,,,rider,,,,"), encoding="utf-8")
    assert house.load().rules_source == "house rules as shipped"
    monkeypatch.setenv("FITKIT_RULES", str(theirs))
    monkeypatch.setenv("FITKIT_PARTS", str(few))
    by_variable = house.load()
    assert (by_variable.rules.unsteady_from, by_variable.families) == (6, ("D",))
    assert (by_variable.rules_source, by_variable.parts_source) == ("theirs.json", "few.csv")
    assert house.load(rules=ours).rules.unsteady_from == 5


def test_fingerprint_changes_with_any_byte_of_either_file_and_only_then(tmp_path):
    rules, parts = tmp_path / "rules.json", tmp_path / "parts.csv"
    rules.write_text(RULES, encoding="utf-8", newline="")
    parts.write_text(PARTS, encoding="utf-8", newline="")
    first = house.load(rules, parts).fingerprint
    assert first == house.load().fingerprint
    rules.write_text(RULES + " ", encoding="utf-8", newline="")
    second = house.load(rules, parts).fingerprint
    rules.write_text(RULES, encoding="utf-8", newline="")
    parts.write_text(PARTS.replace("A-washer-3,washer,3", "A-washer-3,washer,3.1"), encoding="utf-8", newline="")
    third = house.load(rules, parts).fingerprint
    assert len({first, second, third}) == 3
    assert all(len(mark) == 64 for mark in (first, second, third))


def test_every_problem_of_both_files_comes_in_one_message(tmp_path):
    rules, parts = tmp_path / "bad.json", tmp_path / "bad.csv"
    rules.write_text(rules_with('"access": "owner"', '"access": "world"'), encoding="utf-8")
    parts.write_text(table("D,D-0,spindle,-0.0,,,,,boss,,,,", "D,D-1,washer,-1,,,,,,,,,"), encoding="utf-8")
    with pytest.raises(house.HouseProblems, match="world") as refusal:
        house.load(rules, parts)
    assert [(p.file, p.where) for p in refusal.value.problems] == [
        ("bad.json", "access"),
        ("bad.csv", "line 2, fitted_by"),
        ("bad.csv", "line 3, adds_mm"),
    ]
    assert str(refusal.value).splitlines()[1] == "bad.csv: line 2, fitted_by is 'boss'; expected 'rider' or 'workshop'."
    # A worker process hands the refusal back pickled.
    again = pickle.loads(pickle.dumps(refusal.value))  # noqa: S301 - our own bytes
    assert again.problems == refusal.value.problems


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (None, r"the file is unreadable \(No such file or directory\); .* Asked for: .*it\.x"),
        ("folder", r"the file is unreadable \(Is a directory\)"),
        (b"", "the file is empty"),
        (b" \n\t", "the file is empty"),
        (b"\xef\xbb\xbf ", "empty|no valid JSON"),
        (RULES.encode("utf-16"), "the file is byte 0xff at position 0; expected text in UTF-8"),
        ("family,für".encode("latin-1"), "the file is byte 0xfc at position 8; expected text in UTF-8"),
        (b"a\0b", "the file is text with zero bytes"),
        (b" " * 1_000_001, "the file is too large; expected at most 1000000 bytes"),
    ],
)
def test_a_file_that_cannot_be_read_is_said(tmp_path, content, said):
    path = tmp_path / "it.x"
    if content == "folder":
        path.mkdir()
    elif content is not None:
        path.write_bytes(content)
    for given_files in ({"rules": path}, {"parts": path}):
        with pytest.raises(house.HouseProblems, match=said):
            house.load(**given_files)


def test_byte_order_mark_and_foreign_line_ends_are_let_pass(tmp_path):
    rules, parts = tmp_path / "r.json", tmp_path / "p.csv"
    rules.write_bytes(b"\xef\xbb\xbf" + RULES.encode())
    for line_end in (b"\r\n", b"\r"):
        parts.write_bytes(b"\xef\xbb\xbf" + PARTS.encode().replace(b"\n", line_end))
        loaded = house.load(rules, parts)
        assert (loaded.rules, loaded.parts) == (house.load().rules, house.load().parts)


# --- House rules ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('"version": 1', '"version": 2', "version is 2; expected 1, the version this kit reads."),
        ('"version": 1', '"version": true', "version is true; expected a whole number."),
        ('"version": 1', '"version": "1"', "version is '1'; expected a whole number."),
        ("house-rules", "session", "format is 'cleat-stance-session'; expected 'cleat-stance-house-rules'."),
        ('"access": "owner"', '"access": null', "access is null; expected 'owner' or 'group'."),
        ('"moved_sd_mm": 0.5', '"moved_sd_mm": 0', "moved_sd_mm is 0; expected above 0, up to 20."),
        ('"moved_sd_mm": 0.5', '"moved_sd_mm": NaN', "moved_sd_mm is nan; expected a number."),
        ('"moved_sd_mm": 0.5', '"moved_sd_mm": 1e999', "moved_sd_mm is inf; expected a number."),
        ('"moved_sd_mm": 0.5', '"moved_sd_mm": "0.5"', "moved_sd_mm is '0.5'; expected a number."),
        ('"moved_sd_mm": 0.5', '"moved_sd_mm": true', "moved_sd_mm is true; expected a number."),
        ('"moved_sd_mm": 0.5', '"moved_sd_mm": [0.5]', "moved_sd_mm is a list; expected a number."),
        (
            '"moved_sd_mm": 0.5',
            '"moved_sd_mm": 0.5, "moved_sd_mm": 0.6',
            "moved_sd_mm is written twice; expected each name once. Take one out.",
        ),
        (
            '"angle_deg": 1.0',
            '"angle_deg": 1.0, "angle_deg": 1.0',
            "spread.angle_deg is written twice; expected each name once. Take one out.",
        ),
        (
            '"moved_sd_mm": 0.5',
            '"moved_sd_mn": 0.5',
            "moved_sd_mn is 0.5; expected no such name. Is moved_sd_mm meant?",
        ),
        (
            '"small_numbers_below": 5',
            '"small_numbers_below": 4.5',
            "small_numbers_below is 4.5; expected a whole",
        ),
        ('"least_turns": 8', '"least_turns": 80', "least_turns is 80; expected above 0, up to 30."),
        ('"spread": {', '"spread": 7, "spare": {', "spread is 7; expected a group of settings in braces."),
        (
            '"telephone": null',
            '"telephone": "1\\n2"',
            "clinic.telephone is '1\\n2'; expected one line of",
        ),
        ('"name": null', '"name": " "', "clinic.name is ' '; expected one line of 1 to 300 signs."),
        ('"cause": "ankling"', '"cause": "ankle"', "shifts.6.cause is 'ankle'; expected 'everyday'"),
        (
            '"cause": "ankling"',
            '"cause": "heel_drops"',
            "shifts.6.cause is 'heel_drops'; expected each cause once; it stands in shifts.2 already.",
        ),
        (
            '"least_size": 36',
            '"least_size": 51',
            "starting_band.least_size is 51; expected at most point_from_size, 40.",
        ),
        (
            '"greatest_size": 50',
            '"greatest_size": 46',
            "starting_band.extrapolated_above_size is 47; expected at most greatest_size, 46.",
        ),
        (
            '"point_above_low_mm": 2',
            '"point_above_low_mm": 6',
            "starting_band.point_above_low_mm is 6; expected at most high_above_low_mm, 5.",
        ),
        (
            '"below_point_high_mm": 15',
            '"below_point_high_mm": 9',
            "starting_band.below_point_high_mm is 9; expected at least the line's low end at point_from_size, 10.",
        ),
        (
            '"grade": "common practice"',
            '"grade": "proven"',
            "starting_band.grade is 'proven'; expected 'measured here'",
        ),
    ],
)
def test_a_wrong_rule_is_refused_in_words(old, new, said):
    assert any(told.startswith(f"rules.json: {said}") for told in problems(rules_with(old, new)))


def test_a_missing_rule_is_never_filled_in():
    without = json.loads(RULES)
    del without["unsteady_from"], without["spread"]["angle_deg"]
    assert problems(json.dumps(without)) == [
        "rules.json: spread.angle_deg is missing; expected a value. Copy the line from the shipped file.",
        "rules.json: unsteady_from is missing; expected a value. Copy the line from the shipped file.",
    ]


def test_one_wrong_rule_does_not_hide_another():
    rules = rules_with('"per_size_mm": 1.5', '"per_size_mm": "1.5"')
    rules = rules.replace('"least_size": 36', '"least_size": 49').replace('"to": "low"', '"to": "lower"')
    told = "\n".join(problems(rules))
    assert "per_size_mm is '1.5'" in told
    assert "least_size is 49" in told
    assert "shifts.4.to is 'lower'" in told


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("{", "line 1, column 2 is no valid JSON"),
        ("[" * 100_000, "the file is unreadable (maximum recursion depth exceeded"),
        ("[1]", "the file is a list; expected a group of settings in braces"),
        ("null", "the file is null; expected a group of settings in braces"),
        ('{"format": "\\ud800"}', "the file is Invalid JSON"),
        (rules_with('"least_turns": 8', '"least_turns": 1' + "0" * 5000), "the file is unreadable"),
        (rules_with('"per_size_mm": 1.5', '"per_size_mm": 1' + "0" * 400), "starting_band.per_size_mm is 1000"),
    ],
)
def test_text_that_is_no_rules_file_is_said(text, said):
    told = problems(text)
    assert told[0].startswith(f"rules.json: {said}")
    assert all(len(problem) < 400 for problem in told)


@settings(max_examples=200)
@given(st.integers(0, len(RULES)), st.integers(0, 12), st.text(max_size=6))
def test_a_damaged_rules_file_is_read_or_refused_and_never_breaks(at, length, put):
    rules, told = parse_rules(RULES[:at] + put + RULES[at + length :], file="rules.json")
    assert (rules is None) == bool(told)
