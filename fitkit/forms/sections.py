"""Which fields stand in which part of which notebook, in the order of real work: declared, not computed.

Each field of a session stands once. ``{side}`` makes one row of a left and a right field. What the file is named after
is chosen in ``start_here``; readings are struck with the control below each part; sign-off is a button.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from fitkit.session import fields
from fitkit.session.paths import get, steps_of

__all__ = ["ENTRIES", "SECTIONS", "Entries", "Section", "absent_group"]


@dataclass(frozen=True)
class Section:
    """One part of a notebook."""

    fields: tuple[str, ...] = ()  # paths in their order
    more: tuple[str, ...] = ()  # paths shown when asked for
    entries: tuple[str, ...] = ()  # paths of lists of entries, below the fields


@dataclass(frozen=True, kw_only=True)
class Entries(Section):
    """A list of entries: complaints, signs, trials; paths are those inside one entry, the first fields name it."""

    title: str  # what the list is called
    one: str  # what one of them is called
    may_go: bool = True  # whether an entry can be taken out again


def _paths(text: str) -> tuple[str, ...]:
    return tuple(text.split())


def _at(position: str, *names: str) -> tuple[str, ...]:
    return tuple(f"{position}.{name}" for name in _paths(" ".join(names)))


def _measured(above: str, names: str) -> tuple[str, ...]:
    return tuple(f"{above}.{name}.{part}" for name in _paths(names) for part in ("value", "u"))


_COMPLAINT = _paths("region side severity since")
_SEEN = _paths("what side seen_from")
_PITCH_TABLE = _paths("crank_angle_deg pitch_deg")
# Parts of a position: what was measured as found, in a trial, as decided, as left.
_HEIGHTS = "saddle_height_mm saddle_setback_mm bar_height_mm bar_reach_mm"
_UNDER = "{side}.shim_mm {side}.wedge_deg {side}.base_adapter_id {side}.adapter_stack_mm {side}.bolt_length_mm"
_TORQUES = "{side}.cleat_bolt_torque_nm {side}.pedal_torque_nm"
_GAPS = "{side}.heel_gap_heel_in_mm {side}.heel_gap_heel_out_mm {side}.ankle_gap_mm {side}.forefoot_gap_mm"
_WIDTH = "{side}.shoe_outward_mm {side}.washer_mm {side}.extender_mm {side}.spindle_to_cleat_centre_mm"
_NAMED = "{side}.spindle_id {side}.extender_id"

ENTRIES: dict[str, Entries] = {
    "signs": Entries(
        _paths("sign side"),
        more=_paths("cleared.role cleared.finding cleared.date"),
        title="Signs that need a clinician",
        one="sign",
    ),
    "complaints": Entries(_COMPLAINT, title="Complaints", one="complaint"),
    "since_last.complaints": Entries(_COMPLAINT, title="Complaints since the last visit", one="complaint"),
    "seen": Entries(_SEEN, title="Seen riding as found", one="thing seen"),
    "ride.films": Entries(
        _paths("file trial"),
        more=_measured(
            "measured.{side}",
            "foot_pitch_mean_deg foot_pitch_amplitude_deg foot_pitch_phase_deg least_knee_flexion_deg",
        ),
        title="Films",
        one="film",
    ),
    "photographs": Entries(
        _paths("points side position picture"),
        more=_measured(
            "measured",
            "cleat_setback_mm least_cleat_setback_mm greatest_cleat_setback_mm cleat_toe_out_deg shoe_outward_mm",
        ),
        title="Photographs of the soles",
        one="photograph",
    ),
    "ride.power_files": Entries(_paths("file trial"), title="Power files", one="power file"),
    "ride.left.foot_pitch_table": Entries(_PITCH_TABLE, title="Foot pitch table, left", one="row"),
    "ride.right.foot_pitch_table": Entries(_PITCH_TABLE, title="Foot pitch table, right", one="row"),
    "trials": Entries(
        _paths("""
            note position.moved_mm.{side} position.{side}.cleat_setback_mm
            taken:position.{side}.cleat_setback_mm
            saddle_corrected position.saddle_height_mm
            unsteadiness.{side} smooth_at_bottom knee_travel_mm.{side} kept
        """),
        more=_at(
            "position",
            *("{side}.cleat_toe_out_deg", _UNDER, _WIDTH, _NAMED, _GAPS, _TORQUES),
            "saddle_setback_mm bar_height_mm bar_reach_mm note",
        ),
        entries=("trials.*.seen", "trials.*.complaints"),
        title="Trials",
        one="trial",
        may_go=False,
    ),
    "trials.*.seen": Entries(_SEEN, title="Seen in this trial", one="thing seen"),
    "trials.*.complaints": Entries(_COMPLAINT, title="Complaints in this trial", one="complaint"),
    "struck": Entries(("reason",), title="Readings struck out", one="struck reading"),
}

SECTIONS: dict[str, Section] = {
    # 1_intake
    "visit": Section(
        _paths("""
            fitter_id consent.record consent.film consent.photograph consent.learning
            demonstration note
        """)
    ),
    "since_last": Section(_paths("since_last.kept since_last.date"), entries=("since_last.complaints",)),
    "signs": Section(("signs_asked",), entries=("signs",)),
    "complaints": Section(entries=("complaints",)),
    "body": Section(
        _paths("""
            rider.age_years rider.riding rider.reference_population
            rider.stature_mm rider.mass_kg rider.inseam_mm
            rider.{side}.foot_length_mm rider.{side}.heel_to_mtp1_mm
            rider.{side}.ankle_height_mm rider.{side}.ankle_to_mtp1_mm
            rider.{side}.thigh_mm rider.{side}.shank_mm rider.{side}.natural_toe_out_deg
        """),
        more=_paths("""
            rider.{side}.leg_length_mm rider.{side}.ankle_dorsiflexion_deg rider.{side}.calf_girth_mm
            rider.{side}.hip_flexion_deg rider.{side}.hip_internal_rotation_deg
        """),
    ),
    "shoes": Section(
        _paths("""
            shoes.{side}.size shoes.{side}.size_system shoes.{side}.fit shoes.{side}.cleat_wear
            shoes.{side}.axle_to_foot_sole_mm shoes.{side}.bolt_length_mm
        """),
        more=_paths("shoes.{side}.bolts shoes.{side}.insole"),
    ),
    "bike": Section(
        _paths("""
            bike.crank_length_mm bike.seat_tube_angle_deg bike.bottom_bracket_height_mm
            bike.bar_room_down_mm bike.pedal_family bike.float_deg
        """)
    ),
    # 2_cleat_marking
    "as_found_ride": Section(
        _paths("""
            ride.{side}.least_knee_flexion_deg ride.{side}.foot_pitch_mean_deg ride.hip_above_saddle_mm
            seen_asked
        """),
        more=_paths("ride.{side}.foot_pitch_amplitude_deg ride.{side}.foot_pitch_phase_deg"),
        entries=("seen",),
    ),
    "as_found_heights": Section(_at("as_found", _HEIGHTS), more=("as_found.note",)),
    "as_found_cleats": Section(
        _paths("""
            as_found.{side}.cleat_setback_mm
            taken:as_found.{side}.cleat_setback_mm
            shoes.{side}.least_cleat_setback_mm shoes.{side}.greatest_cleat_setback_mm
            as_found.{side}.cleat_toe_out_deg rider.{side}.mtp1_big_toe_side_mm
        """),
        more=_at("as_found", _UNDER, _TORQUES, "moved_mm.{side}"),
    ),
    "trials": Section(entries=("trials",)),
    "decided_cleats": Section(
        _at("decided", "moved_mm.{side} {side}.cleat_setback_mm {side}.cleat_toe_out_deg note"),
        more=("taken:decided.{side}.cleat_setback_mm", *_at("decided", _UNDER, _TORQUES)),
    ),
    # 3_stance_width
    "hips": Section(_paths("rider.inter_asis_mm rider.pelvic_depth_mm rider.foot_hang_mm")),
    "as_found_width": Section(
        _paths("""
            bike.q_factor_mm bike.{side}.crank_face_to_centreline_mm
            bike.{side}.spindle_to_cleat_centre_mm as_found.{side}.shoe_outward_mm
            as_found.{side}.washer_mm as_found.{side}.extender_mm
            as_found.{side}.spindle_id as_found.{side}.extender_id
        """),
        more=_at("as_found", "{side}.spindle_to_cleat_centre_mm", _GAPS),
    ),
    "threads": Section(
        _paths("""
            bike.crank_thread_depth_mm bike.{side}.spindle_thread_mm bike.{side}.unthreaded_tip_mm
            bike.{side}.pedal_outer_edge_mm bike.{side}.pedal_below_axle_mm
            bike.{side}.axle_to_tyre_mm bike.{side}.axle_to_toe_mm
            bike.{side}.heel_gap_heel_in_mm bike.{side}.heel_gap_heel_out_mm
            bike.{side}.ankle_gap_mm bike.{side}.forefoot_gap_mm
        """)
    ),
    "wish": Section(_paths("wish.{side}.half_stance_change_mm wish.same_both_sides")),
    "decided_width": Section(_at("decided", _WIDTH, _NAMED), more=_at("decided", _GAPS)),
    # 4_ride_check
    "ride_files": Section(
        ("ride.exertion_screen",),
        entries=_paths("""
            ride.films ride.power_files photographs ride.left.foot_pitch_table ride.right.foot_pitch_table
        """),
    ),
    # 5_review
    "decided_heights": Section(_at("decided", _HEIGHTS)),
    "as_left": Section(
        (
            "as_left.{side}.cleat_setback_mm",
            "taken:as_left.{side}.cleat_setback_mm",
            *_at("as_left", "{side}.cleat_toe_out_deg moved_mm.{side}", _HEIGHTS, _TORQUES, "note"),
        ),
        more=_at("as_left", _UNDER, _WIDTH, _NAMED, _GAPS),
    ),
    "struck": Section(entries=("struck",)),
    "follow_up": Section(("follow_up_due",)),
}


@cache
def _required() -> dict[str, tuple[str, ...]]:
    """Return the names of the fields without which a group cannot be saved, by the pattern of its path."""
    found: dict[str, tuple[str, ...]] = {}
    for info in fields():
        group, _, name = info.dotted.rpartition(".")
        if info.is_required and group:
            found[group] = (*found.get(group, ()), name)
    return found


def absent_group(tree: dict, dotted: str) -> tuple[str, tuple[str, ...]] | None:
    """Return the innermost group around a field that is not in the file yet, and the fields it cannot be saved without.

    None where all that have such fields are there.
    """
    steps = steps_of(dotted)
    for end in range(len(steps) - 1, 0, -1):
        names = _required().get(".".join("*" if isinstance(step, int) else step for step in steps[:end]))
        if names and get(tree, steps[:end]) is None:
            group = ".".join(map(str, steps[:end]))
            return group, tuple(f"{group}.{name}" for name in names)
    return None
