"""What the moved cleat does up the leg: choices for the saddle, what each leaves, drawn too, what is published."""

from __future__ import annotations

from fitkit import constants
from fitkit.advice_words import needs_words
from fitkit.assessment import Assessment
from fitkit.assessment.inputs import SIDES, Inputs
from fitkit.assessment.legs import LegFound
from fitkit.calculations import saddle_height
from fitkit.calculations.stroke import hip_on_tube, least_knee_flexion
from fitkit.charts.figure import Figure
from fitkit.charts.knee_change import KneeChange
from fitkit.charts.knee_change import knee_change as drawn_knee_change
from fitkit.charts.side import SeatMove, SideLeg
from fitkit.charts.side import side_view as drawn_from_side
from fitkit.estimate import Estimate
from fitkit.report.blocks import Number, Sentences, Table
from fitkit.report.results import by_side
from fitkit.words import capital, decimal, halved, halves, plain, signed, whole

_CHOICES = {
    "untouched.knee_change": "Saddle untouched: knee at its straightest, change of flexion",
    "height_only.saddle_down": "Height only: saddle down along the seat tube",
    "full.saddle_forward": "Full: saddle forward",
    "full.saddle_down": "Full: saddle down",
    "pitch_habit.knee_change": "Pitch habit alone: change of that flexion",
    "pitch_habit.saddle_down": "Pitch habit alone: change of the height-only answer",
    "stack.saddle_down": "Shims and adapters alone: saddle down",
    "calf_lever.ratio": "Ankle-to-axle distance, after to before",
}


def saddle(assessment: Assessment) -> Sentences:
    """Say the height choice first: saddle, then bars, then what is not known; nothing where nothing moves."""
    down, bar = assessment["saddle.height_only.down"], assessment["bar.height_only.down"]
    stacks = _stack_words(assessment)
    if not down.is_known:
        return Sentences((f"Saddle not assessed: {needs_words(down.needs)}.", *stacks), kind="lead")
    if not stacks and not is_anything_moved(assessment):
        return Sentences(("No cleat moves, so nothing is asked of saddle and bars.",), kind="lead")
    if assumes_dropping(assessment):
        line = (
            "No saddle height is advised: the sum comes out upward, and the sum assumes that the heel goes on "
            "dropping: ride and measure first."
        )
        return Sentences((line, *stacks), kind="lead")
    habit = assessment.visit.house.rules.pitch_habit_95_deg
    lines = [
        f"Saddle {how_far(down)} along the seat tube keeps the knee as it was at its straightest, the mean of "
        f"both legs, if the foot keeps its pitch; the pitch habit alone (the heel up to {habit:g} degrees higher or "
        f"lower than before) can shift that by {_habit_mm(assessment)} mm either way: measure the knee again after "
        "riding."
        f"{done_words(assessment)}",
        *stacks,
        f"Bars {how_far(bar)} with it, to keep the drop; lower bars are a posture, not a speed."
        + "".join(f" {capital(note)}." for note in bar.notes),
    ]
    return Sentences(tuple(lines), kind="lead")


def _habit_mm(assessment: Assessment) -> str:
    """Return how far a pitch habit shifts the saddle's answer [mm]; both legs may well share one habit."""
    habits = [found for side in SIDES if (found := assessment[f"{side}.pitch_habit.saddle_down"]).is_known]
    return halves(sum(found.half_width for found in habits) / len(habits))


def is_anything_moved(assessment: Assessment) -> bool:
    """Whether the advice or the decision moves either cleat by half a millimetre or more."""
    return any(_moves(assessment, side) for side in SIDES)


def _moves(assessment: Assessment, side: str) -> bool:
    move = assessment.feet[side].move
    return move is not None and halves(move.value) != "0"


def legs_changed(assessment: Assessment) -> list[str]:
    """Return the sides whose cleat moves by half a millimetre or more, or stands on other shims."""
    stacks = {side: assessment[f"{side}.stack.saddle_down"] for side in SIDES}
    return [
        side
        for side, stack in stacks.items()
        if _moves(assessment, side) or (stack.is_known and halves(stack.value) != "0")
    ]


def assumes_dropping(assessment: Assessment) -> bool:
    """Whether the saddle's answer is upward only as long as the heel goes on dropping."""
    saddle, session = assessment["saddle.height_only.down"], assessment.visit.session
    pitches = (getattr(session.ride, side).foot_pitch_mean_deg for side in SIDES)
    drops = any(entry.what == "heel_drops" for entry in session.seen) or any((pitch or 0) < 0 for pitch in pitches)
    return drops and saddle.is_known and halves(saddle.value).startswith("−")


