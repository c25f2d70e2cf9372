"""Which fields stand in which part of which notebook, in the order of real work: declared, not computed.

Each field of a session stands once. ``{side}`` makes one row of a left and a right field. What the file is named after
is chosen in ``start_here``; readings are struck with the control below each part; sign-off is a button.
"""

from __future__ import annotations

import types
from dataclasses import dataclass
from typing import Any, Union, get_args, get_origin

from pydantic import BaseModel

from fitkit.session import Session
from fitkit.session.paths import get, steps_of

__all__ = ["ENTRIES", "NOTEBOOKS", "SECTIONS", "Entries", "Group", "Section", "absent_group", "places"]

ELSEWHERE = (
    *("format", "version", "client_id", "visit_date", "setup"),
    *("struck.*.field", "struck.*.index"),
    *("sign_off.fitter_id", "sign_off.at", "sign_off.reason", "sign_off.starts_mm.left", "sign_off.starts_mm.right"),
    *(f"sign_off.amendments.*.{name}" for name in ("fitter_id", "at", "reason", "fields")),
)


@dataclass(frozen=True)
class Section:
    """One part of a notebook."""

    title: str  # its heading for messages
    fields: tuple[str, ...] = ()  # paths in their order
    more: tuple[str, ...] = ()  # paths shown when asked for
    entries: tuple[str, ...] = ()  # paths of lists of entries, below the fields


@dataclass(frozen=True)
class Entries:
    """A list of entries: complaints, signs, trials."""

    title: str  # what the list is called, and one of them
    one: str  # what the list is called, and one of them
    fields: tuple[str, ...]  # paths inside one entry; the first names it in the list
    more: tuple[str, ...] = ()  # paths inside one entry; the first names it in the list
    entries: tuple[str, ...] = ()  # lists inside one entry
    may_go: bool = True  # whether an entry can be taken out again


def _position(base: str, *names: str) -> tuple[str, ...]:
    return tuple(f"{base}.{name}" for name in names)


_COMPLAINT = ("region", "side", "severity", "since")
_SEEN = ("what", "side", "seen_from")
_HEIGHTS = ("saddle_height_mm", "saddle_setback_mm", "bar_height_mm", "bar_reach_mm")
_CLEAT = ("{side}.cleat_setback_mm", "{side}.cleat_toe_out_deg")
_UNDER = (
    *("{side}.shim_mm", "{side}.wedge_deg", "{side}.base_adapter_id", "{side}.adapter_stack_mm"),
    "{side}.bolt_length_mm",
)
_TORQUES = ("{side}.cleat_bolt_torque_nm", "{side}.pedal_torque_nm")
_GAPS = ("{side}.heel_gap_heel_in_mm", "{side}.heel_gap_heel_out_mm", "{side}.ankle_gap_mm", "{side}.forefoot_gap_mm")
_BY_FILM = ("foot_pitch_mean_deg", "foot_pitch_amplitude_deg", "foot_pitch_phase_deg", "least_knee_flexion_deg")
_BY_PHOTOGRAPH = (
    *("cleat_setback_mm", "least_cleat_setback_mm", "greatest_cleat_setback_mm"),
    *("cleat_toe_out_deg", "shoe_outward_mm"),
)
_WIDTH = ("{side}.shoe_outward_mm", "{side}.washer_mm", "{side}.extender_mm", "{side}.spindle_to_cleat_centre_mm")
_NAMED = ("{side}.spindle_id", "{side}.extender_id")

ENTRIES: dict[str, Entries] = {
    "signs": Entries(
        "Signs that need a clinician",
        "sign",
        ("sign", "side"),
        ("cleared.role", "cleared.finding", "cleared.date"),
    ),
    "complaints": Entries("Complaints", "complaint", _COMPLAINT),
    "since_last.complaints": Entries("Complaints since the last visit", "complaint", _COMPLAINT),
    "seen": Entries("Seen riding as found", "thing seen", _SEEN),
    "ride.films": Entries(
        "Films",
        "film",
        ("file", "trial"),
        tuple(f"measured.{{side}}.{name}.{part}" for name in _BY_FILM for part in ("value", "u")),
    ),
    "photographs": Entries(
        "Photographs of the soles",
        "photograph",
        ("points", "side", "position", "picture"),
        tuple(f"measured.{name}.{part}" for name in _BY_PHOTOGRAPH for part in ("value", "u")),
    ),
    "ride.power_files": Entries("Power files", "power file", ("file", "trial")),
    "ride.left.foot_pitch_table": Entries("Foot pitch table, left", "row", ("crank_angle_deg", "pitch_deg")),
    "ride.right.foot_pitch_table": Entries("Foot pitch table, right", "row", ("crank_angle_deg", "pitch_deg")),
    "trials": Entries(
        "Trials",
        "trial",
        (
            "note",
            "position.moved_mm.{side}",
            "position.{side}.cleat_setback_mm",
            "taken:position.{side}.cleat_setback_mm",
            "saddle_corrected",
            "position.saddle_height_mm",
            "unsteadiness.{side}",
            "smooth_at_bottom",
            "knee_travel_mm.{side}",
            "kept",
        ),
        _position(
            "position",
            *(_CLEAT[1], *_UNDER, *_WIDTH, *_NAMED, *_GAPS, *_TORQUES),
            *("saddle_setback_mm", "bar_height_mm", "bar_reach_mm", "note"),
        ),
        ("trials.*.seen", "trials.*.complaints"),
        may_go=False,
    ),
    "trials.*.seen": Entries("Seen in this trial", "thing seen", _SEEN),
    "trials.*.complaints": Entries("Complaints in this trial", "complaint", _COMPLAINT),
    "struck": Entries("Readings struck out", "struck reading", ("reason",)),
}

