"""Every real difference between as found and what the rider leaves on: in numbers to undo it by, and in plain words."""

from __future__ import annotations

from dataclasses import dataclass, replace

from fitkit import cautions
from fitkit.assessment import Assessment, Visit, assess
from fitkit.assessment.inputs import Inputs
from fitkit.report.saddle import assumes_dropping
from fitkit.session import key
from fitkit.session.paths import value_at
from fitkit.words import capital, halved, halves, plain

__all__ = ["HEIGHTS", "Change", "Owed", "also_changed", "changes", "owed", "owed_from_last_time"]

SIDES = ("left", "right")
_CLEAT = "cleat_setback_mm"
NOT_MEASURED = "not measured"
NOT_AGAIN = "—"  # not measured again
_READS_ALIKE_MM = 2.0  # a cleat that was not moved may read so much otherwise (house choice)
# Per field: what the row is called, its unit, what is said of more and of less; {side}, {by}, {now}, {before}.
_NUMBERS: dict[str, tuple[str, str, str, str]] = {
    _CLEAT: (
        "{side} cleat behind the joint",
        " mm",
        "Your {side} cleat went {by} mm toward the heel.",
        "Your {side} cleat went {by} mm toward the toes.",
    ),
    "cleat_toe_out_deg": (
        "{side} shoe, toes outward",
        "°",
        "Your {side} shoe was turned by {by}°, toes outward.",
        "Your {side} shoe was turned by {by}°, toes inward.",
    ),
    "shoe_outward_mm": (
        "{side} shoe outside its cleat",
        " mm",
        "Your {side} foot stands {by} mm further out on its cleat.",
        "Your {side} foot stands {by} mm further in on its cleat.",
    ),
}
# What is fitted, by row and unit: recorded nowhere it is not there.
_FITTED: dict[str, tuple[str, str]] = {
    "washer_mm": ("{side} pedal washers", " mm"),
    "extender_mm": ("{side} pedal extender", " mm"),
    "shim_mm": ("{side} shim under the cleat", " mm"),
    "wedge_deg": ("{side} wedge under the foot", "°"),
    "adapter_stack_mm": ("{side} adapter's height under the cleat", " mm"),
}
_OTHER: dict[str, tuple[str, str]] = {
    "spindle_to_cleat_centre_mm": ("{side} cleat from the crank", " mm"),
    "bolt_length_mm": ("{side} cleat bolts", " mm"),
    "spindle_id": ("{side} pedal spindle", ""),
    "extender_id": ("{side} extender", ""),
    "base_adapter_id": ("{side} adapter under the cleat", ""),
}
HEIGHTS: dict[str, tuple[str, str, str]] = {
    "saddle_height_mm": ("Saddle height, crank centre to saddle top", "up", "down"),
    "saddle_setback_mm": ("Saddle behind the crank centre", "back", "forward"),
    "bar_height_mm": ("Bar height", "up", "down"),
    "bar_reach_mm": ("Reach to the bar", "further away", "closer"),
}
# What is said in place of a minus sign.
_BELOW_NOTHING = {_CLEAT: "ahead", "cleat_toe_out_deg": "inward", "shoe_outward_mm": "inside"}
# Before any of these was recorded, the bicycle or the shoe says how it came.
_AS_IT_CAME = {"spindle_to_cleat_centre_mm": "bike.{side}.{name}", "bolt_length_mm": "shoes.{side}.{name}"}


@dataclass(frozen=True)
class Change:
    """One setting before and now, as printed, and the sentence that says how it differs; empty where it does not.

    `by` is how much, in the field's unit, 0 where it was not changed on purpose; `is_sure` is False where the place now
    was decided or tried but not measured again.
    """

    name: str
    side: str | None
    what: str
    before: str
    now: str
    words: str
    is_sure: bool = True
    by: float = 0.0

    @property
    def is_part(self) -> bool:
        """Whether it is a part that is fitted, and not a place that is measured."""
        return self.name in _FITTED or self.name in _OTHER

    @property
    def is_changed(self) -> bool:
        """Whether it was changed, and does not only read otherwise."""
        return bool(self.words) and (self.by != 0 or self.name not in _NUMBERS)


def changes(visit: Visit) -> list[Change]:
    """Return every setting of the position the rider leaves on beside as found, in the order of a paper."""
    inputs, found = Inputs(visit), Inputs(visit, ("as_found",))
    listed = [_number(inputs, found, side, name) for name in _NUMBERS for side in SIDES]
    listed += [_height(inputs, found, name) for name in HEIGHTS]
    listed += [_fitted(inputs, found, side, name) for name in (*_FITTED, *_OTHER) for side in SIDES]
    return [change for change in listed if change is not None]