def _stack_words(assessment: Assessment) -> list[str]:
    """Say what today's shims and adapters alone ask of the saddle, apart from what the move asks."""
    said = []
    for side in SIDES:
        stack = assessment[f"{side}.stack.saddle_down"]
        if stack.is_known and halves(stack.value) != "0":
            said.append(f"{side} {how_far(stack)}")
    words = "Shims and adapters alone ask of the saddle, as part of any sum above"
    return [f"{words}: {'; '.join(said)}."] if said else []


def how_far(down: Estimate) -> str:
    """Return "2 mm down (1.5 to 2.5)", both ends counted the same way, or that it is less than can be set."""
    if not halved(down.value):
        return "less than 0.5 mm either way"
    way, sign = ("down", 1) if down.value > 0 else ("up", -1)
    low, high = sorted((sign * down.low, sign * down.high))
    ends = "" if halves(low) == halves(high) else f" ({halves(low)} to {halves(high)})"
    return f"{halves(abs(down.value))} mm {way}{ends}"


def done_words(assessment: Assessment) -> str:
    """Say what was done with the saddle, where its height was noted after as found."""
    inputs = Inputs(assessment.visit)
    before, now = inputs.number("as_found.saddle_height_mm"), inputs.number_now("saddle_height_mm")
    if before is None or now is None or halved(now) == halved(before):
        return ""
    return f" Done: {halves(abs(halved(now) - halved(before)))} mm {'down' if now < before else 'up'}."


def saddle_choices(assessment: Assessment) -> Table:
    """Return the fitter's choices for the saddle, per leg."""
    caption = "The choices, per leg (down and forward positive)"
    return by_side(assessment, caption, _CHOICES) if legs_changed(assessment) else Table(caption, (), ())


def saddle_remaining(assessment: Assessment) -> Table:
    """Return what each choice leaves at knee and thigh over the stroke, per leg."""
    rows = []
    for side in legs_changed(assessment):
        for name, left in assessment.legs[side].remaining.items():
            knee, at = left.largest_knee_change
            thigh, thigh_at = left.largest_thigh_change
            least = left.least_knee_flexion_change_deg
            rows.append(
                (
                    f"{capital(side)}, {name}",
                    Number(f"{decimal(knee, 1)}° at crank {whole(at)}°", knee, unit="deg"),
                    Number(f"{decimal(least, 1)}°", least, unit="deg"),
                    Number(f"{decimal(thigh, 1)}° at crank {whole(thigh_at)}°", thigh, unit="deg"),
                )
            )
    if assessment["left.full.saddle_down"].needs and assessment["right.full.saddle_down"].needs:
        rows = []
    head = ("", "Knee, largest change", "Knee at its straightest", "Thigh, largest change")
    return Table("What each choice leaves over the stroke (after minus before)", head, tuple(rows))


def height_rules(assessment: Assessment) -> Table:
    """Return the static rules for saddle height side by side, with their disagreement and what they ignore."""
    inputs = Inputs(assessment.visit)
    inseam, crank = inputs.quantity("rider.inseam_mm"), inputs.number("bike.crank_length_mm")
    angle, saddle = inputs.number("bike.seat_tube_angle_deg"), inputs.number("as_found.saddle_height_mm")
    if inseam is None or crank is None or angle is None:
        empty = "Static rules for saddle height need inseam, crank length and seat-tube angle."
        return Table("Saddle height by static rules", (), (), empty)
    knees = [inputs.quantity(f"ride.{side}.least_knee_flexion_deg") for side in SIDES]
    rules = saddle_height.height_rules(
        inseam, crank_mm=crank, seat_tube_angle_deg=angle, least_knee_flexion=next((k for k in knees if k), None)
    )
    found = "not measured" if saddle is None else Number(f"{saddle:.0f} mm", saddle, unit="mm")
    rows = [("As found", found, "measured here")]
    for rule in rules:
        words, height = "not assessed", rule.saddle_height
        if height is not None:
            value, half = height.value, height.half_width()
            words = Number(f"{value:.0f} mm (± {half:.0f})", value, value - half, value + half, "mm")
        rows.append((capital(rule.name), words, f"{rule.source}; {'; '.join(rule.notes)}"))
    apart = f"which lie {saddle_height.disagreement_mm(rules):.0f} mm apart"
    caption = f"Saddle height by static rules, {apart}. {saddle_height.IGNORED}"
    return Table(caption, ("", "Crank centre to saddle top", "Source and note"), tuple(rows))


