"""The drawings of stance and knock-on, from the assessment's results, and the tables behind them."""

from __future__ import annotations

from fitkit.assessment import Assessment
from fitkit.assessment.legs import LegFound
from fitkit.calculations.stroke import hip_on_tube, least_knee_flexion
from fitkit.charts import Figure
from fitkit.charts.front_view import FrontSide, HipSpan, front_table, front_view
from fitkit.charts.knee_change import KneeChange, knee_change, knee_change_table
from fitkit.charts.side_leg import SeatMove, SideLeg, side_table
from fitkit.charts.side_view import side_view
from fitkit.charts.widths import WidthSide, widths, widths_table
from fitkit.report.blocks import Sentences, Table
from fitkit.words import capital, plain

__all__ = [
    "front",
    "front_behind",
    "knees",
    "knees_behind",
    "reached",
    "reached_behind",
    "sides",
    "sides_behind",
    "table_of",
]

SIDES = ("left", "right")
_UNITS = {"mm": " mm", "deg": "°", "": ""}


def table_of(caption: str, rows: list[dict]) -> Table:
    """Return the table behind a drawing: left beside right, one line for each thing drawn."""
    cells: dict[tuple[str, int], dict[str, str]] = {}
    seen: dict[tuple[str, str], int] = {}
    for row in rows:
        # One thing may be drawn several times on a side, such as a gap: each keeps its own line.
        place = seen.get((row["what"], row["side"]), 0)
        seen[row["what"], row["side"]] = place + 1
        cells.setdefault((row["what"], place), {})[row["side"]] = _cell(row)
    body = []
    for (what, _), found in cells.items():
        whole = next((cell for side, cell in found.items() if side not in SIDES), None)
        pair = (whole, "") if whole is not None else tuple(found.get(side, "—") for side in SIDES)
        body.append((capital(what), *pair))
    return Table(caption, ("", "Left or whole", "Right"), tuple(body))


def _cell(row: dict) -> str:
    value, low, high = ("" if row[name] is None else plain(row[name]) for name in ("value", "low", "high"))
    span = f"{low or '?'} to {high or '?'}" if low or high else ""
    number = f"{value}{_UNITS[row['unit']]} ({span})" if value and span else f"{value or span}{_UNITS[row['unit']]}"
    return " ".join(part for part in (number if value or span else "", row["words"]) if part)


def _front(assessment: Assessment) -> tuple[list[FrontSide], HipSpan]:
    hips, found = assessment["hip.spacing"], []
    for side in SIDES:
        half = assessment[f"{side}.half_stance"]
        lengths = getattr(assessment.stance, side).lengths_mm if assessment.stance else ()
        found.append(
            FrontSide(
                side=side,
                half_stance_mm=half.value,
                half_stance_low_mm=half.low,
                half_stance_high_mm=half.high,
                crank_face_mm=next((length for name, length in lengths if name.endswith("crank face")), None),
                lengths_mm=lengths,
                **_filmed(assessment, side),
            )
        )
    return found, HipSpan(spacing_mm=hips.value, low_mm=hips.low, high_mm=hips.high)


def _filmed(assessment: Assessment, side: str) -> dict[str, float]:
    """Return where the knee goes as found, from the first film of this side that says so."""
    for knee in assessment.ride.filmed.knees:
        if (knee.side, knee.position, knee.track.needs) == (side, "as found", None):
            return {"knee_offset_mm": knee.track.offset_mm.value, "knee_travel_mm": knee.track.travel_mm.value}
    return {}


def front(assessment: Assessment) -> Figure:
    """Draw hips, feet, crank faces and parts from the front, sideways to scale."""
    found, hips = _front(assessment)
    apart = assessment["stance.difference"]
    return front_view(found, hips=hips, is_told=apart.is_known and not apart.low <= 0 <= apart.high)


def front_behind(assessment: Assessment) -> Table:
    """Return the table behind the front view."""
    found, hips = _front(assessment)
    return table_of("What the front view shows", front_table(found, hips=hips))


