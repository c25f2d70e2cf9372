"""Every real difference between as found and what the rider leaves on: in numbers to undo it by, and in plain words."""

from __future__ import annotations

from dataclasses import dataclass, replace

from fitkit import cautions, files
from fitkit.assessment import Assessment, Visit, assess
from fitkit.assessment.inputs import SIDES, Inputs
from fitkit.report.saddle import assumes_dropping
from fitkit.session import key
from fitkit.session.paths import value_at
from fitkit.words import Catalogue, catalogue, halved, halves, plain

ENGLISH = catalogue(files.template("rider_sheet_words.toml"))

_CLEAT = "cleat_setback_mm"
_MEASURED = (_CLEAT, "cleat_toe_out_deg", "shoe_outward_mm")
_HEIGHTS = ("saddle_height_mm", "saddle_setback_mm", "bar_height_mm", "bar_reach_mm")
# What is fitted: recorded nowhere, it is not there.
_FITTED = ("washer_mm", "extender_mm", "shim_mm", "wedge_deg", "adapter_stack_mm")
_OTHER = ("spindle_to_cleat_centre_mm", "bolt_length_mm", "spindle_id", "extender_id", "base_adapter_id")
# Before any of these was recorded, the bicycle or the shoe says how it came.
_AS_IT_CAME = {"spindle_to_cleat_centre_mm": "bike", "bolt_length_mm": "shoes"}
_READS_ALIKE_MM = 2.0  # a cleat that was not moved may read so much otherwise (house choice)


@dataclass(frozen=True)
class Change:
    """One setting before and now, as printed, and the sentence that says how it differs; empty where it does not."""

    name: str  # of the field
    side: str | None  # "left" or "right"; None for saddle and bars
    what: str  # what its row is called
    before: str
    now: str
    words: str = ""
    is_sure: bool = True  # not where the place now was decided or tried and not measured again
    by: float = 0.0  # how much, in the field's unit; 0 where it was not changed on purpose
    was_measured: bool = True
    is_again: bool = True  # whether it was measured again

    @property
    def is_part(self) -> bool:
        """Whether it is a part that is fitted, and not a place that is measured."""
        return self.name in _FITTED or self.name in _OTHER

    @property
    def is_changed(self) -> bool:
        """Whether it was changed, and does not only read otherwise."""
        return bool(self.words) and (self.by != 0 or self.name not in _MEASURED)


def changes(visit: Visit, say: Catalogue = ENGLISH) -> list[Change]:
    """Return every setting of the position the rider leaves on beside as found, in the order of a paper."""
    beside = _BesideAsFound(visit, say)
    listed = [beside.number(name, side) for name in _MEASURED for side in SIDES]
    listed += [beside.number(name) for name in _HEIGHTS]
    listed += [beside.part(name, side) for name in (*_FITTED, *_OTHER) for side in SIDES]
    return [change for change in listed if change is not None]


def alike(found: list[Change], say: Catalogue = ENGLISH) -> list[tuple[Change, str]]:
    """Return the changes with what they are called; left and right in one where they are alike."""
    listed: list[tuple[Change, str]] = []
    for change in found:
        last = listed[-1][0] if listed else None
        if last and last.side == "left" and replace(last, side="right", what=change.what, words=change.words) == change:
            listed[-1] = (last, say(f"{change.name}.row.both"))
        else:
            listed.append((change, change.what))
    return listed


def also_changed(assessment: Assessment) -> str:
    """Return what was changed beside the cleats' places in one sentence, none where nothing was or a sign is open."""
    found = [change for change in changes(assessment.visit) if change.is_changed and change.name != _CLEAT]
    if not found or cautions.stops_advice(assessment.visit.session):
        return ""
    return f"Also changed: {'; '.join(f'{what}: {each.before}, now {each.now}' for each, what in alike(found))}."


def setting_words(name: str, value: float | str, say: Catalogue = ENGLISH) -> str:
    """Return a setting's number, or the id of a part, as its row shows it."""
    if isinstance(value, str):
        return say(f"{name}.value", value=value)
    text = plain(value) if name in _FITTED or name in _OTHER else halves(value)
    return say(f"{name}.{'below' if text.startswith('−') else 'value'}", value=text.removeprefix("−"))