def published_effects(_: Assessment) -> Sentences:
    """Say what moving the cleat back has been shown to do, with sizes; no gain is claimed."""
    oxygen, shifts = constants.CLEAT_BACK_OXYGEN_ML_PER_MIN, constants.CLEAT_BACK_OXYGEN_SHIFTS_MM
    run, run90 = constants.CLEAT_BACK_RUN_GAIN_PERCENT, constants.CLEAT_BACK_RUN_GAIN_90_PERCENT
    soleus, sprint = constants.CLEAT_SHIFT_SOLEUS_PERCENT, constants.CLEAT_SHIFT_SOLEUS_SPRINT_PERCENT
    calf = constants.CLEAT_BACK_CALF_PERCENT
    return Sentences(
        (
            f"Oxygen uptake {_list(oxygen.value)} ml/min at shifts of about {_list(shifts.value)} mm, {oxygen.note}: "
            f"no effect on economy shown ({oxygen.source}).",
            f"A run after 30 min of it {run.value:g} % better (90 % interval {run90.value[0]:g} to {run90.value[1]:g}; "
            f"{run.source}); {run.note.split('; ')[-1]}.",
            f"Soleus {plain(soleus.value)} % submaximal, {signed(sprint.value, plain)} % in a sprint, at 5 mm; "
            f"no change in performance ({soleus.source}).",
            f"Calf effort {plain(calf.value)} % and more, {calf.note} ({calf.source}).",
            "Nothing published supports an optimum in millimetres or a gain in performance.",
        )
    )


def _list(values: tuple[float, ...]) -> str:
    return ", ".join(f"{value:g}" for value in values)


def side_view(assessment: Assessment) -> Figure | Sentences:
    """Draw foot, cleat, axle and saddle from the side, before and after; nothing without a move."""
    # An open sign withholds what comes from a target, its drawings too; a leg that stays as it is has none.
    changed = [side for side in legs_changed(assessment) if assessment[f"{side}.full.saddle_down"].is_known]
    if not changed:
        return Sentences(())
    seat = SeatMove(
        saddle_down_mm=assessment["saddle.height_only.down"].value,
        seat_tube_angle_deg=assessment.visit.session.bike.seat_tube_angle_deg,
        bar_down_mm=assessment["bar.height_only.down"].value,
    )
    return drawn_from_side([_side_leg(assessment.legs[side]) for side in changed], seat=seat)


def _side_leg(leg: LegFound) -> SideLeg:
    if leg.before is None or leg.after is None:
        return SideLeg(side=leg.side)
    chain, hip, angle = leg.before, None, None
    if leg.hip_distance_mm is not None:
        hip = hip_on_tube(leg.hip_distance_mm, seat_tube_angle_deg=chain.bike.seat_tube_angle_deg)
        angle = float(least_knee_flexion(chain, hip=hip)[1])
    return SideLeg(
        side=leg.side,
        ankle_to_mtp1_mm=chain.leg.ankle_to_mtp1_mm,
        ankle_height_mm=chain.leg.ankle_height_mm,
        axle_to_foot_sole_mm=chain.cleat.axle_to_foot_sole_mm + chain.cleat.shim_mm + chain.cleat.adapter_stack_mm,
        old_setback_mm=chain.cleat.setback_mm,
        new_setback_mm=leg.after.cleat.setback_mm,
        pitch_deg=None if angle is None else float(chain.pitch.at(angle)[0]),
        thigh_mm=chain.leg.thigh_mm,
        shank_mm=chain.leg.shank_mm,
        hip_mm=None if hip is None else (float(hip.x_mm), float(hip.y_mm)),
        crank_mm=chain.bike.crank_mm,
        crank_angle_deg=angle,
    )


def knee_change(assessment: Assessment) -> Figure | Sentences:
    """Draw what the choices leave at the knee over the stroke; nothing where no leg is known."""
    found = []
    for side in legs_changed(assessment):
        left = assessment.legs[side].remaining
        if left and assessment[f"{side}.untouched.knee_change"].is_known:
            angles = left["untouched"].crank_angle_deg
            names = {"untouched": "saddle untouched"}
            curves = {names.get(name, name): each.knee_change_deg for name, each in left.items()}
            found.append(KneeChange(side=side, crank_angle_deg=angles, change_deg=curves))
    return drawn_knee_change(found) if found else Sentences(())
