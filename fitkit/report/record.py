"""The record of one visit, section by section: what the notebook shows and the page prints."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from fitkit import cautions
from fitkit.advice_words import needs_words
from fitkit.assessment import Assessment, assess, load_visit
from fitkit.calculations.sprint_settings import A_YES
from fitkit.charts import Figure
from fitkit.report import drawings, measurements, moving, standing
from fitkit.report.blocks import Sentences, Table
from fitkit.report.changes import also_changed, owed, owed_from_last_time
from fitkit.report.names import RESULT_WORDS, in_words, printed
from fitkit.report.seen_riding import SeenRiding
from fitkit.report.sheet import rider_sheet, torques
from fitkit.report.soles import (
    first_words,
    slip_words,
    soles_figure,
    soles_table,
    starting_band_words,
    toe_words,
    worse_beside,
)
from fitkit.words import capital, day

if TYPE_CHECKING:
    import pandas

__all__ = ["RESULTS_TYPE", "SHEET_TYPE", "Emitted", "Record"]

RESULTS_TYPE = "application/vnd.cleat-stance-results+json"
SHEET_TYPE = "application/vnd.cleat-stance-sheet+json"
SIDES = ("left", "right")
_NOT_ASKED = "Signs that need a clinician: not asked yet."

_CLEAT_ROWS = (
    "cleat_setback.as_found",
    "cleat_setback.as_left",
    "cleat_setback.start",
    "cleat_setback.move",
    "cleat_setback.slot_least",
    "cleat_setback.slot_greatest",
    "cleat_setback.shortfall",
    "mtp1.expected",
)
_ROTATION_ROWS = ("cleat_setback.square_to_axle", "float.free_heel_in", "float.free_heel_out")
_GRADE_WORDS = {
    "measured here": "a reading taken in this visit",
    "derived": "geometry from readings of this visit",
    "published": "a publication's figure",
    "common practice": "what the trade does; no publication stands behind it",
    "house rule": "this clinic's own choice",
    "this clinic": "learned from this clinic's own visits",
    "from memory": "remembered, not looked up",
}


class Emitted:
    """The results and the rider's sheet as structured output of one cell; batch takes its files from here."""

    def __init__(self, results: dict, sheet: dict) -> None:
        self.results, self.sheet = results, sheet

    def _repr_mimebundle_(self, include=None, exclude=None) -> dict:
        count = sum(result["value"] is not None for result in self.results["results"])
        return {
            RESULTS_TYPE: self.results,
            SHEET_TYPE: self.sheet,
            "text/plain": f"{count} of {len(self.results['results'])} results have a value",
        }


