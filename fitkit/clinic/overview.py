"""The clinic's overview, section by section: what the notebook shows and the page prints."""

from __future__ import annotations

from functools import cached_property
from pathlib import Path

from fitkit.cautions import SIGN_WORDS
from fitkit.charts import Figure
from fitkit.clinic import work
from fitkit.clinic.learning import LearnedBand, Order, band_document, band_of, compare, orders
from fitkit.clinic.says import band_table, learned_words, limits_words, settled_figure, settled_rows
from fitkit.clinic.visits import OUTCOMES, Clinic, FollowUp, follow_ups, got_worse, load, outcomes
from fitkit.report.blocks import Sentences, Table
from fitkit.words import capital, day, signed, span, tenths

__all__ = ["BAND_TYPE", "LONGEST_LIST", "Data", "Overview"]

BAND_TYPE = "application/vnd.cleat-stance-band+json"
# A page stays under 150 kB and a list can be read: what is left out is counted.
LONGEST_LIST = 120


class Data:
    """The learned band as structured output of one cell; an export takes it from there."""

    def __init__(self, document: dict) -> None:
        self.document = document

    def _repr_mimebundle_(self, include=None, exclude=None) -> dict:
        count = len(self.document["bands"])
        said = f"the band for {count} sizes" if count else "that no band was learned"
        return {BAND_TYPE: self.document, "text/plain": f"In the notebook as data: {said}"}


