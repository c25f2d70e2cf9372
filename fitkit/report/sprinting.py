"""Sprints in words: the screen before, which count, differences beside the smallest that can be shown."""

from __future__ import annotations

from functools import partial

from fitkit.advice_words import needs_words
from fitkit.assessment import Assessment
from fitkit.assessment.ride import Compared, Sprint
from fitkit.calculations.readings import Interval
from fitkit.calculations.sprint_settings import A_YES, ORDER_WORDS, trade_figure_words
from fitkit.charts import Figure
from fitkit.report.blocks import Number, Sentences, Table, interval_words
from fitkit.vocabulary import EXERTION_QUESTIONS
from fitkit.words import capital, decimal

_tenth, _whole = partial(decimal, places=1), partial(decimal, places=0)
NO_SPRINT = "No power file was given: sprints not assessed."


def sprint_words(assessment: Assessment) -> Sentences:
    """Say the screen before any sprint, what the files lack, and what the trade's own figure is worth."""
    found = assessment.ride.sprints
    is_sprinter = assessment.visit.session.rider.riding == "short_maximal"
    if not (found.ridden or found.unread or is_sprinter):
        return Sentences(())
    lines = [_screen_words(found.screen_needs)]
    lines += [f"{file.file} could not be used: {file.why}." for file in found.unread]
    lines += [f"{note}." for note in found.notes]
    if not (found.ridden or found.unread):
        lines.append(NO_SPRINT)
    for setting in found.settings:
        if setting.needs:
            lines.append(f"{capital(setting.setting)}: not assessed: needs {setting.needs}.")
    lines += list(dict.fromkeys(_sprint_notes(found.ridden)))
    lines += [ORDER_WORDS] if any(each.difference.needs is None for each in found.compared) else []
    lines.append(trade_figure_words())
    lines.append("Nothing here says that a setting makes a rider faster.")
    return Sentences(tuple(lines))


def _screen_words(needs: str | None) -> str:
    if needs is None:
        return "Exertion screen: asked, and nothing spoke against hard effort (standard medicine, from memory)."
    if needs == A_YES:
        return "Sprints not assessed: something spoke against hard effort; see a clinician before any sprint."
    if needs.startswith("clinician"):
        return f"Sprints not assessed: {needs_words(needs)}."
    questions = " ".join(EXERTION_QUESTIONS)
    return (
        f"Exertion screen not recorded: before any sprint it needs a no to each of these (standard medicine, from "
        f"memory): {questions}"
    )


def exertion_questions() -> Table:
    """Return the questions to be asked before any sprint; one yes ends the plan to sprint, and clears nobody."""
    rows = tuple((str(number), words) for number, words in enumerate(EXERTION_QUESTIONS, start=1))
    caption = "Before any sprint: a no to each of these (standard medicine, from memory); a yes: see a clinician first"
    return Table(caption, ("", "Question"), rows)


def _sprint_notes(ridden: tuple[Sprint, ...]) -> list[str]:
    said = [f"Sprint {s.number}: not assessed: needs {s.effort.needs}." for s in ridden if s.effort.needs]
    return said + [f"{capital(note)}." for sprint in ridden for note in sprint.effort.notes]


def sprints(assessment: Assessment) -> Table:
    """Return every sprint in the order the files are listed, with peak power, how soon, and its best cadence."""
    rows = []
    for sprint in assessment.ride.sprints.ridden:
        effort = sprint.effort
        rows.append(
            (
                f"Sprint {sprint.number}",
                sprint.setting,
                "not assessed" if effort.peak_w is None else Number(f"{effort.peak_w:.0f} W", effort.peak_w, unit="W"),
                interval_words(effort.time_to_peak_s, " s", _tenth),
                interval_words(effort.strokes_to_peak, form=_tenth),
                interval_words(effort.line.best_cadence_rpm, " a minute", _whole),
                "counts" if sprint.is_counted else "to get used to it" if effort.needs is None else "left out",
            )
        )
    head = ("", "Setting", "Peak power", "Time to peak", "Pedal strokes to peak", "Best cadence, first 3 s", "")
    return Table("Sprints, in the order their files are listed (measured here)", head, tuple(rows))


def sprints_compared(assessment: Assessment) -> Table:
    """Return differences between settings beside the smallest that so many sprints can show."""
    rows = []
    for setting in assessment.ride.sprints.settings:
        if setting.mean_w is not None:
            rows.append((f"{capital(setting.setting)}, mean of {len(setting.peaks_w)}", _watts(setting.mean_w), "", ""))
    rows += [_compared(each) for each in assessment.ride.sprints.compared]
    head = ("", "Peak power", "Smallest that can be shown", "")
    return Table("Settings compared, with 95 % intervals", head, tuple(rows))


def _watts(found: Interval) -> str:
    return interval_words(found, " W", _whole)


def _compared(each: Compared) -> tuple[str, ...]:
    name, found = f"{capital(each.second)} less {each.first}", each.difference
    if found.needs:
        return name, f"not assessed: needs {found.needs}", "", ""
    said = "cannot be told from no difference" if found.is_within_noise else "more than that"
    percent = interval_words(found.difference_percent, " %", _tenth)
    return name, f"{_watts(found.difference_w)}; {percent}", f"{found.smallest_detectable_percent:.1f} %", said


def sprint_points(assessment: Assessment) -> Figure | Sentences:
    """Draw the sprints by setting; nothing where there is none."""
    points = [
        {
            "sprint": sprint.number,
            "setting": sprint.setting,
            "peak_w": sprint.effort.peak_w,
            "counts": "counts" if sprint.is_counted else "to get used to it",
        }
        for sprint in assessment.ride.sprints.ridden
        if sprint.effort.peak_w is not None
    ]
    if not points:
        return Sentences(())
    from fitkit.charts import plots  # brings pandas: only where there is something to draw

    return plots.sprint_points(points, band_w=_band_w(assessment))


def _band_w(assessment: Assessment) -> tuple[float, float, float] | None:
    """Return the band about the first setting's mean inside which the comparison shows nothing [W]."""
    found = assessment.ride.sprints
    shown = [each.difference for each in found.compared if each.difference.smallest_detectable_percent is not None]
    if not shown or found.settings[0].mean_w is None:
        return None
    mean = found.settings[0].mean_w.value
    half = max(each.smallest_detectable_percent for each in shown) / 100 * mean
    return mean - half, mean, mean + half
