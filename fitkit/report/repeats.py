"""A fitter's own repeats in tables and sentences: how far a mark may be trusted."""

from __future__ import annotations

from dataclasses import asdict
from functools import partial

from fitkit import files
from fitkit.assessment.repeats import Repeated, assess_repeats
from fitkit.calculations.readings import Interval
from fitkit.calculations.repeatability import LimitsOfAgreement
from fitkit.charts import Figure
from fitkit.report.blocks import Sentences, Table, interval_words, number_words
from fitkit.session.study import MarkRepeats, load_repeats
from fitkit.vocabulary import TAKEN_BRIEFLY
from fitkit.words import capital, decimal


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