def _reached(assessment: Assessment) -> list[WidthSide]:
    if assessment.parts is None:
        return []
    return [
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


def reached(assessment: Assessment) -> Figure | Sentences:
    """Draw the widths the family reaches, with its gaps and the wish; nothing without a wish."""
    found = _reached(assessment)
    return widths(found, family=assessment.visit.session.bike.pedal_family) if found else Sentences(())


def reached_behind(assessment: Assessment) -> Table:
    """Return the table behind the widths."""
    found = _reached(assessment)
    return table_of("What the line of widths shows", widths_table(found)) if found else Table("", (), ())


def _is_advised(assessment: Assessment) -> bool:
    # An open sign withholds what comes from a target, its drawings too.
    return any(assessment[f"{side}.full.saddle_down"].is_known for side in SIDES)


def _side_leg(leg: LegFound) -> SideLeg:
    if leg.before is None or leg.after is None:
        return SideLeg(side=leg.side)
    chain = leg.before
    lengths = {
        "ankle_to_mtp1_mm": chain.leg.ankle_to_mtp1_mm,
        "ankle_height_mm": chain.leg.ankle_height_mm,
        "axle_to_foot_sole_mm": chain.cleat.axle_to_foot_sole_mm + chain.cleat.shim_mm + chain.cleat.adapter_stack_mm,
        "old_setback_mm": chain.cleat.setback_mm,
        "new_setback_mm": leg.after.cleat.setback_mm,
        "thigh_mm": chain.leg.thigh_mm,
        "shank_mm": chain.leg.shank_mm,
        "crank_mm": chain.bike.crank_mm,
    }
    if leg.hip_distance_mm is None:
        return SideLeg(side=leg.side, **lengths)
    hip = hip_on_tube(leg.hip_distance_mm, seat_tube_angle_deg=chain.bike.seat_tube_angle_deg)
    _, angle = least_knee_flexion(chain, hip=hip)
    return SideLeg(
        side=leg.side,
        **lengths,
        pitch_deg=float(chain.pitch.at(float(angle))[0]),
        hip_x_mm=float(hip.x_mm),
        hip_y_mm=float(hip.y_mm),
        crank_angle_deg=float(angle),
    )


def _seat(assessment: Assessment) -> SeatMove:
    return SeatMove(
        saddle_down_mm=assessment["saddle.height_only.down"].value,
        seat_tube_angle_deg=assessment.visit.session.bike.seat_tube_angle_deg,
        bar_down_mm=assessment["bar.height_only.down"].value,
    )


def sides(assessment: Assessment) -> Figure | Sentences:
    """Draw foot, cleat, axle and saddle from the side, before and after; nothing without a move."""
    if not _is_advised(assessment):
        return Sentences(())
    return side_view([_side_leg(assessment.legs[side]) for side in SIDES], seat=_seat(assessment))


def sides_behind(assessment: Assessment) -> Table:
    """Return the table behind the side view."""
    if not _is_advised(assessment):
        return Table("", (), ())
    rows = side_table([_side_leg(assessment.legs[side]) for side in SIDES], seat=_seat(assessment))
    return table_of("What the side view shows", rows)


def _knees(assessment: Assessment) -> list[KneeChange]:
    found = []
    for side in SIDES:
        left = assessment.legs[side].remaining
        if not left or not assessment[f"{side}.untouched.knee_change"].is_known:
            continue
        found.append(
            KneeChange(
                side=side,
                crank_angle_deg=left["untouched"].crank_angle_deg,
                untouched_deg=left["untouched"].knee_change_deg,
                height_only_deg=left["height only"].knee_change_deg if "height only" in left else None,
                full_deg=left["full"].knee_change_deg if "full" in left else None,
            )
        )
    return found


def knees(assessment: Assessment) -> Figure | Sentences:
    """Draw what the choices leave at the knee over the stroke; nothing where no leg is known."""
    found = _knees(assessment)
    return knee_change(found) if found else Sentences(())


def knees_behind(assessment: Assessment) -> Table:
    """Return the table behind the knees' change: a row a crank angle, a column a leg and choice."""
    rows = [row for row in knee_change_table(_knees(assessment)) if row["value"] is not None]
    cells: dict[str, dict[str, str]] = {}
    for row in rows:
        is_largest = row["words"] == "largest"
        place = "Largest" if is_largest else f"Crank {row['crank_angle_deg']}°"
        at = f" at {row['crank_angle_deg']}°" if is_largest else ""
        column = f"{capital(row['side'])}, {row['what'].removeprefix('knee change, ')}"
        cells.setdefault(place, {})[column] = f"{plain(row['value'])}°{at}"
    columns = tuple(dict.fromkeys(column for found in cells.values() for column in found))
    body = tuple((place, *(found.get(column, "—") for column in columns)) for place, found in cells.items())
    return Table("Change of knee flexion over the stroke, after minus before", ("", *columns), body)