def part_words(change: Change, what: str, say: Catalogue = ENGLISH) -> str:
    """Return what was done with a part, by what it is called."""
    if change.now == say("cell.none"):
        return say("part.taken_off", what=what, before=change.before)
    return say("part.fitted", what=what, now=change.now, before=change.before)


def _difference(before: float, now: float) -> float:
    """Return now minus before as both are printed."""
    # What rounding alone makes of two places is no change.
    return halved(now) - halved(before) if halved(now - before) else 0.0


class _BesideAsFound:
    """The position the rider leaves on beside as found, setting by setting."""

    def __init__(self, visit: Visit, say: Catalogue) -> None:
        self._now, self._found, self._say = Inputs(visit), Inputs(visit, ("as_found",)), say

    def _what(self, name: str, side: str | None) -> str:
        return self._say(f"{name}.row.{side or 'both'}")

    def _place(self, field: str) -> str | None:
        """Return the position that a number now rests on, struck readings left out."""
        path = self._now.current(field)
        return path.removesuffix(f".{field}") if path else None

    def number(self, name: str, side: str | None = None) -> Change | None:
        """Return the change of a place that is measured."""
        field, what = f"{side}.{name}" if side else name, self._what(name, side)
        if name == _CLEAT:
            before, now = self._found.setback_now(side), self._now.setback_now(side)
            own = (at for at in reversed(self._now.positions) if self._now.own_setback(at, side) is not None)
            at = next(own, None)
        else:
            before, now, at = self._found.number_now(field), self._now.number_now(field), self._place(field)
        if name == "shoe_outward_mm" and now is not None:
            before = before or 0.0
        if before is None:
            return self._from_nowhere(name, side, what, now)
        by, is_sure, shown = _difference(before, now), at == "as_left", setting_words(name, before, self._say)
        if by == 0:
            again = self._say("cell.as_before" if is_sure else "cell.not_again")
            return Change(name, side, what, shown, again, is_sure=is_sure, is_again=is_sure)
        key, places = f"{name}.{'more' if by > 0 else 'less'}", {"by": halves(abs(by))}
        typed = self._typed_move(side, at) if name == _CLEAT else None
        if is_kept := typed == 0 and abs(by) <= _READS_ALIKE_MM:
            key += "_kept"
        elif typed is not None and (plain(abs(typed)) != places["by"] or typed * by < 0):
            key += "_typed_other_way" if typed * by < 0 else "_typed"
            places["typed"] = plain(abs(typed))
        words, stands = self._say(f"{key}.{side or 'both'}", **places), setting_words(name, now, self._say)
        return Change(name, side, what, shown, stands, words, is_sure, 0.0 if is_kept else by)

    def _from_nowhere(self, name: str, side: str | None, what: str, now: float | None) -> Change | None:
        """Return the change of what was not measured as found; of a cleat what was typed as moved between lines."""
        unknown = self._say("cell.not_measured")
        shown = unknown if now is None else setting_words(name, now, self._say)
        at = self._place(f"moved_mm.{side}") if name == _CLEAT else None
        moved = self._now.number(f"{at}.moved_mm.{side}") if at not in (None, "as_found") else None
        if moved:
            by, way = plain(abs(moved)), "more" if moved > 0 else "less"
            if now is None:
                shown = self._say(f"cell.scribed_{way}", by=by)
            words = self._say(f"{name}.{way}_scribed.{side}", by=by)
            return Change(name, side, what, self._say("cell.scribed"), shown, words, at == "as_left", moved)
        if now is None and name != _CLEAT:
            return None
        return Change(name, side, what, unknown, shown, was_measured=False)

    def _typed_move(self, side: str, at: str | None) -> float | None:
        """Return the distance typed for the move that the place now rests on, else the one decided."""
        moved = self._now.number(f"{at}.moved_mm.{side}") if at not in (None, "as_found") else None
        return self._now.number(f"decided.moved_mm.{side}") if moved is None else moved

    def part(self, name: str, side: str) -> Change | None:
        """Return the change of a part; None where it is as it was, or nothing is known of it now."""
        field, views = f"{side}.{name}", (self._found, self._now)
        if name.endswith("_id"):
            before, now = (view.word_now(field) for view in views)
            at = None if now is None else self._now.positions[self._now.last_with(field)]
        else:
            came = f"{_AS_IT_CAME[name]}.{field}" if name in _AS_IT_CAME else None
            before, now = (view.number_now(field, bike=came) for view in views)
            if name in _FITTED:
                before, now = before or 0.0, now or 0.0
            at = self._place(field)
        if before == now or now is None:
            return None
        shown = [self._part(name, value) for value in (before, now)]
        change = Change(name, side, self._what(name, side), *shown, is_sure=at == "as_left")
        return replace(change, words=part_words(change, change.what, self._say))

    def _part(self, name: str, value: float | str | None) -> str:
        if value is None:
            return self._say("cell.none" if name in ("extender_id", "base_adapter_id") else "cell.not_recorded")
        return self._say("cell.none") if name in _FITTED and value == 0 else setting_words(name, value, self._say)


