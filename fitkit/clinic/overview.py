"""The clinic's overview, section by section: what the notebook shows and the page prints."""

from __future__ import annotations

from functools import cached_property
from pathlib import Path

import pandas

from fitkit import files
from fitkit.calculations.cleats import starting_band
from fitkit.calculations.learned_band import SIMULATED_COVERAGE, effect_of_start
from fitkit.calculations.readings import Interval
from fitkit.charts import Figure
from fitkit.clinic import work
from fitkit.clinic.learning import LearnedBand, band_document, band_of, compare
from fitkit.clinic.visits import OUTCOMES, ClinicVisits, got_worse, load
from fitkit.report.blocks import Sentences, Table
from fitkit.vocabulary import SIGN_WORDS, choice_words
from fitkit.words import capital, catalogue, count, day, halves, signed, span, tenths

_SAY = catalogue(files.template("overview_words.toml"))
BAND_TYPE = "application/vnd.cleat-stance-band+json"
# A page stays under 150 kB and a list can be read: what is left out is counted.
LONGEST_LIST = 120
_EACH_SIDE = 1.0  # the rule is drawn one size beyond the sizes seen


class BandData:
    """The learned band as structured output of one cell; an export takes it from there."""

    def __init__(self, document: dict) -> None:
        self.document = document

    def _repr_mimebundle_(self, include=None, exclude=None) -> dict:
        sizes = len(self.document["bands"])
        said = f"the band for {sizes} sizes" if sizes else "that no band was learned"
        return {BAND_TYPE: self.document, "text/plain": f"In the notebook as data: {said}"}


