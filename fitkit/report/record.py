"""The record of one visit: the declared list of its sections, and the class by which a notebook shows them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING

from fitkit.assessment import Assessment, assess, load_visit
from fitkit.charts import Figure
from fitkit.report import RESULTS_TYPE, SHEET_TYPE, cleats, results, riding, saddle, sprinting, stance, visit
from fitkit.report.blocks import Sentences, Table, behind
from fitkit.report.page_one import PageOne, overleaf, page_one
from fitkit.report.sheet import rider_sheet

if TYPE_CHECKING:
    import pandas


@dataclass(frozen=True)
class Emitted:
    """The results and the rider's sheet as structured output of one cell; batch takes its files from here."""

    results: dict
    sheet: dict

    def _repr_mimebundle_(self, include=None, exclude=None) -> dict:
        count = sum(result["value"] is not None for result in self.results["results"])
        return {
            RESULTS_TYPE: self.results,
            SHEET_TYPE: self.sheet,
            "text/plain": f"{count} of {len(self.results['results'])} results have a value",
        }


def emitted(assessment: Assessment) -> Emitted:
    """Emit the results and the rider's sheet."""
    return Emitted(assessment.as_document(), rider_sheet(assessment))


# Every section of a record by the name a notebook shows it by: record.cleats().
SECTIONS: dict[str, Callable[[Assessment], PageOne | Sentences | Table | Figure | Emitted]] = {
    "page_one": page_one,
    "overleaf": overleaf,
    "about": visit.about,
    "signs": visit.signs,
    "first_numbers": cleats.first_numbers,
    "soles": cleats.soles_from_below,
    "soles_table": behind("What the drawing shows", cleats.soles_from_below),
    "cleats": cleats.cleats,
    "starting_band": cleats.starting_band,
    "rotation": cleats.rotation,
    "stance": stance.stance,
    "front_view": stance.front_view,
    "front_view_table": behind("What the front view shows", stance.front_view),
    "widths": stance.widths,
    "width_candidates": stance.width_candidates,
    "hips": stance.hips,
    "before_widening": stance.before_widening,
    "parts": stance.parts,
    "widths_reached": stance.widths_reached,
    "widths_reached_table": behind("What the line of widths shows", stance.widths_reached),
    "parts_refused": stance.parts_refused,
    "clearances": stance.clearances,
    "foot_gaps": stance.foot_gaps,
    "small_parts": stance.small_parts,
    "saddle": saddle.saddle,
    "side_view": saddle.side_view,
    "side_view_table": behind("What the side view shows", saddle.side_view),
    "saddle_choices": saddle.saddle_choices,
    "saddle_remaining": saddle.saddle_remaining,
    "knee_change": saddle.knee_change,
    "knee_change_table": behind("Change of knee flexion over the stroke, after minus before", saddle.knee_change),
    "height_rules": saddle.height_rules,
    "published_effects": saddle.published_effects,
    "forward_limit": riding.forward_limit,
    "trial_line": riding.trial_line,
    "trials_along": riding.trials_along,
    "unsteadiness_scale": riding.unsteadiness_scale,
    "knee_words": riding.knee_words,
    "knees": riding.knees,
    "knee_track": riding.knee_track,
    "knee_places": riding.knee_places,
    "sprint_words": sprinting.sprint_words,
    "sprints": sprinting.sprints,
    "sprint_points": sprinting.sprint_points,
    "sprints_compared": sprinting.sprints_compared,
    "positions": visit.positions,
    "trials": visit.trials,
    "since_last": visit.since_last,
    "complaints_then_and_now": visit.complaints_then_and_now,
    "last_time": visit.last_time,
    "intake": visit.intake,
    "leg_lengths": stance.leg_lengths,
    "both_sides": visit.both_sides,
    "told": visit.told,
    "remaining": visit.remaining,
    "notes": results.notes,
    "lacking": results.lacking,
    "sources": results.sources,
    "grades": results.grades,
    "cautions": visit.cautions,
    "results": emitted,
}


class Record:
    """One visit's record; it has a method for each of `SECTIONS`, which returns what that section shows.

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

    def frame(self, section: str | None = None) -> pandas.DataFrame:
        """Return every result of the visit, or one section's table, to be analysed.

        Parameters
        ----------
        section : str, optional
            Name of a section that shows a table, such as "cleats".

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
        shown = SECTIONS[section](self.assessment) if section in SECTIONS else None
        if not isinstance(shown, Table):
            raise ValueError(f"section is {section!r}; expected one that shows a table, such as 'cleats'")
        frame = shown.frame()
        frame.insert(0, "section", section)
        return frame


def _method(section: Callable) -> Callable:
    @wraps(section)
    def show(self: Record) -> PageOne | Sentences | Table | Figure | Emitted:
        return section(self.assessment)

    return show


for _name, _section in SECTIONS.items():
    setattr(Record, _name, _method(_section))