@dataclass(frozen=True)
class _Owed:
    """A setting of saddle or bars that goes with what was done and was not done itself: by how much [mm], to where."""

    name: str
    by_mm: float
    to_mm: float | None

    def words(self, say: Catalogue) -> str:
        """Return "Saddle height 3 mm down, to 735"."""
        key, by = f"{self.name}.owed_{'more' if self.by_mm > 0 else 'less'}", halves(abs(self.by_mm))
        return say(key, by=by) if self.to_mm is None else say(f"{key}_to", by=by, to=halves(self.to_mm))


def to_do(assessment: Assessment, say: Catalogue = ENGLISH) -> list[str]:
    """Return what saddle and bars owed at the last visit and still owe, and what they owe since."""
    said = [say("remains.to_do_last_time", owed=each.words(say)) for each in _owed_from_last_time(assessment)]
    return said + [say("remains.to_do", owed=each.words(say)) for each in _owed(assessment)]


def owed_names(assessment: Assessment) -> set[str]:
    """Return the fields of saddle and bars that `to_do` speaks of."""
    return {each.name for each in (*_owed_from_last_time(assessment), *_owed(assessment))}


def _owed(assessment: Assessment) -> list[_Owed]:
    """Return what saddle and bars still owe: what was decided and not done, and what a moved cleat asks."""
    inputs, session, found = Inputs(assessment.visit), assessment.visit.session, []
    for name in _HEIGHTS:
        decided, left = inputs.number(f"decided.{name}"), inputs.number(f"as_left.{name}")
        if None not in (decided, left) and abs(_difference(left, decided)) >= 1:
            found.append(_Owed(name, _difference(left, decided), decided))
    saddle = assessment["saddle.height_only.down"]
    typed = any(value_at(session, f"{at}.saddle_height_mm") for at in inputs.positions if at != "as_found")
    if typed or not saddle.is_known or not _is_sum_of_what_was_done(assessment) or assumes_dropping(assessment):
        return found
    if halves(saddle.value) != "0":
        now = inputs.number_now("saddle_height_mm")
        found.append(_Owed("saddle_height_mm", -saddle.value, None if now is None else now - saddle.value))
    return found


def _is_sum_of_what_was_done(assessment: Assessment) -> bool:
    """Whether a cleat was moved and the sums of the visit are for that, and not for advice nobody followed."""
    moved = {change.side: change.is_changed for change in changes(assessment.visit) if change.name == _CLEAT}
    moves = {side: assessment.feet[side].move for side in SIDES}
    advised = {side for side, move in moves.items() if move is not None and halves(move.value) != "0"}
    done = {side for side in SIDES if moved[side] and assessment.advice[side].kind in ("decided", "kept")}
    return bool(done) and advised <= done


def _owed_from_last_time(assessment: Assessment) -> list[_Owed]:
    """Return what saddle and bars owed at the last visit and still owe.

    Nothing where there was no visit, or where a cleat was moved or is to be put back since: that asks for another.
    """
    visit = assessment.visit
    is_otherwise = any(change.is_changed for change in changes(visit) if change.name == _CLEAT)
    if visit.previous is None or is_otherwise or any(each.kind == "put_back" for each in assessment.advice.values()):
        return []
    then = replace(visit, key=key(visit.previous), session=visit.previous, previous=None)
    before, now, found = Inputs(then), Inputs(visit), []
    for each in _owed(assess(then)):
        stood, stands = before.number_now(each.name), now.number_now(each.name)
        if stands is not None and each.to_mm is not None:
            rest = _difference(stands, each.to_mm)
            is_left = abs(rest) >= 1 and rest * each.by_mm > 0
            found += [_Owed(each.name, rest, each.to_mm)] if is_left else []
        elif stood is None or stands is None or stood == stands:
            found.append(each)
    return found
