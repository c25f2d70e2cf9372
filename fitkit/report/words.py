"""Numbers and directions in words: one way to write each, on every screen and paper."""

from __future__ import annotations

from datetime import date

from fitkit.advice_words import halves
from fitkit.cautions import SIGN_WORDS
from fitkit.estimate import Estimate

__all__ = ["capital", "day", "halves", "needs_words", "plain", "value_words", "whole"]

_UNITS = {"mm": " mm", "deg": "°", "turns": " turns", "1": ""}
_MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)


def whole(value: float) -> str:
    """Return a value rounded to a whole number, halves away from 0, with a true minus sign and no minus zero."""
    rounded = int(abs(value) + 0.5)
    return f"−{rounded}" if value < 0 and rounded else str(rounded)


def plain(value: float) -> str:
    """Return a value as it was typed, without needless zeros and with a true minus sign."""
    text = f"{value:.6g}"
    return f"−{text[1:]}" if text.startswith("-") else text


def _rounded(value: float, decimals: int) -> str:
    if decimals == 0:
        return whole(value)
    text = f"{value:.{decimals}f}"
    if float(text) == 0:
        return f"{0:.{decimals}f}"
    return f"−{text[1:]}" if text.startswith("-") else text


def value_words(estimate: Estimate, *, decimals: int = 1) -> str:
    """Return "11.3 mm (8.3 to 14.4)", "between 12 and 16 mm" for a bracket, or "not assessed: needs …"."""
    if estimate.is_bracket:
        return f"between {plain(estimate.low)} and {plain(estimate.high)}{_UNITS[estimate.unit]}"
    if not estimate.is_known:
        return f"not assessed: {needs_words(estimate.needs)}"
    value, low, high = (_rounded(x, decimals) for x in (estimate.value, estimate.low, estimate.high))
    unit = _UNITS[estimate.unit]
    return f"{value}{unit}" if low == high == value else f"{value}{unit} ({low} to {high})"


def needs_words(needs: str) -> str:
    """Return "needs foot length"; what an open sign withholds or no measurement could mend is said as it is."""
    sign = needs.removeprefix("clinician: ")
    if sign == "growing_under_18":
        return "not before a clinician and a parent or guardian agree to it (under 18 and still growing)"
    if sign != needs:
        return f"not before a clinician has seen to {SIGN_WORDS[sign]}"
    return needs if needs.startswith(("not ", "no move ")) else f"needs {needs}"


def capital(text: str) -> str:
    """Return the text with its first letter large, the rest as it is."""
    return text[:1].upper() + text[1:]


def day(when: date | str | None) -> str:
    """Return "4 March 2026"; text that is no full date stays as it is."""
    if when is None:
        return "not set"
    if isinstance(when, str):
        try:
            when = date.fromisoformat(when)
        except ValueError:
            return when
    return f"{when.day} {_MONTHS[when.month - 1]} {when.year}"
