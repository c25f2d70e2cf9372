"""What is advised for one foot: from the visit and the one before to the facts that the advice goes by."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from fitkit import cautions
from fitkit.assessment.cleats import Start
from fitkit.assessment.inputs import Inputs
from fitkit.assessment.ride import SideRidden
from fitkit.calculations.advice import (
    HEEL_WARD_SIGNS,
    Advice,
    FootFacts,
    RiddenSetting,
    Steps,
    Worse,
    advise,
    worse_complaints,
)
from fitkit.house import Rules
from fitkit.session import Session
from fitkit.session.paths import value_at

# House choices: a smaller change than these is no change that a complaint is put down to [mm or degrees].
CLEAT_CHANGED_MM = 1.0
_CHANGED = {
    "{side}.cleat_toe_out_deg": 0.5,
    "{side}.shoe_outward_mm": CLEAT_CHANGED_MM,
    "saddle_height_mm": 2.0,
    "saddle_setback_mm": 2.0,
}
_PARTS = (
    *("washer_mm", "extender_mm", "shim_mm", "wedge_deg", "spindle_to_cleat_centre_mm", "adapter_stack_mm"),
    *("spindle_id", "extender_id", "base_adapter_id"),
)


@dataclass(frozen=True)
class Advised:
    """The advice for one foot, the facts it went by, and the complaints that got worse since the last visit."""

    advice: Advice
    facts: FootFacts
    worse: tuple[Worse, ...]


def advise_foot(inputs: Inputs, side: str, start: Start, ridden: SideRidden) -> Advised:
    """Return the advice for one foot."""
    rules, before = inputs.visit.house.rules, inputs.visit.previous
    worse = worse_since(before, inputs.visit.session, side=side, rules=rules) if before else ()
    facts = _facts(inputs, side, start, ridden, worse)
    steps = Steps(
        rules.step_toward_heel_mm,
        rules.step_toward_toes_mm,
        rules.same_setting_mm,
        rules.greatest_setback_mm,
        rules.starting_band.point_above_low_mm,
    )
    return Advised(advise(facts, steps), facts, worse)


def worse_since(before: Session, now: Session, *, side: str, rules: Rules) -> tuple[Worse, ...]:
    """Return the complaints of one side, or of the middle, that are worse than at the visit before."""
    return _worse(before.complaints, now.since_last.complaints or now.complaints, side, before.visit_date, rules)


def _worse(before: Sequence, now: Sequence, side: str, since_day: str | None, rules: Rules) -> tuple[Worse, ...]:
    limits = {"worse_by": rules.worse_by, "new_from": rules.new_from}
    return worse_complaints(before, now, side=side, since_day=since_day, **limits)


def _facts(inputs: Inputs, side: str, start: Start, ridden: SideRidden, worse: tuple[Worse, ...]) -> FootFacts:
    session, shoe = inputs.visit.session, getattr(inputs.visit.session.shoes, side)
    found = inputs.quantity(f"as_found.{side}.cleat_setback_mm")
    sign = cautions.most_urgent(session)
    moved, also = _changed_then(inputs, side) if worse else (None, ())
    is_put_back = moved is not None or bool(also)
    settings, unsteady_trials = _settings(inputs, side, ridden)
    gain = _gain_now(inputs, side)
    least, greatest = shoe.least_cleat_setback_mm, shoe.greatest_cleat_setback_mm
    return FootFacts(
        found_mm=None if found is None else found.value,
        half_width_mm=0.0 if found is None else found.half_width(),
        sign=sign.sign if sign else None,
        decided_mm=_decided(inputs, side),
        worse=worse if is_put_back else (),
        changed_then_mm=moved,
        also_changed=also,
        kept_mm=_kept(inputs, side, unsteady_trials),
        settings=settings,
        seen=_seen(session, side),
        riding=session.rider.riding,
        has_bad_complaint=any((each.severity or 0) >= inputs.visit.house.rules.new_from for each in session.complaints),
        band_low_mm=start.band.low if start.band else None,
        band_high_mm=start.band.high if start.band else None,
        band_needs=_band_needs(start),
        slot_least_mm=least,
        slot_greatest_mm=None if greatest is None else greatest + gain,
        adapters=_adapters(inputs, gain),
        is_worn=shoe.cleat_wear == "worn",
        is_loose=shoe.fit == "loose",
    )


def _band_needs(start: Start) -> str:
    return "shoe size" if start.size_eu is None else f"a band for EU {start.size_eu:g}"


def _seen(session: Session, side: str) -> frozenset[str] | None:
    """Return what was seen of one side as found; None where nobody said that they looked."""
    found = frozenset(entry.what for entry in session.seen if entry.side in (side, "both", None))
    return found if found or session.seen_asked else None


def _decided(inputs: Inputs, side: str) -> float | None:
    places = (inputs.own_setback(position, side) for position in ("decided", "as_left"))
    return next((place for place in places if place is not None), None)


def _kept(inputs: Inputs, side: str, unsteady_trials: frozenset[int]) -> float | None:
    """Return where the last trial kept that says something of this cleat put it; None where that was unsteady."""
    trials = inputs.visit.session.trials
    for number in reversed(range(len(trials))):
        place = inputs.own_setback(f"trials.{number}.position", side) if trials[number].kept else None
        if place is None:
            continue
        read = inputs.readings(f"trials.{number}.position.{side}.cleat_setback_mm")
        is_moved = bool(read) or getattr(trials[number].position.moved_mm, side) != 0
        return place if is_moved and number not in unsteady_trials else None
    return None


def _settings(inputs: Inputs, side: str, ridden: SideRidden) -> tuple[tuple[RiddenSetting, ...], frozenset[int]]:
    """Return the settings ridden and the numbers of the trials in those that were unsteady.

    Unsteady is a setting by its mean score, or by what was seen or hurt more in one of its trials, scored or not.
    """
    rules = inputs.visit.house.rules
    noticed = {}
    for number, trial in enumerate(inputs.visit.session.trials):
        hurts = _worse(inputs.visit.session.complaints, trial.complaints, side, None, rules)
        seen = [sign for sign in HEEL_WARD_SIGNS if sign in ridden.trials[number].seen]
        noticed[number] = (*seen, *(("worse_in_trial",) if hurts else ()))
    settings, unsteady = [], {number for number, by in noticed.items() if by}
    for each in ridden.bracket.settings:
        near = {n for n in noticed if _is_near(ridden.trials[n].cleat_setback_mm, each.cleat_setback_mm, rules)}
        by = {reason for number in near | set(each.trials) for reason in noticed[number]}
        by |= {"by_score"} if each.is_unsteady else set()
        unsteady |= set(each.trials) if by else set()
        settings.append(RiddenSetting(each.cleat_setback_mm, tuple(sorted(by))))
    for number in sorted(number for number, by in noticed.items() if by):
        at = ridden.trials[number].cleat_setback_mm
        if at is not None and not any(_is_near(at, each.cleat_setback_mm, rules) for each in settings):
            settings.append(RiddenSetting(at, noticed[number]))
    return tuple(settings), frozenset(unsteady)


def _is_near(one: float | None, other: float, rules: Rules) -> bool:
    return one is not None and abs(one - other) < rules.same_setting_mm


def _gain_now(inputs: Inputs, side: str) -> float:
    """Return how far a base adapter fitted since the slots were measured moves them toward the heel [mm]."""
    gains = {part.id: part.setback_gain_mm or 0.0 for part in inputs.visit.house.parts if part.kind == "base_adapter"}
    found = getattr(inputs.visit.session.as_found, side).base_adapter_id
    return gains.get(inputs.word_now(f"{side}.base_adapter_id"), 0.0) - gains.get(found, 0.0)


def _adapters(inputs: Inputs, gain_now: float) -> tuple[tuple[str, float], ...]:
    """Return the base adapters that could be fitted, with what each gives beyond the one fitted [mm]."""
    family = inputs.visit.session.bike.pedal_family
    return tuple(
        (part.id, part.setback_gain_mm - gain_now)
        for part in inputs.visit.house.parts
        if part.kind == "base_adapter" and part.setback_gain_mm is not None and family in (None, part.family)
    )


def _changed_then(inputs: Inputs, side: str) -> tuple[float | None, tuple[str, ...]]:
    """Return how far the last visit moved this cleat [mm], None where it did not, and what else it changed."""
    then = Inputs(replace(inputs.visit, session=inputs.visit.previous, previous=None))
    before, after = then.own_setback("as_found", side), then.setback_now(side)
    moved = None if before is None or after is None else after - before
    also = [name for name in _PARTS if _part_changed(then, side, name)]
    for name, more_than in _CHANGED.items():
        field = name.format(side=side)
        found, now = then.number(f"as_found.{field}"), then.number_now(field)
        if None not in (found, now) and abs(now - found) > more_than:
            also.append(field.rpartition(".")[2])
    return (moved if moved is not None and abs(moved) > CLEAT_CHANGED_MM else None), tuple(also)


def _part_changed(then: Inputs, side: str, name: str) -> bool:
    if name.endswith("_id"):
        now = then.word_now(f"{side}.{name}")
        return now is not None and now != value_at(then.visit.session, f"as_found.{side}.{name}")
    before, now = then.number(f"as_found.{side}.{name}"), then.number_now(f"{side}.{name}")
    if name == "spindle_to_cleat_centre_mm":
        before = then.number(f"bike.{side}.{name}") if before is None else before
        return None not in (before, now) and before != now
    return (before or 0.0) != (now or 0.0)