SECTIONS: dict[str, Section] = {
    "visit": Section(
        "The visit",
        (
            *("fitter_id", "consent.record", "consent.film", "consent.photograph", "consent.learning"),
            *("demonstration", "note"),
        ),
    ),
    "since_last": Section(
        "Since the last visit", ("since_last.kept", "since_last.date"), entries=("since_last.complaints",)
    ),
    "signs": Section("Signs", ("signs_asked",), entries=("signs",)),
    "complaints": Section("Complaints", entries=("complaints",)),
    "body": Section(
        "Body",
        (
            *("rider.age_years", "rider.riding", "rider.reference_population"),
            *("rider.stature_mm", "rider.mass_kg", "rider.inseam_mm"),
            *("rider.{side}.foot_length_mm", "rider.{side}.heel_to_mtp1_mm"),
            *("rider.{side}.ankle_height_mm", "rider.{side}.ankle_to_mtp1_mm"),
            *("rider.{side}.thigh_mm", "rider.{side}.shank_mm", "rider.{side}.natural_toe_out_deg"),
        ),
        more=(
            *("rider.{side}.leg_length_mm", "rider.{side}.ankle_dorsiflexion_deg", "rider.{side}.calf_girth_mm"),
            *("rider.{side}.hip_flexion_deg", "rider.{side}.hip_internal_rotation_deg"),
        ),
    ),
    "shoes": Section(
        "Shoes",
        (
            *("shoes.{side}.size", "shoes.{side}.size_system"),
            *("shoes.{side}.fit", "shoes.{side}.cleat_wear"),
            *("shoes.{side}.axle_to_foot_sole_mm", "shoes.{side}.bolt_length_mm"),
        ),
        more=("shoes.{side}.bolts", "shoes.{side}.insole"),
    ),
    "bike": Section(
        "Bicycle",
        (
            *("bike.crank_length_mm", "bike.seat_tube_angle_deg", "bike.bottom_bracket_height_mm"),
            *("bike.bar_room_down_mm", "bike.pedal_family", "bike.float_deg"),
        ),
    ),
    "as_found_ride": Section(
        "Riding as found",
        (
            *("ride.{side}.least_knee_flexion_deg", "ride.{side}.foot_pitch_mean_deg", "ride.hip_above_saddle_mm"),
            "seen_asked",
        ),
        more=("ride.{side}.foot_pitch_amplitude_deg", "ride.{side}.foot_pitch_phase_deg"),
        entries=("seen",),
    ),
    "ride_files": Section(
        "Films, photographs and pitch tables",
        ("ride.exertion_screen",),
        entries=(
            *("ride.films", "ride.power_files", "photographs"),
            *("ride.left.foot_pitch_table", "ride.right.foot_pitch_table"),
        ),
    ),
    "as_found_heights": Section("Saddle and bars as found", _position("as_found", *_HEIGHTS), more=("as_found.note",)),
    "as_found_cleats": Section(
        "Cleats as found",
        (
            "as_found.{side}.cleat_setback_mm",
            "taken:as_found.{side}.cleat_setback_mm",
            *("shoes.{side}.least_cleat_setback_mm", "shoes.{side}.greatest_cleat_setback_mm"),
            *("as_found.{side}.cleat_toe_out_deg", "rider.{side}.mtp1_big_toe_side_mm"),
        ),
        more=(*_position("as_found", *_UNDER, *_TORQUES), "as_found.moved_mm.{side}"),
    ),
    "trials": Section("Trials", entries=("trials",)),
    "decided_cleats": Section(
        "Decided",
        (
            *("decided.moved_mm.{side}", "decided.{side}.cleat_setback_mm", "decided.{side}.cleat_toe_out_deg"),
            "decided.note",
        ),
        more=("taken:decided.{side}.cleat_setback_mm", *_position("decided", *_UNDER, *_TORQUES)),
    ),
    "hips": Section("Pelvis and feet", ("rider.inter_asis_mm", "rider.pelvic_depth_mm", "rider.foot_hang_mm")),
    "as_found_width": Section(
        "Width as found",
        (
            *("bike.q_factor_mm", "bike.{side}.crank_face_to_centreline_mm"),
            *("bike.{side}.spindle_to_cleat_centre_mm", "as_found.{side}.shoe_outward_mm"),
            *("as_found.{side}.washer_mm", "as_found.{side}.extender_mm"),
            *("as_found.{side}.spindle_id", "as_found.{side}.extender_id"),
        ),
        more=("as_found.{side}.spindle_to_cleat_centre_mm", *_position("as_found", *_GAPS)),
    ),
    "threads": Section(
        "Threads and clearances",
        (
            *("bike.crank_thread_depth_mm", "bike.{side}.spindle_thread_mm", "bike.{side}.unthreaded_tip_mm"),
            *("bike.{side}.pedal_outer_edge_mm", "bike.{side}.pedal_below_axle_mm"),
            *("bike.{side}.axle_to_tyre_mm", "bike.{side}.axle_to_toe_mm"),
            *("bike.{side}.heel_gap_heel_in_mm", "bike.{side}.heel_gap_heel_out_mm"),
            *("bike.{side}.ankle_gap_mm", "bike.{side}.forefoot_gap_mm"),
        ),
    ),
    "wish": Section("Wish", ("wish.{side}.half_stance_change_mm", "wish.same_both_sides")),
    "decided_width": Section(
        "Decided width", _position("decided", *_WIDTH, *_NAMED), more=_position("decided", *_GAPS)
    ),
    "decided_heights": Section("Decided saddle and bars", _position("decided", *_HEIGHTS)),
    "as_left": Section(
        "As left, measured again",
        (
            "as_left.{side}.cleat_setback_mm",
            "taken:as_left.{side}.cleat_setback_mm",
            "as_left.{side}.cleat_toe_out_deg",
            "as_left.moved_mm.{side}",
            *_position("as_left", *_HEIGHTS, *_TORQUES),
            "as_left.note",
        ),
        more=_position("as_left", *_UNDER, *_WIDTH, *_NAMED, *_GAPS),
    ),
    "struck": Section("Readings struck out", entries=("struck",)),
    "follow_up": Section("Follow-up", ("follow_up_due",)),
}

