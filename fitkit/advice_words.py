"""What is advised and why, in the words of ``templates/advice_words.toml``, for needs, record, sheet and forms."""

from __future__ import annotations

from functools import partial

from fitkit import files
from fitkit.calculations.advice import Advice, Worse
from fitkit.estimate import Estimate
from fitkit.vocabulary import PLACES, SIGN_WORDS
from fitkit.words import catalogue, decimal, halved, halves, span

_SAY = catalogue(files.template("advice_words.toml"))
COSTS_LESS, KIND_WORDS, REASON_WORDS = _SAY["costs_less"], _SAY["kinds"], _SAY["reasons"]


def no_move_words(advice: Advice) -> str:
    """Return why no move is advised, "no move advised: it stands inside the starting band, …"."""
    if advice.needs is not None:
        if advice.needs.startswith("ride "):
            return _SAY("no_move.for_a_reason", why=advice.needs)
        return _SAY("no_move.for_a_need", needs=advice.needs)
    strongest = next((reason for reason in advice.why if reason in REASON_WORDS), "no_band")
    return _SAY("no_move.for_a_reason", why=REASON_WORDS[strongest])


def change_words(before_mm: float, after_mm: float) -> str:
    """Return "4.5 mm toward the heel", as the difference of both places in half millimetres, or "not moved"."""
    move = halved(after_mm) - halved(before_mm)
    way = "none" if move == 0 else "toward_heel" if move > 0 else "toward_toes"
    return _SAY(f"change.{way}", size=halves(abs(move)))


def _place(region: str, side: str | None) -> str:
    """Return where a complaint is, as "left front of the knee"."""
    place = PLACES[region]
    return _SAY("worse.both_sides", place=place) if side == "both" else f"{side} {place}" if side else place


def worse_words(worse: Worse) -> str:
    """Return "left front of the knee from 3 to 6 of 10", or "new: … 5 of 10"."""
    place = _place(worse.region, worse.side)
    if worse.then is None:
        return _SAY("worse.new", place=place, now=f"{worse.now:g}")
    return _SAY("worse.risen", place=place, then=f"{worse.then:g}", now=f"{worse.now:g}")


def slots_words(advice: Advice) -> str:
    """Return where the slots stop the move and what would help, nothing where they do not."""
    if "slots" not in advice.why:
        return ""
    where = "begin" if advice.short_by_mm < 0 else "end_adapter" if advice.closed_by else "end"
    adapters = _SAY["slots.adapters_joined"].join(advice.closed_by)
    return _SAY(f"slots.{where}", size=halves(abs(advice.short_by_mm)), adapters=adapters)


_tenth = partial(decimal, places=1)
_UNITS = {
    "mm": (" mm", halves),
    "deg": ("°", _tenth),
    "turns": (" turns", _tenth),
    "1": ("", partial(decimal, places=3)),
}


def value_words(estimate: Estimate) -> str:
    """Return "11.5 mm (8.5 to 14.5)", "between 12 and 16 mm" for a bracket, or "not assessed: needs …"."""
    unit, form = _UNITS[estimate.unit]
    if estimate.is_bracket:
        return _SAY("value.bracket", low=form(estimate.low), high=form(estimate.high), unit=unit)
    if not estimate.is_known:
        return _SAY("value.not_assessed", needs=needs_words(estimate.needs))
    return span(estimate.value, estimate.low, estimate.high, unit, form)


def needs_words(needs: str) -> str:
    """Return "needs foot length"; what an open sign withholds or no measurement could mend is said as it is."""
    sign = needs.removeprefix("clinician: ")
    if sign == "growing_under_18":
        return _SAY("value.growing_under_18")
    if sign != needs:
        return _SAY("value.after_a_clinician", sign=SIGN_WORDS[sign])
    return needs if needs.startswith(("not ", "no move ")) else _SAY("value.needs", needs=needs)