class Record(SeenRiding):
    """One visit's record.

    Parameters
    ----------
    session : str or Path
        Path of the session file.

    Raises
    ------
    SessionProblems, HouseProblems
        With every problem of the file at fault.
    """

    def __init__(self, session: str | Path) -> None:
        self.assessment: Assessment = assess(load_visit(session))
        self._session = self.assessment.visit.session

    def about(self) -> Sentences:
        """Say whose visit this is, and that a demonstration is one."""
        session = self._session
        lines = [f"Client {session.client_id} · visit of {day(session.visit_date)} · {session.setup} set-up"]
        lines.append(f"Fitter {session.fitter_id or 'not said'} · {self._signed()}")
        house = self.assessment.visit.house
        lines.append(f"By {house.rules_source} and {house.parts_source}.")
        if session.sign_off and session.sign_off.reason:
            lines.append(f"Signed off although not safe as fitted; the reason given: {session.sign_off.reason}")
        if session.note:
            lines.append(f"Remark: {session.note}")
        if self.assessment.visit.previous_problem:
            lines.append(f"Nothing is compared with the last visit: {self.assessment.visit.previous_problem}")
        if session.consent.record is None:
            lines.append("Consent to keep this record: not recorded.")
        if session.demonstration:
            lines.append("Demonstration: invented rider, invented clinic.")
        return Sentences(tuple(lines), kind="about")

    def _signed(self) -> str:
        signed = self._session.sign_off
        if signed is None:
            return "not signed off"
        amended = len(signed.amendments)
        words = f"signed off by {signed.fitter_id} on {day(str(signed.at)[:10])}"
        return f"{words}, amended {amended} times" if amended > 1 else f"{words}, amended once" if amended else words

    def signs(self) -> Sentences:
        """Say first what is not safe as fitted, or a sign that stops the advice, and which were cleared.

        That there is no sign is said only where all were asked about.
        """
        unsafe = [each.words for each in self.assessment.unsafe]
        signs = self._signs()
        if not unsafe:
            return signs
        fitted = [f"Not safe as fitted: {words}" for words in unsafe]
        # Somebody who needs a clinician is sent there first; what is fitted waits with the bicycle.
        in_order = (*signs.lines, *fitted) if cautions.signs_open(self._session) else (*fitted, *signs.lines)
        return Sentences(in_order, kind="stop")

    def _signs(self) -> Sentences:
        open_signs = cautions.signs_open(self._session)
        lines = [f"{capital(sign.words)}: see {sign.who}." for sign in open_signs]
        sprints = self.assessment.ride.sprints
        if sprints.ridden and sprints.screen.needs and not open_signs:
            answers = "something spoke against them" if sprints.screen.needs == A_YES else "no answers recorded"
            said = f"{len(sprints.ridden)} sprints were ridden; questions before hard effort: {answers}."
            return Sentences((said, *self._told()))
        if open_signs:
            lines.append("No advice on cleats, saddle or width is given here; the measurements below may be shown.")
        if put_back := cautions.put_back(self._session):
            lines.append(put_back)
        if open_signs:
            return Sentences((*lines, *self._cleared()), kind="stop")
        return Sentences(self._told())

    def _cleared(self) -> list[str]:
        return [f"{sign.words}: {sign.clearance}" for sign in cautions.signs_cleared(self._session)]

    def _told(self) -> tuple[str, ...]:
        """Return what is said of signs where none is open."""
        cleared = self._cleared()
        asked = "Asked: no sign that needs a clinician." if self._session.signs_asked else _NOT_ASKED
        return (*cleared, asked) if cleared and not self._session.signs_asked else tuple(cleared) or (asked,)

    def first_numbers(self) -> Sentences:
        """Say the first numbers of either foot: where the cleat is, what the slots allow, what to try."""
        lines = [first_words(self.assessment, side) for side in SIDES]
        toes = [words for side in SIDES if (words := toe_words(self.assessment, side))]
        lines += [words for side in SIDES if (words := worse_beside(self.assessment, side))]
        if toes:
            lines.append(f"{capital('; '.join(toes))}. Turn the bar and look.")
        lines += [words for words in (also_changed(self.assessment), standing.lean_words(self.assessment)) if words]
        return Sentences(tuple(lines), kind="lead")

    def soles(self) -> Figure:
        """Draw both soles from below, to scale."""
        return soles_figure(self.assessment)

    def soles_table(self) -> Table:
        """Return the table behind the drawing."""
        return soles_table(self.assessment)

    def cleats(self) -> Table:
        """Return the cleat's results of both feet with interval and grade."""
        return self._results("The cleat's place (mm behind the first-MTP mark)", _CLEAT_ROWS)

    def rotation(self) -> Table:
        """Return rotation and float of both feet."""
        return self._results("Rotation and float", _ROTATION_ROWS)

    def _results(self, caption: str, names: tuple[str, ...]) -> Table:
        body, numbers = [], []
        for name in names:
            pair = [self.assessment[f"{side}.{name}"] for side in SIDES]
            grades = dict.fromkeys(estimate.grade for estimate in pair if estimate.is_known)
            words = capital(RESULT_WORDS[name])
            cells = (printed(self.assessment, f"{side}.{name}") for side in SIDES)
            body.append((words, *cells, " / ".join(grades) or "—"))
            numbers += [(words, side, estimate) for side, estimate in zip(SIDES, pair, strict=True)]
        return Table(caption, ("", "Left", "Right", "Grade"), tuple(body), estimates=tuple(numbers))

    def frame(self, section: str | None = None) -> pandas.DataFrame:
        """Return every result of the visit, or one section's table, to be analysed.

        Parameters
        ----------
        section : str, optional
            Name of a method that shows a table, such as "cleats".

        Returns
        -------
        pandas.DataFrame
            Of all results name, value, low, high, unit, grade, source and needs; of a section what `Table.frame`
            gives, with the section's name in front.

        Raises
        ------
        ValueError
            If no section of that name shows a table.
        """
        import pandas  # where a frame is asked for, never on the way to a form

        if section is None:
            found = [estimate.as_result(name) for name, estimate in self.assessment.results.items()]
            return pandas.DataFrame(found).drop(columns="notes")
        show = None if section.startswith("_") else getattr(self, section, None)
        shown = show() if callable(show) else None
        if not isinstance(shown, Table):
            raise ValueError(f"section is {section!r}; expected one that shows a table, such as 'cleats'")
        frame = shown.frame()
        frame.insert(0, "section", section)
        return frame

    def stance(self) -> Sentences:
        """Say the first numbers of the stance."""
        return standing.stance_words(self.assessment)

    def front_view(self) -> Figure:
        """Draw hips, feet, crank faces and parts from the front, sideways to scale."""
        return drawings.front(self.assessment)

    def front_view_table(self) -> Table:
        """Return the table behind the front view."""
        return drawings.front_behind(self.assessment)

    def widths_reached(self) -> Figure | Sentences:
        """Draw the widths the family reaches, with its gaps and the wish."""
        return drawings.reached(self.assessment)

    def widths_reached_table(self) -> Table:
        """Return the table behind the widths."""
        return drawings.reached_behind(self.assessment)

    def side_view(self) -> Figure | Sentences:
        """Draw foot, cleat, axle and saddle from the side, before and after."""
        return drawings.sides(self.assessment)

    def side_view_table(self) -> Table:
        """Return the table behind the side view."""
        return drawings.sides_behind(self.assessment)

    def knee_change(self) -> Figure | Sentences:
        """Draw what each choice leaves at the knee over the stroke."""
        return drawings.knees(self.assessment)

    def knee_change_table(self) -> Table:
        """Return the table behind the knee's change."""
        return drawings.knees_behind(self.assessment)

    def widths(self) -> Table:
        """Return half-stance, width and lean with interval and grade."""
        return self._results("Where each foot stands (mm from the frame's middle)", ("half_stance", "frontal_lean"))

    def hips(self) -> Table:
        """Return hip spacing by each published way."""
        return standing.hips(self.assessment)

    def width_candidates(self) -> Table:
        """Return the widths that could be tried, in no order of merit."""
        return standing.candidates(self.assessment)

    def before_widening(self) -> Sentences:
        """Say what else may hold the knees wide, and what is published, before any part is named."""
        return standing.before_widening(self.assessment)

    def parts(self) -> Sentences:
        """Say which parts come closest to the wish, what remains and what nothing reaches."""
        return standing.parts_found(self.assessment)

    def parts_refused(self) -> Table:
        """Return the parts refused, with the reason."""
        return standing.refused(self.assessment)

    def clearances(self) -> Table:
        """Return threads, lean and toe to tyre."""
        return standing.reach(self.assessment)

    def foot_gaps(self) -> Table:
        """Return the gaps between foot and crank."""
        return standing.foot_gaps(self.assessment)

    def small_parts(self) -> Sentences:
        """Say what extenders, shims and wedges were recorded."""
        return standing.small_parts(self.assessment)

    def saddle(self) -> Sentences:
        """Say what the moved cleat asks of saddle and bars, the height choice first."""
        return moving.saddle_words(self.assessment)

    def saddle_choices(self) -> Table:
        """Return the choices for the saddle, per leg."""
        return moving.choices(self.assessment)

    def saddle_remaining(self) -> Table:
        """Return what each choice leaves at knee and thigh."""
        return moving.remaining(self.assessment)

    def height_rules(self) -> Table:
        """Return the static rules for saddle height, side by side."""
        return moving.height_rules(self.assessment)

    def published_effects(self) -> Sentences:
        """Say what moving a cleat back has been shown to do."""
        return moving.published_effects()

    def starting_band(self) -> Sentences:
        """Say where the starting band comes from, how the house shifts it, and what to keep in mind."""
        return starting_band_words(self.assessment)

    def notes(self) -> Sentences:
        """Say everything that must stand beside a number and is not said above."""
        said = {}
        for name, estimate in self.assessment.results.items():
            if name.endswith((".band_low", ".band_high", ".start", ".remaining", ".forward_limit")):
                continue
            for note in estimate.notes:
                said.setdefault(note.rstrip("."), []).append(name.split(".")[0])
        lines = []
        for note, where in said.items():
            sides = [side for side in SIDES if side in where]
            lines.append(f"{' and '.join(sides)}: {note}" if sides else note)
        return Sentences(tuple(f"{capital(line)}." for line in lines) or ("Nothing.",))

    def positions(self) -> Table:
        """Return what was found, tried, decided and left, in order."""
        return measurements.positions(self.assessment.visit)

    def trials(self) -> Table:
        """Return the log of trials."""
        return measurements.trials(self.assessment.visit)

    def last_time(self) -> Table:
        """Return this visit's as found against the last visit's as left."""
        return measurements.last_time(self.assessment.visit)

    def intake(self) -> Table:
        """Return what was measured and typed, with the readings as taken."""
        return measurements.taken(self.assessment.visit)

    def told(self) -> Sentences:
        """Say complaints, what was seen riding, and readings struck out."""
        return measurements.told(self.assessment.visit)

    def lacking(self) -> Sentences:
        """Say what could not be assessed and what each needs."""
        needs: dict[str, list[str]] = {}
        for name, estimate in self.assessment.results.items():
            if estimate.needs:
                needs.setdefault(estimate.needs, []).append(name)
        lines = (f"{capital(needs_words(need))}: {in_words(names)}." for need, names in needs.items())
        return Sentences(tuple(lines) or ("Nothing is lacking.",))

    def sources(self) -> Table:
        """Return the source of every number, so that each can be questioned."""
        rows: dict[tuple[str, str], list[str]] = {}
        for name, estimate in self.assessment.results.items():
            if estimate.source:
                rows.setdefault((estimate.grade, estimate.source), []).append(name)
        body = tuple((capital(in_words(names)), grade, source) for (grade, source), names in rows.items())
        return Table("Where each number comes from", ("Result", "Grade", "Source"), body)

    def grades(self) -> Sentences:
        """Say what each grade means, for those that occur."""
        used = dict.fromkeys(e.grade for e in self.assessment.results.values() if e.grade)
        return Sentences(tuple(f"{grade}: {_GRADE_WORDS[grade]}" for grade in used))

    def cautions(self) -> Sentences:
        """Return the cautions that stand on every paper."""
        lines = (
            *cautions.FIRST_RIDE,
            *dict.fromkeys((*torques(self.assessment), cautions.PART_CAUTIONS)),
            f"Stop and call the clinic: {'; '.join(cautions.STOP_AND_CALL_US)}.",
            f"Emergency care at once: {cautions.STOP_AT_ONCE}.",
            cautions.NOT_A_DIAGNOSIS,
        )
        return Sentences(lines)

    def remaining(self) -> Sentences:
        """Say what is decided for today and what remains."""
        session = self._session
        lines = [f"Follow-up due: {day(session.follow_up_due)}."]
        if cautions.stops_advice(session):
            return Sentences(("Nothing is changed before the signs above have been looked at.", *lines))
        for side in SIDES:
            advice, left = self.assessment.advice[side], self.assessment[f"{side}.cleat_setback.as_left"]
            if advice.kind in ("decided", "kept") and not left.is_known:
                lines.append(f"{side.capitalize()} cleat: measure again after tightening.")
            elif slip := slip_words(self.assessment, side):
                lines.append(f"{side.capitalize()} cleat: {slip}; it may have slipped on tightening, measure again.")
        lines += [f"Still to do from last time: {each.words}." for each in owed_from_last_time(self.assessment)]
        lines += [f"Still to do: {each.words}." for each in owed(self.assessment)]
        lines.append("One change at a time: what is not done today waits until the rider has ridden.")
        return Sentences(tuple(lines))

    def results(self) -> Emitted:
        """Emit the results and the rider's sheet."""
        return Emitted(self.assessment.as_document(), rider_sheet(self.assessment))
