"""A fitter's own repeats: how far the marks scatter, and the study that a visit's intervals then use."""

from __future__ import annotations

from dataclasses import dataclass

from fitkit.calculations import repeatability
from fitkit.calculations.readings import Interval
from fitkit.calculations.repeatability import LimitsOfAgreement
from fitkit.session.study import FitterStudy, MarkRepeats

ROUNDS_NEEDED = "the joint marked anew twice or more on one shoe or more"
TAPE_NEEDED = "two or more readings of one shoe with the tape left on"


@dataclass(frozen=True)
class Repeated:
    """What repeats showed [mm, the correlation 1]; what could not be told is None and named in `needs`."""

    marking: Interval | None
    ruler: Interval | None
    detectable: Interval | None
    rounds: tuple[tuple[float, float], ...]  # second and first round over the shoes marked anew
    between_rounds: LimitsOfAgreement | None
    correlation: Interval | None
    reference: tuple[tuple[float, float], ...]  # own first readings beside another fitter's
    against_reference: LimitsOfAgreement | None
    needs: tuple[str, ...]


def assess_repeats(repeats: MarkRepeats) -> Repeated:
    """Return what a fitter's repeats show."""
    anew, tape = repeats.taken("mark_found_anew"), repeats.taken("tape_left_on")
    marking, ruler = _technical_error(anew), _technical_error(tape)
    rounds = tuple((readings[1], readings[0]) for readings in anew if len(readings) > 1)
    reference = tuple(
        (shoe.readings_mm[0], shoe.reference_mm)
        for shoe in repeats.shoes
        if shoe.taken == "mark_found_anew" and shoe.readings_mm and shoe.reference_mm is not None
    )
    needs = [need for found, need in ((marking, ROUNDS_NEEDED), (ruler, TAPE_NEEDED)) if found is None]
    return Repeated(
        marking,
        ruler,
        None if marking is None else repeatability.smallest_detectable_change(marking),
        rounds,
        _limits(rounds),
        _correlation(anew),
        reference,
        _limits(reference),
        tuple(needs),
    )


def _technical_error(groups: list[tuple[float, ...]]) -> Interval | None:
    return repeatability.technical_error(groups) if any(len(group) > 1 for group in groups) else None


def _limits(pairs: tuple[tuple[float, float], ...]) -> LimitsOfAgreement | None:
    if len(pairs) < 2:
        return None
    return repeatability.limits_of_agreement([own for own, _ in pairs], [other for _, other in pairs])


def _correlation(anew: list[tuple[float, ...]]) -> Interval | None:
    full = [readings[:2] for readings in anew if len(readings) > 1]
    try:
        return repeatability.icc(full)
    except ValueError:
        return None  # too few shoes, or all alike: no correlation can be told


def study_of(repeats: MarkRepeats) -> FitterStudy:
    """Return the study these repeats make, for the intervals of this fitter's visits from then on."""
    anew, tape = repeats.taken("mark_found_anew"), repeats.taken("tape_left_on")
    lacking = assess_repeats(repeats).needs
    if lacking:
        raise ValueError(f"{repeats.fitter_id}'s repeats make no study yet; needs {' and '.join(lacking)}")
    ruler = repeatability.repeat_spread(tape)
    place = repeatability.mark_place_spread(anew, tape)
    for name, spread in (("marks found anew", place), ("readings with the tape left on", ruler)):
        if not spread.sd > 0:
            raise ValueError(
                f"{name} scatter by {spread.sd:g} mm; expected above 0. Read to the half millimetre, without looking "
                "at the last number"
            )
    return FitterStudy(
        fitter_id=repeats.fitter_id,
        date=repeats.date,
        place_sd_mm=place.sd,
        place_df=place.df,
        spread_sd_mm=ruler.sd,
        spread_df=ruler.df,
    )