class Overview:
    """What a clinic's manager looks at."""

    def __init__(self, sessions: str | Path | ClinicVisits) -> None:
        self.clinic = sessions if isinstance(sessions, ClinicVisits) else load(sessions)

    @cached_property
    def band(self) -> LearnedBand:
        """What the settled riders teach."""
        return band_of(self.clinic)

    @cached_property
    def _visits(self) -> pandas.DataFrame:
        return self.clinic.visits_frame()

    @cached_property
    def _follow_ups(self) -> pandas.DataFrame:
        return work.follow_ups(self.clinic)

    @cached_property
    def _orders(self) -> pandas.DataFrame:
        return work.orders(self.clinic)

    def about(self) -> Sentences:
        """Say whose visits these are and from when to when."""
        visits = self._visits
        if visits.empty:
            return Sentences(("No visit was found.",), kind="about")
        days, riders = visits["visit_date"], visits["client_id"].nunique()
        name = self.clinic.house.rules.clinic.name
        whose = f"{name} · " if name else ""
        lines = [
            f"{whose}{count(len(visits), 'visit')} of {count(riders, 'rider')}, {day(days.min())} to {day(days.max())}",
            f"Follow-ups are counted against {day(self.clinic.day)}.",
        ]
        if any(one.demonstration for one in self.clinic.sessions):
            lines.append("Demonstration: invented riders, invented clinic.")
        return Sentences(tuple(lines), kind="about")

    def first_lines(self) -> Sentences:
        """Say what needs doing first, and what was learned in one line."""
        over = int((self._follow_ups["days_over"] > 0).sum())
        lines = (
            f"{count(over, 'follow-up')} overdue, {len(self._follow_ups) - over} due within four weeks.",
            f"{capital(count(len(self._orders), 'part'))} to order or to look for.",
            self.learned().lines[0],
        )
        return Sentences(lines, kind="lead")

    def months(self) -> Table:
        """Return the visits month by month."""
        rows = tuple(tuple(map(str, row)) for row in work.months(self.clinic).itertuples())
        columns = ("Month", "Visits", "Riders", "First visits", "Signed off")
        return Table("Visits month by month", columns, rows, "No visit.")

    def not_counted(self) -> Sentences:
        """Say which files could not be read."""
        wrong = self.clinic.not_counted
        lines = [f"Not counted: {_shortened(text)}" for text in wrong[:LONGEST_LIST]]
        if len(wrong) > LONGEST_LIST:
            lines.append(f"And {len(wrong) - LONGEST_LIST} more files that were not counted.")
        return Sentences(tuple(lines) or ("Every file was read.",))

    def follow_ups(self) -> Table:
        """Return whom to call, the longest overdue first."""
        rows = [
            (one.client_id, one.setup, one.fitter_id or "not said", day(one.due), _overdue(one.days_over))
            for one in self._follow_ups[:LONGEST_LIST].itertuples()
        ]
        more = len(self._follow_ups) - LONGEST_LIST
        if more > 0:
            rows.append((f"and {more} more, due later", "", "", "", ""))
        caption = f"Due by {day(self.clinic.day)}, or within four weeks after it, and not seen since"
        return Table(caption, ("Client", "Set-up", "Fitter", "Due", ""), tuple(rows), "No follow-up is due.")

    def orders(self) -> Table:
        """Return the parts to order."""
        rows = tuple(
            (
                one.Index,
                one.family,
                one.kind.replace("_", " "),
                str(one.pieces),
                "not known" if pandas.isna(one.in_stock) else f"{one.in_stock:g}",
                "look for it" if pandas.isna(one.to_order) else f"{one.to_order:g}",
            )
            for one in self._orders.itertuples()
        )
        columns = ("Part", "Family", "Kind", "Pieces wanted", "In stock", "To order")
        caption = "Parts chosen for wishes of which nothing is recorded as fitted yet"
        return Table(caption, columns, rows, "No part needs ordering for the wishes that are open.")

    def told(self) -> Table:
        """Return complaints, things seen and signs, small numbers kept back."""
        names = {"complaints": "Complaint", "seen": "Seen riding", "signs": "Sign for a clinician"}
        rows = [
            (f"{names[kind]}: {SIGN_WORDS[what] if kind == 'signs' else choice_words(what)}", self.clinic.few(visits))
            for kind, counts in work.observed(self.clinic).items()
            for what, visits in counts.items()
        ]
        return Table("In how many visits", ("", "Visits"), tuple(rows), "Nothing was told or seen.")

    def done(self) -> Table:
        """Return what was done, small numbers kept back."""
        rows = tuple((capital(words), self.clinic.few(visits)) for words, visits in work.done(self.clinic).items())
        return Table("In how many visits", ("", "Visits"), rows)

    def changes(self) -> Table:
        """Return settings as found against as left."""
        found = work.changes(self.clinic).items()
        return Table(
            "Median (10th to 90th percentile); within 2 counts as it was",
            ("", "Both measured", "As found", "As left", "Difference", "Went"),
            tuple(self._change(measure, both) for measure, both in found if len(both)),
            "Nothing was measured both as found and as left.",
        )

    def _change(self, measure: work.Measure, both: pandas.DataFrame) -> tuple[str, ...]:
        if len(both) < self.clinic.small:
            return measure.words, self.clinic.few(len(both)), "not shown: too few", "", "", ""
        unit = "°" if measure.unit == "°" else f" {measure.unit}"
        spreads = []
        for column in ("found", "left", "difference"):
            low, middle, high = map(tenths, both[column].quantile(work.PERCENTILES))
            spreads.append(f"{middle}{unit} ({low} to {high})")
        more, less = ((sign * both["difference"] > measure.alike).sum() for sign in (1, -1))
        went = {measure.more: more, measure.less: less, "as it was": len(both) - more - less}
        # One small number kept back could be worked out from the others.
        is_small = any(0 < feet < self.clinic.small for feet in went.values())
        where = "not shown: too few" if is_small else ", ".join(f"{feet} {way}" for way, feet in went.items())
        return measure.words, str(len(both)), *spreads, where

    def outcomes(self) -> Table:
        """Return how the visits went on."""
        counts = self._visits["outcome"].value_counts()
        rows = [(capital(words), str(counts.get(outcome, 0))) for outcome, words in OUTCOMES.items()]
        riders = {key.split("_")[0] for key in got_worse(self.clinic)}
        words = "Riders with a complaint that was worse at the next visit: never learned from"
        return Table(
            "How each visit's settings went on", ("", "Visits"), (*rows, (words, self.clinic.few(len(riders))))
        )

    def left_out(self) -> Table:
        """Return what could not be learned from among the visits that were kept."""
        chosen = self.band.chosen
        rows = [(f"Left out: {why}", self.clinic.few(number)) for why, number in sorted(chosen.left_out.items())]
        rows.append(("Feet that can be learned from", self.clinic.few(len(chosen.feet))))
        rows.append(("Their riders", self.clinic.few(chosen.riders)))
        if chosen.riders >= self.clinic.small:
            rows.append(("Riders of these ever set elsewhere than the start", f"{chosen.share_that_left:.0%}"))
        return Table("From the settings that were kept", ("", ""), tuple(rows))

    @cached_property
    def _spreads(self) -> pandas.DataFrame:
        """Settings read by size: percentiles [mm], feet, and the share of them at a slot's end; enough riders only."""
        rows = []
        for size, feet in self.band.chosen.frame.groupby("whole_size"):
            # Riders are counted, not feet: two feet of one rider are no two riders.
            if feet["client_id"].nunique() >= self.clinic.small:
                percentiles = feet["setback_mm"].quantile([0.1, 0.25, 0.5, 0.75, 0.9])
                rows.append((float(size), *percentiles, len(feet), (feet["bound"] != 0).mean()))
        columns = ["size_eu", "p10_mm", "p25_mm", "p50_mm", "p75_mm", "p90_mm", "feet", "at_end"]
        return pandas.DataFrame(rows, columns=columns)

    def settled_chart(self) -> Figure | Sentences:
        """Draw settled setbacks by size beside the starting rule; say so where there are too few.

        In Lab, after `in_lab()`, `overview.settled_chart().live` is the same chart, its numbers shown when pointed at.
        """
        spreads = self._spreads
        if spreads.empty:
            return Sentences((f"No chart: no size has {self.clinic.small} settled riders or more.",))
        first, last = spreads["size_eu"].min() - _EACH_SIDE, spreads["size_eu"].max() + _EACH_SIDE
        sizes = [first + half / 2 for half in range(int(2 * (last - first)) + 1)]
        rule = [(size, *ends) for size in sizes if (ends := self._rule_ends(size))]
        learned = [
            (one.size_eu, one.middle_half.value, one.new_rider.low, one.new_rider.high) for one in self.band.bands
        ]
        from fitkit.charts import plots  # takes a second: only where there is something to draw

        return plots.settled_by_size(
            pandas.DataFrame(rule, columns=["size_eu", "low_mm", "high_mm"]),
            spreads,
            pandas.DataFrame(learned, columns=["size_eu", "point_mm", "low_mm", "high_mm"]),
        )

    def _rule_ends(self, size_eu: float) -> tuple[float, float] | None:
        found = starting_band(size_eu, **self.band.prior_rule.model_dump(exclude={"grade", "source"}))
        return None if found is None else (found.low, found.high)

    def settled_table(self) -> Table:
        """Return the table behind the chart, and how to read it."""
        rows = tuple(
            (
                f"EU {one.size_eu:g}",
                str(one.feet),
                f"{one.at_end:.0%}",
                halves(one.p50_mm),
                f"{halves(one.p25_mm)} to {halves(one.p75_mm)}",
                f"{halves(one.p10_mm)} to {halves(one.p90_mm)}",
            )
            for one in self._spreads.itertuples()
        )
        caption = (
            "As read. In the chart: circle the median, thick line the middle half, thin line the middle 80 %; grey "
            "area the starting rule; blue line what was learned, dashed the ends that hold 95 % of new riders"
        )
        columns = ("Size", "Feet", "At a slot's end", "Median, mm", "Middle half", "Middle 80 %")
        return Table(caption, columns, rows)

    def learned(self) -> Sentences:
        """Say what was learned, from how many and how well it holds; or why nothing was."""
        band = self.band
        rule = band.prior_rule
        if band.learned is None:
            return Sentences(
                (
                    f"No starting band is learned: {band.refused}.",
                    f"The starting rule stays: {rule.grade} ({rule.source}).",
                )
            )
        if not band.bands:
            return Sentences((f"No starting band is shown: no size has {band.small} settled riders or more.",))
        learned, middle = band.learned, band.bands[len(band.bands) // 2]
        rider, foot, *fitter = learned.fit.best_sds_mm
        places = {
            "middle_half": _ends(middle.middle_half),
            "new_rider": _ends(middle.new_rider),
            "fitters": _SAY("fitters", sd=fitter[0]) if learned.fitters > 1 else _SAY["one_fitter"],
            "share_that_left": band.chosen.share_that_left,
            "effect_of_start": self._start_effect_words(),
            "coverage": SIMULATED_COVERAGE,
        }
        named = {"learned": learned, "middle": middle, "rider": rider, "foot": foot, "rule": rule}
        return Sentences(tuple(line.format(**places, **named) for line in _SAY["learned"]))

    def _start_effect_words(self) -> str:
        if not self.band.learned.has_start_effect:
            return _SAY["all_on_the_line"]
        said = _SAY("effect_of_start", found=effect_of_start(self.band.learned))
        return said.replace("(-", "(−").replace("to -", "to −")

    def learned_table(self) -> Table:
        """Return the learned band by size beside the starting rule."""
        rows = []
        for one in self.band.bands:
            rule = self._rule_ends(one.size_eu)
            rows.append(
                (
                    f"EU {one.size_eu:g}",
                    "none" if rule is None else f"{halves(rule[0])} to {halves(rule[1])}",
                    halves(one.middle_half.value),
                    _ends(one.middle_half),
                    _ends(one.new_rider),
                )
            )
        columns = ("Size", "Starting rule", "Learned point", "Middle half of new riders", "95 % of new riders")
        return Table("Cleat setback, mm behind the first-MTP mark", columns, tuple(rows), "")

    def fitters(self) -> Table:
        """Return fitter against fitter."""
        found = compare(self.clinic, self.band.prior_rule)
        least = max(self.clinic.small, 2)
        refused = f"not compared: needs two fitters with {least} riders or more each"
        too_few = refused if found["value"].isna().all() else f"not shown: under {self.clinic.small} riders"
        rows = tuple(
            (
                one.Index,
                self.clinic.few(one.riders),
                too_few if pandas.isna(one.value) else span(one.value, one.low, one.high, form=signed),
            )
            for one in found.itertuples()
        )
        caption = (
            "How far the cleats of riders of one size end from all fitters' mean: mm, toward the heel positive (95 %)"
        )
        return Table(caption, ("Fitter", "Riders", "Bias"), rows, "Not compared: no rider agreed to learning.")

    def limits(self) -> Sentences:
        """Say what the page cannot tell."""
        return Sentences(tuple(line.format(small=self.clinic.small) for line in _SAY["limits"]))

    def band_data(self) -> BandData:
        """Emit the learned band as data."""
        return BandData(band_document(self.band))


def _ends(interval: Interval) -> str:
    return f"{halves(interval.low)} to {halves(interval.high)}"


def _overdue(days: int) -> str:
    if days > 0:
        return f"{count(days, 'day')} overdue"
    return "due today" if days == 0 else f"due in {count(-days, 'day')}"


def _shortened(text: str) -> str:
    return text if len(text) <= 300 else f"{text[:299]}…"
