"""A fitter's own repeats, in tables and sentences: how far a mark may be trusted, and the study visits then use."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from functools import partial

from fitkit import files
from fitkit.calculations import repeatability
from fitkit.calculations.readings import Interval
from fitkit.calculations.repeatability import LimitsOfAgreement
from fitkit.charts import Figure
from fitkit.report.blocks import Sentences, Table, interval_words, number_words
from fitkit.session.study import FitterStudy, MarkRepeats, load_repeats
from fitkit.vocabulary import TAKEN_BRIEFLY
from fitkit.words import capital, decimal

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


class RepeatsShown:
    """What a fitter's repeats show, part by part."""

    def __init__(self, repeats: MarkRepeats) -> None:
        self.repeats = repeats
        self.found: Repeated = assess_repeats(repeats)

    def errors(self) -> Table:
        """Return the technical error of marking and of the ruler, bias, and the smallest change that can be seen."""
        found = self.found
        rows = [
            ("Technical error, joint marked anew", _tenths(found.marking)),
            ("Technical error, tape left on (the ruler alone)", _tenths(found.ruler)),
            ("Smallest change between two marks that is more than error", _tenths(found.detectable)),
            ("Second round less first", _tenths(_bias(found.between_rounds))),
            ("Own less the other fitter's", _tenths(_bias(found.against_reference))),
        ]
        if found.correlation is not None:
            words = interval_words(found.correlation, form=partial(decimal, places=2))
            rows.append(("Intraclass correlation of two rounds, form (2,1)", words))
        caption = "What your repeats show, with 95 % intervals (measured here)"
        return Table(caption, ("", "mm; the correlation has no unit"), tuple(rows))

    def words(self) -> Sentences:
        """Say what the errors mean, what is still needed, and what repeats cannot show."""
        found = self.found
        lines = [f"Not assessed: needs {need}." for need in found.needs]
        if found.marking is not None:
            lines.append(
                f"Marked anew, one reading lies within about {1.96 * found.marking.value:.0f} mm of your own mean; "
                f"from so few repeats the error may as well be {found.marking.low:.1f} or {found.marking.high:.1f} mm."
            )
        lines.append("With the tape left on you measure the ruler, not the mark.")
        lines.append("Repeats show how your marks scatter, never that all of them lie off the joint.")
        return Sentences(tuple(lines))

    def taken(self) -> Table:
        """Return the readings of each shoe as taken."""
        rows = tuple(
            (
                capital(shoe.shoe),
                TAKEN_BRIEFLY[shoe.taken],
                ", ".join(f"{reading:g}" for reading in shoe.readings_mm),
                number_words(shoe.reference_mm, "{:g}".format, "mm"),
            )
            for shoe in self.repeats.shoes
        )
        head = ("", "How taken", "Readings, mm, in their order", "The other fitter, mm")
        return Table("Your readings", head, rows, "No reading yet.")

    def agreement(self) -> Figure | Sentences:
        """Draw the second round against the first; a sentence where there are too few."""
        return _drawn(self.found.rounds, self.found.between_rounds, "second less first")

    def against_reference(self) -> Figure | Sentences:
        """Draw own readings against another fitter's; a sentence where there are too few."""
        return _drawn(self.found.reference, self.found.against_reference, "own less other")


def example() -> MarkRepeats:
    """Return an invented trainee's repeats."""
    return load_repeats(files.template("worked_example/f3_repeats.json"))


def _drawn(pairs: tuple[tuple[float, float], ...], limits: LimitsOfAgreement | None, what: str) -> Figure | Sentences:
    if limits is None:
        return Sentences((f"Agreement, {what}: needs two shoes or more.",))
    from fitkit.charts import plots  # brings pandas: only where there is something to draw

    named = {"bias": limits.bias, "lower limit": limits.lower, "upper limit": limits.upper}
    lines = [{"name": name, **asdict(found)} for name, found in named.items()]
    return plots.agreement_plot(pairs, lines, what=what, unit="mm")


def _bias(limits: LimitsOfAgreement | None) -> Interval | None:
    return None if limits is None else limits.bias


def _tenths(found: Interval | None) -> str:
    return interval_words(found, form=partial(decimal, places=1), caption_unit="mm")
