"""Texts from files never reach a terminal, a page or a spreadsheet raw."""

import pytest

from fitkit.batch.index import safe_cell
from fitkit.words import count, one_line


@pytest.mark.parametrize(
    ("given", "shown"),
    [
        ("a\x1b[31mred", r"a\x1b[31mred"),
        ("two\nlines\tand a tab", "two lines and a tab"),
        ("\u202egnp.exe", r"\u202egnp.exe"),
        ("bell\x07 and \x9b", r"bell\x07 and \x9b"),
        ("half \udcff", r"half \udcff"),
        ("Müller 42 ½ · …", "Müller 42 ½ · …"),
    ],
)
def test_control_characters_are_shown_as_their_code(given, shown):
    assert one_line(given) == shown


def test_a_long_text_is_cut_and_says_so():
    assert one_line("x" * 10_000_000, longest=20) == "x" * 19 + "…"


def test_numbers_agree_with_their_noun():
    assert [count(n, "record") for n in (0, 1, 2)] == ["0 records", "1 record", "2 records"]


@pytest.mark.parametrize("given", ["=cmd()", "+1", "-1", "@x", "\t=cmd()", "\r\n=cmd()", "\x0b=cmd()"])
def test_a_spreadsheet_gets_no_formula_from_a_text(given):
    shown = safe_cell(given)
    assert shown.startswith(("'", "\\x"))


@pytest.mark.parametrize(("given", "shown"), [(-3.25, -3.25), (0, 0), ("a - b", "a - b")])
def test_numbers_stay_numbers(given, shown):
    assert safe_cell(given) == shown