NOTEBOOKS: dict[str, tuple[str, ...]] = {
    "1_intake": ("visit", "since_last", "signs", "complaints", "body", "shoes", "bike"),
    "2_cleat_marking": (
        *("as_found_ride", "as_found_heights", "as_found_cleats"),
        *("trials", "decided_cleats"),
    ),
    "3_stance_width": ("hips", "as_found_width", "threads", "wish", "decided_width"),
    "4_ride_check": ("ride_files",),
    "5_review": ("decided_heights", "as_left", "struck", "follow_up"),
}


def places() -> dict[str, str]:
    """Return the section in which each field stands, by the field's pattern with ``*`` for places in lists."""
    found: dict[str, str] = {}
    for name, section in SECTIONS.items():
        for path in (*section.fields, *section.more):
            found |= dict.fromkeys(_patterns(path, ""), name)
        for base in section.entries:
            found |= dict.fromkeys(_in_entries(base), name)
    return found


def _in_entries(base: str) -> list[str]:
    entries = ENTRIES[base]
    found = [pattern for path in (*entries.fields, *entries.more) for pattern in _patterns(path, f"{base}.*.")]
    return found + [pattern for inner in entries.entries for pattern in _in_entries(inner)]


def _patterns(path: str, above: str) -> list[str]:
    if path.startswith("taken:"):
        return ["taken.*"]
    sides = ("left", "right") if "{side}" in path else ("",)
    return [above + path.replace("{side}", side) for side in sides]


@dataclass(frozen=True)
class Group:
    """A group that is not in the file yet."""

    dotted: str  # its path
    needs: tuple[str, ...]  # paths of the fields without which it cannot be saved


def absent_group(tree: dict, dotted: str) -> Group | None:
    """Return the innermost group around a field that the session does not hold yet, None where all are there."""
    found = None
    model: Any = Session
    steps = steps_of(dotted)
    for place, step in enumerate(steps[:-1], start=1):
        above = steps[:place]
        if isinstance(step, int):
            is_group = True
        else:
            model, is_group = _inside(model.__pydantic_fields__[step].annotation)
        if model is None:
            return None
        if is_group and get(tree, above) is None:
            here = ".".join(map(str, above))
            needs = tuple(f"{here}.{name}" for name, field in model.__pydantic_fields__.items() if field.is_required())
            found = Group(here, needs) if needs else found
    return found


def _inside(annotation: Any) -> tuple[type[BaseModel] | None, bool]:
    """Return the model inside an annotation, and whether it may be absent."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation, False
    if get_origin(annotation) in (tuple, types.UnionType, Union):
        found = next((model for inner in get_args(annotation) if (model := _inside(inner)[0])), None)
        return found, get_origin(annotation) is not tuple
    return None, False