def also_changed(assessment: Assessment) -> str:
    """Return what was changed beside the cleats' places in one sentence, none where nothing was or a sign is open."""
    found = [change for change in changes(assessment.visit) if change.is_changed and change.name != _CLEAT]
    if not found or cautions.stops_advice(assessment.visit.session):
        return ""
    return f"Also changed: {'; '.join(f'{each.what}: {each.before}, now {each.now}' for each in found)}."


def _printed(value: float | None, unit: str, name: str = "") -> str:
    if value is None:
        return NOT_MEASURED
    text = halves(value)
    if name in _BELOW_NOTHING and text.startswith("−"):
        return f"{text[1:]}{unit} {_BELOW_NOTHING[name]}"
    return f"{text}{unit}"


def _difference(before: float, now: float) -> float:
    """Return now minus before as both are printed."""
    # What rounding alone makes of two places is no change.
    return halved(now) - halved(before) if halved(now - before) else 0.0


def _at(inputs: Inputs, field: str) -> str | None:
    """Return the position that a number now rests on, struck readings left out."""
    path = inputs.current(field)
    return path.removesuffix(f".{field}") if path else None


def _number(inputs: Inputs, found: Inputs, side: str, name: str) -> Change | None:
    what, unit, more, less = _NUMBERS[name]
    if name == _CLEAT:
        before, now = found.setback_now(side), inputs.setback_now(side)
        at = next((p for p in reversed(inputs.positions()) if inputs.own_setback(p, side) is not None), None)
        typed = _typed_move(inputs, side, at)
    else:
        before, now = found.number_now(f"{side}.{name}"), inputs.number_now(f"{side}.{name}")
        at, typed = _at(inputs, f"{side}.{name}"), None
        if name == "shoe_outward_mm" and now is not None:
            before = before or 0.0
    label, is_sure = capital(what.format(side=side)), at == "as_left"
    if before is None:
        if name == _CLEAT:
            return _from_nowhere(inputs, side, label, now)
        return None if now is None else Change(name, side, label, NOT_MEASURED, _printed(now, unit, name), "")
    by = _difference(before, now)
    if by == 0:
        return Change(name, side, label, _printed(before, unit, name), _unmoved(at), "", is_sure)
    words = (more if by > 0 else less).format(side=side, by=halves(abs(by)))
    is_kept = typed == 0 and abs(by) <= _READS_ALIKE_MM
    if is_kept:
        way = "heel" if by > 0 else "toes"
        words = f"Your {side} cleat was not moved; measured again it reads {halves(abs(by))} mm nearer the {way}."
    elif typed is not None and (plain(abs(typed)) != halves(abs(by)) or typed * by < 0):
        words = f"{words[:-1]} ({_scribed(typed, by)})."
    by = 0.0 if is_kept else by
    printed = (_printed(value, unit, name) for value in (before, now))
    return Change(name, side, label, *printed, words, is_sure, by)


def _scribed(typed: float, by: float) -> str:
    """Return the distance that was typed, with its way where the readings say the other one."""
    way = f" toward the {'heel' if typed > 0 else 'toes'}" if typed * by < 0 else ""
    return f"{plain(abs(typed))} mm{way} by the lines scribed on the sole"


def _from_nowhere(inputs: Inputs, side: str, label: str, now: float | None) -> Change:
    """Return the change of a cleat that was not measured as found: what was typed as moved between scribed lines."""
    stands = _printed(now, " mm", _CLEAT)
    at = _at(inputs, f"moved_mm.{side}")
    moved = inputs.number(f"{at}.moved_mm.{side}") if at not in (None, "as_found") else None
    if not moved:
        return Change(_CLEAT, side, label, NOT_MEASURED, stands, "")
    way = f"{plain(abs(moved))} mm toward the {'heel' if moved > 0 else 'toes'}"
    words = f"Your {side} cleat went {way} by the lines scribed on the sole."
    return Change(_CLEAT, side, label, "scribed line", way if now is None else stands, words, at == "as_left", moved)


def _typed_move(inputs: Inputs, side: str, at: str | None) -> float | None:
    """Return the distance typed for the move that the place now rests on, else the one decided."""
    moved = inputs.number(f"{at}.moved_mm.{side}") if at not in (None, "as_found") else None
    return inputs.number(f"decided.moved_mm.{side}") if moved is None else moved


def _unmoved(at: str | None) -> str:
    return "as before" if at == "as_left" else NOT_AGAIN


def _height(inputs: Inputs, found: Inputs, name: str) -> Change | None:
    what, more, less = HEIGHTS[name]
    before, now = found.number_now(name), inputs.number_now(name)
    if now is None:
        return None
    at = _at(inputs, name)
    if before is None:
        return Change(name, None, what, NOT_MEASURED, _printed(now, " mm"), "", at == "as_left")
    by = _difference(before, now)
    if by == 0:
        return Change(name, None, what, _printed(before, " mm"), _unmoved(at), "", at == "as_left")
    words = f"{what.split(',')[0]}: {halves(abs(by))} mm {more if by > 0 else less}."
    return Change(name, None, what, _printed(before, " mm"), _printed(now, " mm"), words, at == "as_left")