class Overview:
    """What a clinic's manager looks at."""

    def __init__(self, sessions: str | Path | Clinic) -> None:
        self.clinic = sessions if isinstance(sessions, Clinic) else load(sessions)

    @cached_property
    def band(self) -> LearnedBand:
        """What the settled riders say."""
        return band_of(self.clinic)

    @cached_property
    def _follow_ups(self) -> list[FollowUp]:
        return follow_ups(self.clinic)

    @cached_property
    def _orders(self) -> list[Order]:
        return orders(self.clinic)

    def about(self) -> Sentences:
        """Say whose visits these are and from when to when."""
        sessions = self.clinic.sessions
        if not sessions:
            return Sentences(("No visit was found.",), kind="about")
        days = sorted(one.visit_date for one in sessions)
        riders = len({one.client_id for one in sessions})
        name = self.clinic.house.rules.clinic.name
        lines = [f"{name} · " if name else ""]
        lines[0] += f"{_count(len(sessions), 'visit')} of {_count(riders, 'rider')}, {day(days[0])} to {day(days[-1])}"
        lines.append(f"Follow-ups are counted against {day(self.clinic.day)}.")
        if self.clinic.is_demonstration:
            lines.append("Demonstration: invented riders, invented clinic.")
        return Sentences(tuple(lines), kind="about")

    def first_lines(self) -> Sentences:
        """Say what needs doing first, and what was learned in one line."""
        over = sum(one.days_over > 0 for one in self._follow_ups)
        soon = len(self._follow_ups) - over
        lines = [f"{_count(over, 'follow-up')} overdue, {soon} due within four weeks."]
        lines.append(f"{capital(_count(len(self._orders), 'part'))} to order or to look for.")
        lines.append(learned_words(self.band).lines[0])
        return Sentences(tuple(lines), kind="lead")

    def months(self) -> Table:
        """Return the visits month by month."""
        rows = tuple(
            (one.month, str(one.visits), str(one.riders), str(one.new), str(one.signed_off))
            for one in work.months(self.clinic)
        )
        columns = ("Month", "Visits", "Riders", "First visits", "Signed off")
        return Table("Visits month by month", columns, rows, "No visit.")

    def not_counted(self) -> Sentences:
        """Say which files could not be read."""
        wrong = self.clinic.not_counted
        lines = [f"Not counted: {_shown(text)}" for text in wrong[:LONGEST_LIST]]
        if len(wrong) > LONGEST_LIST:
            lines.append(f"And {len(wrong) - LONGEST_LIST} more files that were not counted.")
        return Sentences(tuple(lines) or ("Every file was read.",))

    def follow_ups(self) -> Table:
        """Return whom to call, the longest overdue first."""
        rows = [
            (one.client_id, one.setup, one.fitter_id or "not said", day(one.due), _over(one.days_over))
            for one in self._follow_ups[:LONGEST_LIST]
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
                one.part_id,
                one.family,
                one.kind.replace("_", " "),
                str(one.pieces),
                "not known" if one.in_stock is None else str(one.in_stock),
                "look for it" if one.to_order is None else str(one.to_order),
            )
            for one in self._orders
        )
        columns = ("Part", "Family", "Kind", "Pieces wanted", "In stock", "To order")
        caption = "Parts chosen for wishes of which nothing is recorded as fitted yet"
        return Table(caption, columns, rows, "No part needs ordering for the wishes that are open.")

    def told(self) -> Table:
        """Return complaints, things seen and signs, small numbers kept back."""
        found = work.told(self.clinic)
        names = {"complaints": "Complaint", "seen": "Seen riding", "signs": "Sign for a clinician"}
        rows = []
        for kind, words in names.items():
            for what, count in sorted(found[kind].items(), key=lambda item: (-item[1], item[0])):
                said = SIGN_WORDS[what] if kind == "signs" else what.replace("_", " ")
                rows.append((f"{words}: {said}", self._few(count)))
        return Table("In how many visits", ("", "Visits"), tuple(rows), "Nothing was told or seen.")

    def done(self) -> Table:
        """Return what was done, small numbers kept back."""
        rows = tuple((capital(words), self._few(count)) for words, count in work.done(self.clinic).items())
        return Table("In how many visits", ("", "Visits"), rows)

    def changes(self) -> Table:
        """Return settings as found against as left."""
        rows = []
        for one in work.changes(self.clinic):
            if not one.count:
                continue
            if not one.found:
                said = self._few(one.count)
                rows.append((one.measure.words, said, "not shown: too few", "", "", ""))
                continue
            spreads = (_spread(values, one.measure.unit) for values in (one.found, one.left, one.difference))
            moved = ((one.measure.more, one.more), (one.measure.less, one.less), ("as it was", one.alike))
            # One small number kept back could be worked out from the others.
            is_small = any(0 < count < self.clinic.small for _, count in moved)
            where = ", ".join(f"{count} {words}" for words, count in moved)
            where = "not shown: too few" if is_small else where
            rows.append((one.measure.words, str(one.count), *spreads, where))
        columns = ("", "Both measured", "As found", "As left", "Difference", "Went")
        return Table(
            "Median (10th to 90th percentile); within 2 counts as it was",
            columns,
            tuple(rows),
            "Nothing was measured both as found and as left.",
        )

    def outcomes(self) -> Table:
        """Return how the visits went on."""
        counts = dict.fromkeys(OUTCOMES, 0)
        for _, went in outcomes(self.clinic):
            counts[went] += 1
        rows = tuple((capital(OUTCOMES[went]), str(count)) for went, count in counts.items())
        riders = {key.split("_")[0] for key in got_worse(self.clinic)}
        rows += (
            ("Riders with a complaint that was worse at the next visit: never learned from", self._few(len(riders))),
        )
        return Table("How each visit's settings went on", ("", "Visits"), rows)

    def left_out(self) -> Table:
        """Return what could not be learned from among the visits that were kept."""
        chosen = self.band.chosen
        rows = [(f"Left out: {why}", self._few(count)) for why, count in sorted(chosen.left_out.items())]
        rows.append(("Feet that can be learned from", self._few(len(chosen.feet))))
        rows.append(("Their riders", self._few(chosen.riders)))
        if chosen.riders >= self.clinic.small:
            rows.append(("Riders of these ever set elsewhere than the start", f"{chosen.share_that_left:.0%}"))
        return Table("From the settings that were kept", ("", ""), tuple(rows))

    def settled_chart(self) -> Figure | Sentences:
        """Draw settled setbacks by size beside the starting rule."""
        return settled_figure(self.band, self.clinic)

    def settled_table(self) -> Table:
        """Return the table behind the chart."""
        return settled_rows(self.band, self.clinic)

    def learned(self) -> Sentences:
        """Say what was learned, on what, and how well it holds; or why nothing was."""
        return learned_words(self.band)

    def learned_table(self) -> Table:
        """Return the learned band by size."""
        return band_table(self.band)

    def fitters(self) -> Table:
        """Return fitter against fitter."""
        found = compare(self.clinic, self.band.prior_rule)
        rows = []
        for row in found.rows:
            said = f"not shown: under {self.clinic.small} riders" if row.bias is None else _signed(row.bias)
            rows.append((row.fitter_id, self._few(row.riders), found.refused if found.refused else said))
        caption = (
            "How far the cleats of riders of one size end from all fitters' mean: mm, toward the heel positive (95 %)"
        )
        return Table(caption, ("Fitter", "Riders", "Bias"), tuple(rows), "Not compared: no rider agreed to learning.")

    def limits(self) -> Sentences:
        """Say what the page cannot tell."""
        return limits_words(self.clinic)

    def band_data(self) -> Data:
        """Emit the learned band as data."""
        return Data(band_document(self.band))

    def _few(self, count: int) -> str:
        return f"under {self.clinic.small}" if 0 < count < self.clinic.small else str(count)


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def _over(days: int) -> str:
    if days > 0:
        return f"{_count(days, 'day')} overdue"
    return "due today" if days == 0 else f"due in {_count(-days, 'day')}"


def _shown(text: str) -> str:
    return text if len(text) <= 300 else f"{text[:299]}…"


def _spread(values: tuple[float, ...], unit: str) -> str:
    low, middle, high = map(tenths, values)
    return f"{middle}{'' if unit == '°' else ' '}{unit} ({low} to {high})"


def _signed(bias) -> str:
    return span(bias.value, bias.low, bias.high, form=signed)
