"""The rider seen riding: trials along the setbacks, the bracket in words, what to try next, and the knees on film."""

from __future__ import annotations

from dataclasses import asdict

from fitkit.assessment import Assessment
from fitkit.assessment.inputs import SIDES, Inputs
from fitkit.assessment.ride import FilmedKnee, SideRidden
from fitkit.calculations import ride_check
from fitkit.calculations.forward_limit import NOT_FOUND, ScoredTrial, along_setbacks
from fitkit.charts import Figure
from fitkit.charts.figure import row
from fitkit.readers.film import POINTS, SETTINGS
from fitkit.report.blocks import Sentences, Table, interval_words, number_words, table_of
from fitkit.report.visit import complaint_words, yes_or_no
from fitkit.session.bike import Trial as RecordedTrial
from fitkit.vocabulary import SEEN_WORDS, UNSTEADINESS_WORDS
from fitkit.words import capital, decimal, halves, plain, signed, span, tenths

NO_TRIAL = "No trial was scored."


def forward_limit(assessment: Assessment) -> Sentences:
    """Say each side's bracket, what it rests on, what stands against it and what to try next."""
    if not assessment.visit.session.trials:
        return Sentences(("Forward limit not assessed: no trial was recorded.",), kind="nothing")
    lines = []
    for side in SIDES:
        ridden, name = assessment.ride.sides[side], side.capitalize()
        lines.append(f"{name}: {_bracket_words(ridden)}")
        if ridden.bracket.settings:
            lines.append(f"{name} rests on trials {ridden.bracket.rests_on}.")
        lines += [f"{name}: {note}." for note in _own_notes(assessment, side)]
    lines += _hinges(assessment)
    lines.append(
        "A bracket of trials says no more than its ends; it is not widened by the mark's error, since all trials share "
        "one mark."
    )
    return Sentences(tuple(lines))


def _bracket_words(ridden: SideRidden) -> str:
    found = ridden.bracket
    if not found.settings:
        return f"forward limit not assessed: needs {found.needs}."
    said = [
        f"{word} at {_joined([s.cleat_setback_mm for s in found.settings if s.is_unsteady is is_unsteady])}"
        for word, is_unsteady in (("unsteady", True), ("steady", False))
        if any(s.is_unsteady is is_unsteady for s in found.settings)
    ]
    tail = f"between {halves(found.low_mm)} and {halves(found.high_mm)} mm" if found.needs is None else ""
    needed = f"forward limit not assessed: needs {found.needs}"
    return f"{', '.join(said)} mm: {tail or needed}."


def _joined(values: list[float]) -> str:
    words = [halves(value) for value in values]
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _own_notes(assessment: Assessment, side: str) -> list[str]:
    notes = assessment[f"{side}.forward_limit"].notes
    return [note for note in notes if not note.startswith("rests on")]


def _hinges(assessment: Assessment) -> list[str]:
    """Return what the hinge model says of each side, said once where it is the same."""
    said = {side: _hinge_words(assessment.ride.sides[side]) for side in SIDES}
    if said["left"] == said["right"]:
        return [f"Both feet, {said['left']}"]
    return [f"{side.capitalize()}, {words}" for side, words in said.items()]


def _hinge_words(ridden: SideRidden) -> str:
    found = ridden.hinge
    if found.break_mm is not None:
        ends = span(found.break_mm.value, found.break_mm.low, found.break_mm.high, " mm")
        return f"hinge model: unsteadiness rises forward of {ends}, {decimal(found.rise_per_mm, 2)} points a mm."
    return f"hinge model: {found.needs if found.needs == NOT_FOUND else f'not assessed: needs {found.needs}'}."


def unsteadiness_scale(assessment: Assessment | None = None) -> Table:
    """Return the scale of unsteadiness in words; of a visit only where there are trials."""
    if assessment is not None and not assessment.visit.session.trials:
        return Table("", (), ())
    rows = tuple((str(score), words) for score, words in UNSTEADINESS_WORDS.items())
    return Table("Unsteadiness, 0 to 10", ("Score", "What is seen"), rows)


