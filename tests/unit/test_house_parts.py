"""The parts table: read as written, or refused with the line of everything that is wrong with it."""

import csv
import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitkit import files, house
from fitkit.house.parts import COLUMNS, parse_parts

PARTS = files.template("parts.csv").read_text(encoding="utf-8")
HEADER = PARTS.splitlines()[0]


def table(*rows):
    return "\n".join((HEADER, *rows)) + "\n"


def problems(parts):
    return [str(problem) for problem in parse_parts(parts, file="parts.csv")[1]]


STANDARD = "D,D-0,spindle,0,,,,14,rider,10,4,,"


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("D,D-0,washer,1,,,,,,,,,", "line 3, id is 'D-0'; expected each id once; it stands in line 2 already."),
        (",D-1,washer,1,,,,,,,,,", "line 3, family is blank; expected 1 to 60 signs."),
        ("D,,washer,1,,,,,,,,,", "line 3, id is blank; expected 1 to 60 signs."),
        ("D,D-1,,1,,,,,,,,,", "line 3, kind is blank; expected 'spindle', 'washer'"),
        ("D,D-1,wascher,1,,,,,,,,,", "line 3, kind is 'wascher'; expected 'spindle', 'washer'"),
        ("D,D-1,washer,-1,,,,,,,,,", "line 3, adds_mm is -1; expected above 0 in a row of kind washer."),
        ("D,D-1,extender,0,,,,,,,,,", "line 3, adds_mm is 0; expected above 0 in a row of kind extender."),
        ("D,D-1,spindle,,,,,,,,,,", "line 3, adds_mm is blank; expected the width added, in a row of kind spindle."),
        ("D,D-1,spindle,500,,,,,,,,,", "line 3, adds_mm is 500; expected -60 to 60."),
        ('D,D-1,spindle,"2,5",,,,,,,,,', "line 3, adds_mm is '2,5'; expected a number. A decimal comma? Write 2.5."),
        ("D,D-1,spindle,2,5,,,,,,,,,", "line 3 is made of 14 cells; expected 13 as in the header. A decimal comma?"),
        ("D,D-1,spindle,3", "line 3 is made of 4 cells; expected 13 as in the header."),
        ("D,D-1,spindle,nan,,,,,,,,,", "line 3, adds_mm is 'nan'; expected a number."),
        ("D,D-1,spindle,1e3,,,,,,,,,", "line 3, adds_mm is '1e3'; expected a number."),
        ("D,D-1,spindle,3 mm,,,,,,,,,", "line 3, adds_mm is '3 mm'; expected a number. The unit stands in the header"),
        (
            "D,D-1,spindle,\u22123,,,,,,,,,",
            "line 3, adds_mm is '\u22123'; expected a number. Write the sign",
        ),
        ("D,D-1,spindle,TRUE,,,,,,,,,", "line 3, adds_mm is 'TRUE'; expected a number."),
        ("D,D-1,spindle,=1+2,,,,,,,,,", "line 3, adds_mm is '=1+2'; expected plain text or a number. A formula?"),
        ("D,@SUM(A1),spindle,3,,,,,,,,,", "line 3, id is '@SUM(A1)'; expected plain text or a number. A formula?"),
        ("-D,D-1,spindle,3,,,,,,,,,", "line 3, family is '-D'; expected plain text or a number. A formula?"),
        ("D,D-1,spindle,3,,,,,+x,,,,", "line 3, fitted_by is '+x'; expected plain text or a number. A formula?"),
        ("D,D-1,washer,1,2,,,,,,,,", "line 3, play_mm is 2; expected blank or 0 in a row of kind washer."),
        ("D,D-1,cleat,,-2,,,,,,,,", "line 3, play_mm is -2; expected 0 to 20."),
        ("D,D-1,cleat,1,4,,,,,,,,", "line 3, adds_mm is 1; expected blank or 0 in a row of kind cleat."),
        ("D,D-1,base_adapter,,,10,-3,,,,,,", "line 3, stack_mm is -3; expected 0 to 40."),
        ("D,D-1,crank,5,,,,,rider,,,,", "line 3, fitted_by is 'rider'; expected workshop in a row of kind crank."),
        ("D,D-1,crank,5,,,,,me,,,,", "line 3, fitted_by is 'me'; expected 'rider' or 'workshop'."),
        ("D,D-1,washer,1,,,,,,,2.5,,", "line 3, in_stock is '2.5'; expected a whole number of pieces, yes or no."),
        ("D,D-1,washer,1,,,,,,,-2,,", "line 3, in_stock is -2; expected 0 to 100000."),
        ("D,D-1,washer,1,,,,,,,,9,", "line 3, max_rider_kg is 9; expected 20 to 300."),
        ("E,E-1,spindle,3,,,,,,,,,", "line 3, family 'E' is without a standard; expected one spindle with adds_mm 0"),
        ("D,D-1,spindle,0,,,,,,,,,", "line 2, family 'D' is with standards in lines 2 and 3; expected one spindle"),
        ('D,"D-1,washer,1,,,,,,,,,', "the file is no readable table"),
    ],
)
def test_a_wrong_part_is_refused_with_its_line(row, said):
    assert [told for told in problems(table(STANDARD, row)) if told.startswith(f"parts.csv: {said}")]


