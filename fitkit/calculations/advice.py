"""What to do with one cleat today, and where it is going: a few rules in order, of which the first that fits counts.

Cleat setbacks are behind the first-MTP mark [mm], toward the heel positive: a greater one is further back. The rules
and their steps are house choices (ours, no source) on top of the trade's band (common practice, no source); only
the size of a change that matters to a person in pain, 2 of 10, stands beside a publication (Farrar et al. 2001, Pain
94:149), and that a worsening of 2 matters as much is our own choice.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace
from typing import Any, Literal

Kind = Literal["clinician", "decided", "put_back", "kept", "after_trials", "other_cause", "move", "leave", "unknown"]
HEEL_WARD_SIGNS = ("unsteady", "heel_drops")
HEEL_WARD_RIDING = ("long_steady", "time_trial")
TOE_WARD_RIDING = ("short_maximal",)
# Seen with a cleat too far forward (common practice, no source): with one of these nothing goes further forward.
HOLDS_BACK = ("hip_drop", "pelvis_rocks", "heel_swing", "weight_on_hands")
MIDDLE = ("low_back", "saddle_area")
ABOVE_THE_BACK = ("neck", "shoulder", "hand")
SPAN_MM = 10.0  # house choice: unsteady over so much, the cleat is hardly the cause
JOINS_MM = 2.0  # house choice: a rest smaller than this joins the step, and a shortfall from this on is said first
ROUNDING = 1e-6  # what two ways of computing one number may differ by


@dataclass(frozen=True)
class Worse:
    """A complaint that is worse than it was: how bad it was [0 to 10], None where it is new, and how bad it is."""

    region: str
    side: str | None
    then: float | None
    now: float


@dataclass(frozen=True)
class RiddenSetting:
    """A cleat setback that was ridden [mm], and the reason ids by which the rider was unsteady there; none: steady."""

    cleat_setback_mm: float
    unsteady_by: tuple[str, ...] = ()


@dataclass(frozen=True)
class Steps:
    """The house choices that the advice goes by [mm]."""

    toward_heel_mm: float = 5.0
    toward_toes_mm: float = 2.0
    same_setting_mm: float = 1.0
    greatest_setback_mm: float = 35.0
    point_above_low_mm: float = 2.0


@dataclass(frozen=True)
class FootFacts:
    """All that the advice for one foot goes by; lengths [mm], toward the heel positive."""

    found_mm: float | None  # cleat setback as found, None where it was not measured
    half_width_mm: float = 0.0  # half of its 95 % interval
    sign: str | None = None  # the open sign that stops the advice
    decided_mm: float | None = None  # where it was decided to be, or was left
    worse: tuple[Worse, ...] = ()  # complaints of this side that got worse since the last visit changed something
    changed_then_mm: float | None = None  # how far the last visit moved this cleat, None where it did not
    also_changed: tuple[str, ...] = ()  # what else the last visit changed
    kept_mm: float | None = None  # setback of the last trial kept that was not unsteady
    settings: tuple[RiddenSetting, ...] = ()  # ridden in trials, those closer than `Steps.same_setting_mm` as one
    seen: frozenset[str] | None = None  # what was seen of this side as found; None where nobody looked
    riding: str | None = None  # what the rider mostly does
    has_bad_complaint: bool = False  # whether a complaint is as bad as a new one that counts
    band_low_mm: float | None = None  # starting band, below the sizes of the trade too; None where there is none
    band_high_mm: float | None = None
    band_needs: str = "shoe size"  # what a band needs, where there is none
    slot_least_mm: float | None = None  # what the slots allow, a fitted adapter counted
    slot_greatest_mm: float | None = None
    adapters: tuple[tuple[str, float], ...] = ()  # base adapters that fit: id and gain toward the heel
    is_worn: bool = False  # whether the cleat is worn
    is_loose: bool = False  # whether the shoe is loose

    @property
    def signs(self) -> tuple[str, ...]:
        """What was seen that speaks for going toward the heel."""
        return tuple(sign for sign in HEEL_WARD_SIGNS if sign in (self.seen or ()))


@dataclass(frozen=True)
class Advice:
    """What is to be done with one cleat; lengths [mm]."""

    kind: Kind  # which rule spoke
    to_mm: float | None = None  # where the cleat is going, None where nothing is advised
    next_mm: float | None = None  # where it goes today
    why: tuple[str, ...] = ()  # reason ids, the strongest first
    needs: str | None = None  # what is missing
    short_by_mm: float = 0.0  # how far the slots end before where it would go, toward the heel positive
    closed_by: tuple[str, ...] = ()  # ids of base adapters that give as much, the least first
    also_back: tuple[str, ...] = ()  # what else the last visit changed and goes back too

    def as_document(self) -> dict:
        """Return the advice as it stands in the results file."""
        return {name: list(value) if isinstance(value, tuple) else value for name, value in asdict(self).items()}


def advise(foot: FootFacts, steps: Steps) -> Advice:
    """Return the advice for one foot by the house choices: the first rule that fits.

    Examples
    --------
    >>> eu_42 = FootFacts(11, 3, band_low_mm=13, band_high_mm=18, seen=frozenset({"unsteady"}))
    >>> found = advise(eu_42, Steps())
    >>> found.kind, found.to_mm, found.next_mm, found.why
    ('move', 18, 16.0, ('unsteady',))
    """
    if foot.sign is not None:
        return Advice("clinician", why=(foot.sign,), needs=f"clinician: {foot.sign}")
    if foot.decided_mm is not None:
        why = ("worse", "decided") if foot.worse else ("decided",)
        return Advice("decided", foot.decided_mm, foot.decided_mm, why, also_back=_also(foot))
    if foot.found_mm is None:
        return Advice("unknown", why=("not_measured",), needs="cleat setback")
    if foot.worse:
        return Advice(
            "put_back", None, foot.found_mm - (foot.changed_then_mm or 0.0), ("worse",), also_back=_also(foot)
        )
    if foot.kept_mm is not None:
        return Advice("kept", foot.kept_mm, foot.kept_mm, ("kept",))
    by_trials = _after_trials(foot, steps) if foot.settings else None
    if by_trials is not None:
        return _held(foot, by_trials, steps)
    return _by_band(foot, steps)


def _also(foot: FootFacts) -> tuple[str, ...]:
    return foot.also_changed if foot.worse else ()


def _ridden(foot: FootFacts, steps: Steps) -> tuple[RiddenSetting, ...]:
    """Return the settings ridden, as found among them where it was watched and no trial repeats it."""
    near = any(abs(each.cleat_setback_mm - foot.found_mm) <= steps.same_setting_mm for each in foot.settings)
    if near or foot.seen is None or (foot.seen and not foot.signs):
        return foot.settings
    return (*foot.settings, RiddenSetting(foot.found_mm, foot.signs))


def _after_trials(foot: FootFacts, steps: Steps) -> Advice | None:
    """Return what the trials say, None where all of them were steady."""
    ridden = _ridden(foot, steps)
    unsteady = [each.cleat_setback_mm for each in ridden if each.unsteady_by]
    steady = [each.cleat_setback_mm for each in ridden if not each.unsteady_by]
    seen_by = tuple(sorted({reason for each in ridden for reason in each.unsteady_by}))
    if not unsteady:
        return None
    if steady and min(steady) < max(unsteady):
        again = int(max(unsteady) * 2 + 0.5) / 2  # as a cleat can be set
        return Advice("after_trials", why=("contrary_trials", *seen_by), needs=f"ride {again:g} once more")
    if steady:
        to, why = min(steady), "steady_in_trials"
    else:
        to, why = min(max(unsteady) + steps.toward_heel_mm, steps.greatest_setback_mm), "unsteady_in_trials"
        is_wide = max(unsteady) - min(unsteady) >= SPAN_MM - ROUNDING or to <= max(unsteady)
        is_far_back = _is_far_back(foot, max(unsteady), steps)
        if is_wide or is_far_back or _loose(foot):  # as without trials
            far = ("unsteady_everywhere",) if is_wide else ("far_behind_band",) if is_far_back else ()
            return Advice("other_cause", why=(*far, *seen_by, *_loose(foot)))
    may_go_ahead = foot.riding in TOE_WARD_RIDING and not foot.signs and not _is_held_back(foot)
    if to < foot.found_mm and not may_go_ahead:
        to, why = foot.found_mm, "never_ahead" if steady else why
    return Advice("after_trials", to, to, (why, *seen_by))


def _is_held_back(foot: FootFacts) -> bool:
    """Whether what was seen or hurts speaks against going toward the toes."""
    return foot.has_bad_complaint or any(each in (foot.seen or ()) for each in HOLDS_BACK)


def _is_far_back(foot: FootFacts, place_mm: float, steps: Steps) -> bool:
    high = foot.band_high_mm
    return high is not None and place_mm > high + steps.toward_heel_mm + ROUNDING


def _loose(foot: FootFacts) -> tuple[str, ...]:
    worn, loose = ("worn_cleat",) if foot.is_worn else (), ("loose_shoe",) if foot.is_loose else ()
    return (*worn, *loose)


def _by_band(foot: FootFacts, steps: Steps) -> Advice:
    if foot.signs:
        return _for_signs(foot, steps)
    if foot.band_low_mm is None:
        return Advice("unknown", why=("no_band",), needs=foot.band_needs)
    wanted = _wanted(foot, steps)
    if isinstance(wanted, Advice):
        return wanted
    to, why = wanted
    if abs(to - foot.found_mm) < foot.half_width_mm - ROUNDING:
        return Advice("leave", why=("smaller_than_measured",))
    to = min(to, steps.greatest_setback_mm)
    return _held(foot, Advice("move", to, None, why), steps)


def _for_signs(foot: FootFacts, steps: Steps) -> Advice:
    """Return what a foot is to do that is unsteady or whose heel drops: toward the heel, or another cause."""
    found, high = foot.found_mm, foot.band_high_mm
    to = found + steps.toward_heel_mm if high is None else max(high, found + steps.toward_heel_mm)
    to = min(to, steps.greatest_setback_mm)
    is_far_back = _is_far_back(foot, found, steps)
    if is_far_back or foot.is_worn or foot.is_loose or to <= found:
        far = ("far_behind_band",) if is_far_back or to <= found else ()
        return Advice("other_cause", why=(*foot.signs, *far, *_loose(foot)))
    return _held(foot, Advice("move", to, None, foot.signs), steps)


def _wanted(foot: FootFacts, steps: Steps) -> tuple[float, tuple[str, ...]] | Advice:
    """Return where riding and band would have the cleat, with the reasons; or the advice to leave it."""
    found, low, high = foot.found_mm, foot.band_low_mm, foot.band_high_mm
    if foot.riding in TOE_WARD_RIDING and found > high:
        if _is_held_back(foot):
            return Advice("leave", why=("held_back",))
        return high, (foot.riding,)
    if found >= low:
        return Advice("leave", why=("inside_band" if found <= high else "behind_band",))
    if foot.riding in HEEL_WARD_RIDING:
        return high, (foot.riding, "ahead_of_band")
    if foot.riding in TOE_WARD_RIDING:
        return low, ("ahead_of_band", foot.riding)
    return low + steps.point_above_low_mm, ("ahead_of_band",)


def _held(foot: FootFacts, advice: Advice, steps: Steps) -> Advice:
    """Return the advice held inside the slots, never past where the cleat stands; within one step if never ridden."""
    if advice.to_mm is None:
        return advice
    to = _inside(foot, advice.to_mm)
    short = advice.to_mm - to
    following = to if advice.next_mm == to else _one_step(foot, to, steps)
    closed_by, why = (), advice.why
    if abs(short) >= JOINS_MM - ROUNDING:
        why = ("slots", *why)
        fitting = sorted((gain, part) for part, gain in foot.adapters if gain >= short - ROUNDING and short > 0)
        closed_by = tuple(part for _, part in fitting)
    return replace(advice, to_mm=to, next_mm=following, why=why, short_by_mm=short, closed_by=closed_by)


def _inside(foot: FootFacts, to: float) -> float:
    found = foot.found_mm
    if to >= found:
        return to if foot.slot_greatest_mm is None else max(min(to, foot.slot_greatest_mm), found)
    return to if foot.slot_least_mm is None else min(max(to, foot.slot_least_mm), found)


def _one_step(foot: FootFacts, to: float, steps: Steps) -> float:
    """Return the place of today: one step from as found, or from the setting ridden nearest on the way."""
    found = foot.found_mm
    way = 1 if to >= found else -1
    step = steps.toward_heel_mm if way > 0 else steps.toward_toes_mm
    ridden = [each.cleat_setback_mm for each in foot.settings]
    on_the_way = [at for at in ridden if way * (at - found) > 0 and way * (to - at) >= 0]
    base = max(on_the_way, key=lambda at: way * at, default=found)
    rest = abs(to - base) - step
    return to if rest < JOINS_MM - ROUNDING else base + way * step


def worse_complaints(
    before: Iterable[Any],
    now: Iterable[Any],
    *,
    side: str,
    since_day: str | None,
    worse_by: float,
    new_from: float,
) -> tuple[Worse, ...]:
    """Return the complaints of one side, or of the middle, from the low back downward, that got worse.

    Parameters
    ----------
    before, now : iterable
        Complaints then and now as a session has them: `region`, `side`, `severity` [0 to 10] and `since` (ISO 8601, a
        day, a month or a year).
    side : str
        "left" or "right".
    since_day : str or None
        Day from which a complaint counts as new (ISO 8601): one that began before is not. None asks nothing of it.
    worse_by, new_from : float
        How much higher, and how high a new one, counts [of 10].

    Notes
    -----
    2 of 10 is a change that matters to a person (Farrar et al. 2001, Pain 94:149); that it holds for a worsening too,
    and that a new complaint counts from 4, are house choices (ours). Without a severity nothing can be said.
    """
    earlier, found = list(before), []
    for each in now:
        if each.region in ABOVE_THE_BACK or not _is_here(each, side) or each.severity is None:
            continue
        alike = [old for old in earlier if old.region == each.region and _overlap(old.side, each.side)]
        same = [old for old in alike if _is_here(old, side)]
        known = [old.severity for old in same if old.severity is not None]
        if known and each.severity - max(known) >= worse_by - ROUNDING:
            found.append(Worse(each.region, each.side, max(known), each.severity))
        elif not same and each.severity >= new_from and not _began_before(each.since, since_day):
            found.append(Worse(each.region, each.side, None, each.severity))
    return tuple(found)


def _is_here(complaint: Any, side: str) -> bool:
    return complaint.region in MIDDLE or complaint.side in (side, "both", None)


def _overlap(one: str | None, other: str | None) -> bool:
    return one == other or "both" in (one, other) or None in (one, other)


def _began_before(since: str | None, day: str | None) -> bool:
    # Only as exact as it was said: 2026 is not before a day of 2026.
    return since is not None and day is not None and since < day[: len(since)]