def trials_along(assessment: Assessment) -> Table:
    """Return each side's trials from toes to heel with what was seen in each: a list, no diagnosis."""
    inputs, rows = Inputs(assessment.visit), []
    for side in SIDES:
        for number, trial in along_setbacks(assessment.ride.sides[side].trials):
            recorded = assessment.visit.session.trials[number]
            travel = inputs.readings(f"trials.{number}.knee_travel_mm.{side}")
            rows.append(
                (
                    f"{capital(side)} {halves(trial.cleat_setback_mm)} mm, trial {number + 1}",
                    number_words(trial.score, tenths),
                    number_words(trial.smooth_at_bottom),
                    _observed(trial, recorded, side),
                    ", ".join(plain(value) for value in travel) or "—",
                    yes_or_no(recorded.saddle_corrected),
                    yes_or_no(recorded.kept),
                )
            )
    head = (
        "",
        "Unsteadiness",
        "Smooth at the bottom",
        "Seen and said in this trial",
        "Knee travel, mm",
        "Saddle corrected",
        "Kept",
    )
    return Table("Trials along the sole, toes to heel, with what was seen in each", head, tuple(rows), NO_TRIAL)


def _observed(trial: ScoredTrial, recorded: RecordedTrial, side: str) -> str:
    """Return what was seen of this side in a trial and what the rider said, in words."""
    seen = [SEEN_WORDS[what] for what in trial.seen]
    said = [f"says {complaint_words(each)}" for each in recorded.complaints if each.side in (side, "both", None)]
    return ", ".join([*seen, *said]) or "—"


def trial_line(assessment: Assessment) -> Figure | Sentences:
    """Draw the trials along either sole; a sentence where there is none."""
    trials, limits, said = [], {}, {}
    for side in SIDES:
        ridden = assessment.ride.sides[side]
        found = ridden.bracket
        unsteady = {number: setting.is_unsteady for setting in found.settings for number in setting.trials}
        for number, trial in enumerate(ridden.trials):
            if number in unsteady:
                place = {"side": side, "trial": number + 1, "setback_mm": trial.cleat_setback_mm, "score": trial.score}
                trials.append({**place, "setting": "unsteady" if unsteady[number] else "steady"})
        said[side] = f"needs {found.needs}"
        if found.needs is None:
            limits[side] = (found.low_mm, found.high_mm)
            said[side] = f"between {halves(found.low_mm)} and {halves(found.high_mm)} mm"
    if not trials:
        return Sentences((NO_TRIAL,), kind="nothing")
    from fitkit.charts import plots  # brings pandas: only where there is something to draw

    unsteady_from = assessment.visit.house.rules.unsteady_from
    return plots.trial_lines(trials, unsteady_from=unsteady_from, limits_mm=limits, said=said)


def knees(assessment: Assessment) -> Table:
    """Return offset, travel and inward pull of each knee on film, with intervals."""
    rows = []
    for knee in assessment.ride.filmed.knees:
        track = knee.track
        turns = sum(turn.needs is None for turn in track.revolutions)
        if track.needs is not None:
            rows.append((_knee_name(knee), f"not assessed: needs {track.needs}", "", "", f"{turns}"))
            continue
        rows.append((_knee_name(knee), *_track_cells(track), f"{turns} of {len(track.revolutions)}"))
    rows += _travel_changes(assessment.ride.filmed.knees)
    head = ("", "Offset, outward of the pedal", "Travel", "Inward pull on the downstroke", "Turns used")
    empty = "No film was digitised."
    return Table("Knees on film, mm with 95 % interval (measured here)", head, tuple(rows), empty)


def _travel_changes(found: tuple[FilmedKnee, ...]) -> list[tuple[str, ...]]:
    """Return how much the travel of each knee changed from its first film to each later one."""
    rows = []
    for side in SIDES:
        first, *later = [knee for knee in found if knee.side == side and knee.track.needs is None] or [None]
        for knee in later:
            change = ride_check.travel_change(first.track, knee.track)
            told = "not told from none" if change.low <= 0 <= change.high else "clear of the turns' own spread"
            name = f"{capital(side)}, {knee.position} minus {first.position}"
            words = f"{span(change.value, change.low, change.high, form=signed)}: {told}; one film each"
            rows.append((name, "not compared", words, "not compared", ""))
    return rows