def test_one_wrong_cell_does_not_hide_another():
    told = problems(table(STANDARD, 'D,D-0,washer,-1,99,,,"1,5",boss,-1,,,', "", "E,E 1,extender,x,,,,,,,,,"))
    places_named = [problem.split(" is ")[0].removeprefix("parts.csv: ") for problem in told]
    assert sorted(places_named) == [
        "line 3, adds_mm",
        "line 3, fitted_by",
        "line 3, id",
        "line 3, minutes",
        "line 3, play_mm",
        "line 3, thread_mm",
        "line 5, adds_mm",
    ]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (table(), "the table is empty; expected at least one part below the header."),
        (",,,\n", "the table is empty; expected the header and at least one part below it."),
        (PARTS.replace(",", ";"), "line 1, header is separated by semicolons or tabs; expected separated by commas."),
        (PARTS.replace("adds_mm", "adds mm", 1), "line 1, header is without adds_mm"),
        (PARTS.replace("adds_mm", "adds mm", 1), "line 1, header is with 'adds mm'; expected only the columns"),
        (PARTS.replace("play_mm", "adds_mm", 1), "line 1, header is with adds_mm twice; expected each column once."),
        (PARTS.split("\n", 1)[1], "line 1, header is without family"),
    ],
)
def test_a_wrong_table_is_refused(text, said):
    assert any(told.startswith(f"parts.csv: {said}") for told in problems(text))


def test_blank_is_not_known_and_stock_may_be_said_in_words():
    rows = (STANDARD, "D,D-1,washer,+1,0,0,0,,,,yes,,", "D,D-2,washer,3.,,,,,,,No,,")
    parts, told = parse_parts(table(*rows), file="parts.csv")
    assert told == []
    assert [(part.adds_mm, part.in_stock, part.minutes) for part in parts] == [(0, 4, 10), (1, 1, None), (3, 0, None)]


def test_columns_may_stand_in_another_order():
    order = list(reversed(HEADER.split(",")))
    text = io.StringIO()
    writer = csv.DictWriter(text, order)
    writer.writeheader()
    writer.writerows(csv.DictReader(io.StringIO(PARTS)))
    assert parse_parts(text.getvalue(), file="parts.csv")[0] == parse_parts(PARTS, file="parts.csv")[0]


# --- Whatever a file holds ------------------------------------------------------------------------------------------

mm = st.integers(-60, 60).map(float)
blank_or = st.none().__or__
parts_made = st.one_of(
    st.builds(dict, kind=st.just("washer"), adds_mm=st.integers(1, 60).map(float)),
    st.builds(dict, kind=st.just("cleat"), play_mm=blank_or(st.integers(0, 20).map(float))),
    st.builds(
        dict,
        kind=st.just("base_adapter"),
        setback_gain_mm=blank_or(st.integers(0, 80).map(float)),
        stack_mm=blank_or(st.integers(0, 40).map(float)),
    ),
    st.builds(dict, kind=st.just("crank"), adds_mm=mm, fitted_by=blank_or(st.just("workshop"))),
    st.builds(dict, kind=st.just("spindle"), adds_mm=mm.filter(bool), in_stock=blank_or(st.integers(0, 99))),
)


@given(st.lists(parts_made, max_size=12))
def test_every_possible_table_is_read_back_as_it_was_written(made):
    standard = {"kind": "spindle", "adds_mm": 0.0}
    parts = [house.Part(family="Ä, 1", id=f"part {at}", **values) for at, values in enumerate((standard, *made))]
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(COLUMNS)
    writer.writerows([getattr(part, column) for column in COLUMNS] for part in parts)
    assert parse_parts(text.getvalue(), file="parts.csv") == (tuple(parts), [])


@settings(max_examples=200)
@given(st.integers(0, len(PARTS)), st.integers(0, 12), st.text(max_size=6))
def test_a_damaged_parts_table_is_read_or_refused_and_never_breaks(at, length, put):
    parts, told = parse_parts(PARTS[:at] + put + PARTS[at + length :], file="parts.csv")
    assert (parts == ()) == bool(told)
