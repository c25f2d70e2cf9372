"""What is typed by hand, with dirty hands, is read as meant or asked about; nothing is corrected in silence."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitkit import session
from fitkit.forms.entry import read, shown

SETBACK = session.describe("as_found.left.cleat_setback_mm")
FOOT = session.describe("rider.left.foot_length_mm")
STATURE = session.describe("rider.stature_mm")
CRANK = session.describe("bike.crank_length_mm")
NUMBERS = [info for info in session.fields() if info.sort == "number"]


@pytest.mark.parametrize("blank", ["", "   ", "\t", " ", "\u3000"])
def test_blank_is_not_measured(blank):
    assert read(blank, SETBACK).value == ()
    assert read(blank, STATURE).value is None
    assert read(blank, STATURE).is_taken


@pytest.mark.parametrize(
    ("typed", "values"),
    [
        ("14", (14,)),
        ("14.5", (14.5,)),
        ("14,5", (14.5,)),
        ("14;15", (14, 15)),
        ("14 15  16", (14, 15, 16)),
        ("14, 15, 16", (14, 15, 16)),
        ("11; 11,5 ;12", (11, 11.5, 12)),
        ("-3", (-3,)),
        ("−3", (-3,)),
        ("14 mm 15mm", (14, 15)),
        (".5", (0.5,)),
        ("１４", (14,)),
    ],
)
def test_readings_are_read_as_typed(typed, values):
    entry = read(typed, SETBACK)
    assert entry.is_taken
    assert entry.value == values
    assert entry.typed == typed


@pytest.mark.parametrize(
    ("typed", "info", "words", "offer"),
    [
        ("1O.5", SETBACK, "1O.5” is no number: a letter for a digit? Did you mean 10.5", "10.5"),
        ("105 cm", STATURE, "is in mm. Did you mean 1050", "1050"),
        ("26.7", FOOT, "Foot length is 26.7; expected 150 to 350 mm. Entered in cm? Did you mean 267", "267"),
        ("26.7 267", FOOT, "Foot length is 26.7", "267 267"),
        ("1,755", STATURE, "expected 900 to 2500 mm. Entered in m? Did you mean 1755", "1755"),
        ("14,15", SETBACK, "two readings, 14 and 15, or one, 14.15", "14 15"),
        ("14-15", SETBACK, "Type each reading by itself", ""),
        ("🙂", SETBACK, "is no number; expected a number from -60 to 150", ""),
        ("14 🙂", SETBACK, "is no number", ""),
        ("1\t2\n3\t4", SETBACK, "looks like a pasted table", ""),
        (" ".join(["11"] * 21), SETBACK, "21 numbers: a pasted table", ""),
        ("172 173", CRANK, "2 numbers stand here; crank length takes one", ""),
        ("-", SETBACK, "Leave the field blank", ""),
        ("nan", SETBACK, "“nan” is no number", ""),
        ("inf", SETBACK, "“inf” is no number", ""),
        ("1e2", SETBACK, "“1e2” is no number", ""),
        ("12 kg", SETBACK, "“12 kg”: cleat setback is in mm", ""),
        ("9" * 400, STATURE, "expected 900 to 2500 mm", ""),
        ("½", SETBACK, "is no number", ""),
    ],
)
def test_what_cannot_be_taken_is_said_and_kept(typed, info, words, offer):
    entry = read(typed, info)
    assert not entry.is_taken
    assert words in entry.problem
    assert entry.offer == offer
    assert entry.typed == typed


def test_unusual_is_taken_and_asked():
    entry = read("200", FOOT)
    assert entry.is_taken
    assert entry.value == (200,)
    assert "200 is unusual; usually 209 to 310 mm. Is it right?" in entry.doubt


@pytest.mark.parametrize(
    ("dotted", "typed", "value", "offer"),
    [
        ("follow_up_due", "2026-04-15", "2026-04-15", ""),
        ("follow_up_due", "15.4.2026", None, "2026-04-15"),
        ("follow_up_due", "2026-02-30", None, ""),
        ("complaints.*.since", "2025-11", "2025-11", ""),
        ("complaints.*.since", "2025", "2025", ""),
        ("complaints.*.since", "November", None, ""),
        ("fitter_id", "f2", "f2", ""),
        ("fitter_id", "rider/7", None, "rider-7"),
        ("trials.*.note", "  calmer  at the bottom ", "calmer  at the bottom", ""),
        ("ride.films.*.file", "/etc/passwd", None, ""),
        ("ride.films.*.trial", "1", 1, ""),
        ("ride.films.*.trial", "1.5", None, ""),
    ],
)
def test_words_and_dates(dotted, typed, value, offer):
    entry = read(typed, session.describe(dotted))
    assert entry.value == value
    assert entry.is_taken == (value is not None)
    assert entry.offer == offer


@settings(max_examples=120, deadline=None)
@given(st.text(), st.sampled_from(session.fields()))
def test_any_text_ends_in_a_value_or_in_words(typed, info):
    entry = read(typed, info)
    assert entry.typed == typed
    assert entry.is_taken or entry.problem
    if entry.is_taken and info.possible and entry.value not in (None, ()):
        values = entry.value if info.many else (entry.value,)
        assert all(info.possible[0] <= value <= info.possible[1] for value in values)


@settings(max_examples=120, deadline=None)
@given(st.data(), st.sampled_from(NUMBERS), st.sampled_from([" ", ";", " ; ", "  "]), st.booleans())
def test_what_is_shown_reads_back_the_same(data, info, gap, comma):
    low, high = info.possible
    number = st.floats(low, high, allow_nan=False).map(lambda x: round(x, 1))
    values = tuple(data.draw(st.lists(number, min_size=1, max_size=5 if info.many else 1)))
    text = gap.join(shown(value) for value in values)
    entry = read(text.replace(".", ",") if comma else text, info)
    assert entry.is_taken
    assert entry.value == (values if info.many else values[0])


@settings(max_examples=120, deadline=None)
@given(st.from_regex(r"[0-9OlI]{1,4}([.,][0-9O]{0,2})? ?(cm|mm|m|in|kg)?", fullmatch=True), st.sampled_from(NUMBERS))
def test_an_offer_can_be_taken_or_says_why_not(typed, info):
    entry = read(typed, info)
    if entry.offer:
        again = read(entry.offer, info)
        assert again.is_taken or again.problem
        assert again.typed != typed
