"""The drawings of a visit, from the assessment's results, and the table behind any drawing."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from fitkit.assessment import Assessment
from fitkit.assessment.inputs import Inputs
from fitkit.assessment.legs import LegFound
from fitkit.calculations.stroke import hip_on_tube, least_knee_flexion
from fitkit.charts import Figure
from fitkit.charts.figure import FigureRow
from fitkit.charts.front import FrontSide, front_view
from fitkit.charts.knee_change import KneeChange, knee_change
from fitkit.charts.side import SeatMove, SideLeg, side_view
from fitkit.charts.soles import SoleFoot, soles
from fitkit.charts.widths import WidthSide, widths
from fitkit.report.blocks import Number, Sentences, Table
from fitkit.report.cleats import instruction
from fitkit.words import capital, plain

__all__ = ["behind", "feet_from_below", "front", "knees", "reached", "sides", "table_of"]

SIDES = ("left", "right")
_UNITS = {"mm": " mm", "deg": "°", "": ""}
_TARGETS = {"decided": "decided", "kept": "kept", "put_back": "back to"}


def table_of(caption: str, drawn: Figure | Sentences | Sequence[FigureRow], *, corner: str = "") -> Table:
    """Return the table behind a figure: left beside right, one line for each thing drawn; none behind sentences."""
    rows = drawn.rows if isinstance(drawn, Figure) else () if isinstance(drawn, Sentences) else drawn
    cells: dict[tuple[str, int], dict[str, str]] = {}
    for row in rows:
        # One thing may be drawn several times on a side, such as a gap: each keeps its own line.
        place = sum(row.side in found for (what, _), found in cells.items() if what == row.what)
        cells.setdefault((row.what, place), {})[row.side] = _cell(row)
    sides = list(dict.fromkeys(row.side for row in rows))
    sides = SIDES if set(sides) <= {"", *SIDES} else sides
    heads = [capital(side) for side in sides]
    if any("" in found for found in cells.values()):
        heads[0] += " or whole"
    body = tuple(
        (capital(what), *((found[""], "") if "" in found else (found.get(side, "—") for side in sides)))
        for (what, _), found in cells.items()
    )
    return Table(caption if rows else "", (corner, *heads) if rows else (), body)


def behind(caption: str, draw: Callable[[Assessment], Figure | Sentences]) -> Callable[[Assessment], Table]:
    """Return the section that shows the table behind a drawing."""

    def table(assessment: Assessment) -> Table:
        """Return the table behind the drawing."""
        return table_of(caption, draw(assessment))

    return table


def _cell(row: FigureRow) -> str:
    value, low, high = ("" if number is None else plain(number) for number in (row.value, row.low, row.high))
    span = f"{low or '?'} to {high or '?'}" if {low, high} - {value, ""} else ""
    number = f"{value}{_UNITS[row.unit]} ({span})" if value and span else f"{value or span}{_UNITS[row.unit]}"
    words = " ".join(part for part in (number if value or span else "", row.words) if part)
    return Number(words, row.value, row.low, row.high, row.unit) if value or span else words


def feet_from_below(assessment: Assessment) -> Figure:
    """Draw both soles from below."""
    return soles([_sole(assessment, side) for side in SIDES])


def _sole(assessment: Assessment, side: str) -> SoleFoot:
    inputs, kind = Inputs(assessment.visit), assessment.advice[side].kind

    def ends(*names: str) -> tuple[float | None, ...]:
        return tuple(assessment[f"{side}.cleat_setback.{name}"].value for name in names)

    return SoleFoot(
        side=side,
        now=assessment[f"{side}.cleat_setback.as_found"],
        target_mm=assessment.foot(side).set_to,
        band_mm=ends("band_low", "band_high"),
        slots_mm=ends("slot_least", "slot_greatest"),
        toe_out_deg=inputs.number_now(f"{side}.cleat_toe_out_deg"),
        natural_toe_out_deg=inputs.number(f"rider.{side}.natural_toe_out_deg"),
        float_deg=assessment.visit.session.bike.float_deg,
        joint_to_big_toe_side_mm=inputs.number(f"rider.{side}.mtp1_big_toe_side_mm"),
        foot_length_mm=inputs.number(f"rider.{side}.foot_length_mm"),
        instruction=instruction(assessment, side),
        now_word="found" if kind in ("decided", "kept") else "now",
        target_word=_TARGETS.get(kind, "today"),
    )


def front(assessment: Assessment) -> Figure:
    """Draw hips, feet, crank faces and parts from the front, sideways to scale."""
    apart = assessment["stance.difference"]
    is_told = apart.is_known and not apart.low <= 0 <= apart.high
    sides = [_front_side(assessment, side) for side in SIDES]
    return front_view(sides, hips=assessment["hip.spacing"], is_told=is_told)


def _front_side(assessment: Assessment, side: str) -> FrontSide:
    lengths = getattr(assessment.stance, side).lengths_mm if assessment.stance else ()
    # The knee as found, from the first film of this side that says where it goes.
    tracks = [each.track for each in assessment.ride.filmed.knees if (each.side, each.position) == (side, "as found")]
    track = next((track for track in tracks if track.needs is None), None)
    return FrontSide(
        side=side,
        half_stance=assessment[f"{side}.half_stance"],
        crank_face_mm=next((length for name, length in lengths if name.endswith("crank face")), None),
        lengths_mm=lengths,
        knee_offset_mm=track and track.offset_mm.value,
        knee_travel_mm=track and track.travel_mm.value,
    )


def reached(assessment: Assessment) -> Figure | Sentences:
    """Draw the widths the family reaches, with its gaps and the wish; nothing without a wish."""
    if assessment.parts is None:
        return Sentences(())
    found = [
        WidthSide(
            side=side,
            reachable_mm=choice.reachable_mm,
            refused_only_mm=choice.refused_only_mm,
            gaps_mm=choice.gaps_mm,
            wish_mm=getattr(assessment.visit.session.wish, side).half_stance_change_mm,
            reached_mm=choice.parts_mm + choice.adjustment_mm,
            chosen=choice.chosen,
            refused=tuple((each.id, each.reason) for each in choice.refused),
        )
        for side, choice in assessment.choices.items()
    ]
    return widths(found, family=assessment.visit.session.bike.pedal_family) if found else Sentences(())


def sides(assessment: Assessment) -> Figure | Sentences:
    """Draw foot, cleat, axle and saddle from the side, before and after; nothing without a move."""
    # An open sign withholds what comes from a target, its drawings too.
    if not any(assessment[f"{side}.full.saddle_down"].is_known for side in SIDES):
        return Sentences(())
    seat = SeatMove(
        saddle_down_mm=assessment["saddle.height_only.down"].value,
        seat_tube_angle_deg=assessment.visit.session.bike.seat_tube_angle_deg,
        bar_down_mm=assessment["bar.height_only.down"].value,
    )
    return side_view([_side_leg(assessment.legs[side]) for side in SIDES], seat=seat)


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


def knees(assessment: Assessment) -> Figure | Sentences:
    """Draw what the choices leave at the knee over the stroke; nothing where no leg is known."""
    found = []
    for side in SIDES:
        left = assessment.legs[side].remaining
        if left and assessment[f"{side}.untouched.knee_change"].is_known:
            angles = left["untouched"].crank_angle_deg
            names = {"untouched": "saddle untouched"}
            curves = {names.get(name, name): each.knee_change_deg for name, each in left.items()}
            found.append(KneeChange(side=side, crank_angle_deg=angles, change_deg=curves))
    return knee_change(found) if found else Sentences(())