def _fitted(inputs: Inputs, found: Inputs, side: str, name: str) -> Change | None:
    what, unit = {**_FITTED, **_OTHER}[name]
    if unit:
        came = _AS_IT_CAME.get(name)
        path = came.format(side=side, name=name) if came else None
        pair = [each.number_now(f"{side}.{name}", bike=path) for each in (found, inputs)]
        pair = [value or 0.0 for value in pair] if name in _FITTED else pair
        shown = [_shown(value, name, unit) for value in pair]
    else:
        pair = [each.word_now(f"{side}.{name}") for each in (found, inputs)]
        shown = ["none" if value is None else value for value in pair]
        shown[0] = "not recorded" if pair[0] is None and name == "spindle_id" else shown[0]
    if pair[0] == pair[1] or pair[1] is None:
        return None
    label = capital(what.format(side=side))
    words = f"{label}: {'taken off' if shown[1] == 'none' else shown[1]} (before: {shown[0]})."
    at = _at(inputs, f"{side}.{name}") if unit else inputs.positions()[inputs.last_with(f"{side}.{name}")]
    return Change(name, side, label, *shown, words, at == "as_left")


def _shown(value: float | None, name: str, unit: str) -> str:
    if value is None:
        return "not recorded"
    if name in _FITTED and value == 0:
        return "none"
    if name != "wedge_deg":
        return f"{plain(value)}{unit}"
    return f"{plain(abs(value))}{unit}, thick at the {'big' if value > 0 else 'little'}-toe side"


@dataclass(frozen=True)
class Owed:
    """A setting of saddle or bars that goes with what was done and was not done itself: by how much [mm], to where."""

    name: str
    by_mm: float
    to_mm: float | None

    @property
    def words(self) -> str:
        """Return "Saddle height 3 mm down, to 735"."""
        what, more, less = HEIGHTS[self.name]
        to = f", to {halves(self.to_mm)}" if self.to_mm is not None else ""
        return f"{what.split(',')[0]} {halves(abs(self.by_mm))} mm {more if self.by_mm > 0 else less}{to}"


def owed(assessment: Assessment) -> list[Owed]:
    """Return what saddle and bars still owe: what was decided and not done, and what a moved cleat asks."""
    inputs, session, found = Inputs(assessment.visit), assessment.visit.session, []
    for name in HEIGHTS:
        decided, left = inputs.number(f"decided.{name}"), inputs.number(f"as_left.{name}")
        if None not in (decided, left) and abs(_difference(left, decided)) >= 1:
            found.append(Owed(name, _difference(left, decided), decided))
    saddle = assessment["saddle.height_only.down"]
    typed = any(value_at(session, f"{at}.saddle_height_mm") for at in inputs.positions() if at != "as_found")
    if typed or not saddle.is_known or not _is_sum_of_what_was_done(assessment) or assumes_dropping(assessment):
        return found
    if halves(saddle.value) != "0":
        now = inputs.number_now("saddle_height_mm")
        found.append(Owed("saddle_height_mm", -saddle.value, None if now is None else now - saddle.value))
    return found


def _is_sum_of_what_was_done(assessment: Assessment) -> bool:
    """Whether a cleat was moved and the sums of the visit are for that, and not for advice nobody followed."""
    moved = {change.side: change.is_changed for change in changes(assessment.visit) if change.name == _CLEAT}
    moves = {side: assessment.foot(side).move for side in SIDES}
    advised = {side for side, move in moves.items() if move is not None and halves(move.value) != "0"}
    done = {side for side in SIDES if moved[side] and assessment.advice[side].kind in ("decided", "kept")}
    return bool(done) and advised <= done


def owed_from_last_time(assessment: Assessment) -> list[Owed]:
    """Return what saddle and bars owed at the last visit and still owe.

    Nothing where there was no visit, or where a cleat was moved or is to be put back since: that asks for another.
    """
    visit = assessment.visit
    is_otherwise = any(change.is_changed for change in changes(visit) if change.name == _CLEAT)
    if visit.previous is None or is_otherwise or any(each.kind == "put_back" for each in assessment.advice.values()):
        return []
    then = replace(visit, key=key(visit.previous), session=visit.previous, previous=None)
    before, now, found = Inputs(then), Inputs(visit), []
    for each in owed(assess(then)):
        stood, stands = before.number_now(each.name), now.number_now(each.name)
        if stands is not None and each.to_mm is not None:
            rest = _difference(stands, each.to_mm)
            is_left = abs(rest) >= 1 and rest * each.by_mm > 0
            found += [Owed(each.name, rest, each.to_mm)] if is_left else []
        elif stood is None or stands is None or stood == stands:
            found.append(each)
    return found