def ruler_table(offsets_mm: dict[str, tuple[tuple[float, ...], tuple[float, ...]]], *, house_sd_mm: float) -> Table:
    """Return what offsets read with a ruler on a paused film say."""
    rows = []
    for side, (top, bottom) in offsets_mm.items():
        if not top and not bottom:
            continue
        try:
            track = ride_check.knee_from_ruler(top_mm=top, bottom_mm=bottom, house_sd_mm=house_sd_mm)
        except ValueError as error:
            raise ValueError(f"{capital(side)}: {error}") from None
        rows.append((capital(side), *_track_cells(track)))
    head = ("", "Offset, outward of the pedal", "Travel, at least", "Inward pull on the downstroke")
    caption = "Knees read with a ruler, mm with 95 % interval (measured here)"
    return Table(caption, head, tuple(rows), "No offset yet.")


def _track_cells(track: ride_check.KneeTrack) -> tuple[str, ...]:
    """Return offset, travel and inward pull of a knee for a table in mm."""
    found = (track.offset_mm, track.travel_mm, track.inward_pull_mm)
    return tuple(interval_words(each, caption_unit="mm") for each in found)


def _knee_name(knee: FilmedKnee) -> str:
    return f"{capital(knee.side)}, {knee.position}"


def knee_words(assessment: Assessment) -> Sentences:
    """Say both published findings beside the knees, what each film lacks, and which films gave nothing."""
    filmed = assessment.ride.filmed
    lines = [f"{file.file} could not be used: {file.why}." for file in filmed.unread]
    lines += [f"{note}." for note in filmed.notes]
    for knee in filmed.knees:
        lines += [f"{_knee_name(knee)}: {note}." for note in knee.track.notes]
    if filmed.knees or filmed.unread:
        if assessment.visit.session.consent.film is not True:
            lines.append("Consent to be filmed: not recorded.")
        lines.append("It says how this rider rode in this film; it names no cause and asks for no setting.")
    if filmed.knees or any(any(_travel(trial)) for trial in assessment.visit.session.trials):
        lines = [*ride_check.PUBLISHED_FINDINGS, *lines]
    return Sentences(tuple(lines))


def _travel(trial) -> tuple:
    return trial.knee_travel_mm.left, trial.knee_travel_mm.right


def film_format() -> Table:
    """Return how a table of points from a film is written, row by row."""
    rows = [(word, meaning) for word, meaning in SETTINGS.items()]
    named = ", ".join(f"{point}_x, {point}_y" for point in POINTS[:2])
    rows.append(("time_s", f"time of each frame [s]; beside it {named}, or the same for the right; blank: not seen"))
    caption = "A table of points, saved as CSV: four settings above it, one word and its value each, then the points"
    return Table(caption, ("First cell of the row", "What stands beside it"), tuple(rows))


def _places(assessment: Assessment) -> list[dict]:
    """Return where each knee on film goes, a line a crank angle."""
    found = []
    for film, knee in enumerate(assessment.ride.filmed.knees):
        if knee.track.needs is None:
            travel, pull = interval_words(knee.track.travel_mm), interval_words(knee.track.inward_pull_mm)
            said = f"travel {travel} mm, inward pull {pull} mm"
            common = {"film": film, "side": knee.side, "position": knee.position, "said": said}
            found += [{**common, **asdict(place)} for place in knee.places]
    return found


def knee_track(assessment: Assessment) -> Figure | Sentences:
    """Draw each knee's place against the crank angle; nothing where no film gave one."""
    places = _places(assessment)
    if not places:
        return Sentences(())
    from fitkit.charts import plots  # brings pandas: only where there is something to draw

    return plots.knee_tracks(places)


def knee_places(assessment: Assessment) -> Table:
    """Return the table behind the drawing of the knees: one column a knee, one row a crank angle."""
    rows = [
        row(
            f"{place['side']} knee, {place['position']}",
            f"{place['angle_deg']:g}°",
            place["mean_mm"],
            (place["least_mm"], place["greatest_mm"]),
            unit="",
            lacking="not seen",
        )
        for place in _places(assessment)
    ]
    caption = "Knee outward of the pedal, mm: mean (least to greatest) of all turns"
    return table_of(caption, rows, corner="Crank angle")
