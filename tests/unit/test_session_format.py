"""The session's fields are those of the session format, version 1, and every file of that version opens for ever."""

import json
from pathlib import Path
from typing import get_args

import jsonschema
import pytest

from fitkit import session, vocabulary
from fitkit.session.fields import Kind
from fitkit.session.paths import find

DATA = Path(__file__).parent / "data"
EXAMPLE = DATA / "rider-042_2026-03-04_road.json"
SCHEMA = jsonschema.Draft202012Validator(
    json.loads((Path(session.__file__).parent / "schema.json").read_bytes()), format_checker=jsonschema.FormatChecker()
)

# The session format, version 1, as outside tools write it; [] marks lists of raw readings.
RIDER_SIDE = """foot_length_mm[] heel_to_mtp1_mm[] mtp1_big_toe_side_mm[] leg_length_mm[] thigh_mm[] shank_mm[]
    ankle_height_mm[] ankle_to_mtp1_mm[] natural_toe_out_deg[] ankle_dorsiflexion_deg[] calf_girth_mm[]
    hip_flexion_deg[] hip_internal_rotation_deg[]"""
BIKE_SIDE = """crank_face_to_centreline_mm[] spindle_to_cleat_centre_mm spindle_thread_mm unthreaded_tip_mm
    pedal_outer_edge_mm pedal_below_axle_mm axle_to_tyre_mm axle_to_toe_mm heel_gap_heel_in_mm heel_gap_heel_out_mm
    ankle_gap_mm forefoot_gap_mm"""
SHOE = """size size_system least_cleat_setback_mm greatest_cleat_setback_mm axle_to_foot_sole_mm bolt_length_mm
    bolts cleat_wear fit insole"""
RIDE_SIDE = """foot_pitch_mean_deg foot_pitch_amplitude_deg foot_pitch_phase_deg foot_pitch_table.*.crank_angle_deg
    foot_pitch_table.*.pitch_deg least_knee_flexion_deg[]"""
POSITION_SIDE = """cleat_setback_mm[] cleat_toe_out_deg[] shoe_outward_mm[] washer_mm extender_mm shim_mm wedge_deg
    spindle_to_cleat_centre_mm spindle_id extender_id base_adapter_id adapter_stack_mm bolt_length_mm
    cleat_bolt_torque_nm pedal_torque_nm heel_gap_heel_in_mm heel_gap_heel_out_mm ankle_gap_mm forefoot_gap_mm"""
BY_FILM = "foot_pitch_mean_deg foot_pitch_amplitude_deg foot_pitch_phase_deg least_knee_flexion_deg"
BY_PHOTOGRAPH = "cleat_setback_mm least_cleat_setback_mm greatest_cleat_setback_mm cleat_toe_out_deg shoe_outward_mm"
COMPLAINT = "region side severity since"
SEEN = "what side seen_from"


def below(name, text):
    return [f"{name}.{field}" for field in text.split()]


def both_sides(name, text):
    return below(f"{name}.left", text) + below(f"{name}.right", text)


def position(name):
    own = "moved_mm.left moved_mm.right saddle_height_mm[] saddle_setback_mm[] bar_height_mm[] bar_reach_mm[]"
    own += " note"
    return both_sides(name, POSITION_SIDE) + below(name, own)


FORMAT_VERSION_1 = [
    *[
        "format",
        "version",
        "client_id",
        "visit_date",
        "setup",
        "fitter_id",
        "demonstration",
        "follow_up_due",
        "note",
        "signs_asked",
        "seen_asked",
        "taken.*",
    ],
    *below("rider", "reference_population riding stature_mm mass_kg inseam_mm[] inter_asis_mm[] pelvic_depth_mm[]"),
    *below("rider", "foot_hang_mm[] age_years"),
    *both_sides("rider", RIDER_SIDE),
    *below("complaints.*", COMPLAINT),
    *below("signs.*", "sign side cleared.role cleared.finding cleared.date"),
    *both_sides("shoes", SHOE),
    *below("bike", "crank_length_mm q_factor_mm[] seat_tube_angle_deg bottom_bracket_height_mm bar_room_down_mm"),
    *below("bike", "pedal_family float_deg crank_thread_depth_mm"),
    *both_sides("bike", BIKE_SIDE),
    *both_sides("ride", RIDE_SIDE),
    *below("ride", "hip_above_saddle_mm films.*.file films.*.trial power_files.*.file power_files.*.trial"),
    "ride.exertion_screen",
    *[
        f"ride.films.*.measured.{side}.{field}.{part}"
        for side in ("left", "right")
        for field in BY_FILM.split()
        for part in ("value", "u")
    ],
    *below("photographs.*", "points picture side position"),
    *[f"photographs.*.measured.{field}.{part}" for field in BY_PHOTOGRAPH.split() for part in ("value", "u")],
    *[field for name in ("as_found", "decided", "as_left", "trials.*.position") for field in position(name)],
    *below("trials.*", "unsteadiness.left[] unsteadiness.right[] smooth_at_bottom knee_travel_mm.left[]"),
    *below("trials.*", "knee_travel_mm.right[] saddle_corrected kept note"),
    *below("trials.*.seen.*", SEEN),
    *below("trials.*.complaints.*", COMPLAINT),
    *below("seen.*", SEEN),
    *below("wish", "same_both_sides left.half_stance_change_mm right.half_stance_change_mm"),
    *below("struck.*", "field index reason"),
    *below("consent", "record film photograph learning"),
    *below("sign_off", "fitter_id at reason starts_mm.left starts_mm.right"),
    *below("sign_off.amendments.*", "fitter_id at reason fields[]"),
    *below("since_last", "kept date"),
    *below("since_last.complaints.*", COMPLAINT),
]


def test_every_field_of_the_format_is_there_and_no_other():
    written = [info.dotted + ("[]" if info.many else "") for info in session.fields()]
    assert sorted(written) == sorted(FORMAT_VERSION_1)


def test_the_file_of_version_1_kept_for_ever_opens():
    visit = session.load(EXAMPLE)
    assert session.key(visit) == "rider-042_2026-03-04_road"
    assert visit.as_found.left.cleat_setback_mm == (11, 11, 12)
    assert visit.rider.left.thigh_mm == (428,)
    assert visit.trials[0].position.moved_mm.left == 6
    assert visit.shoes.right.size_system == "eu"
    assert visit.taken == {"as_found.left.cleat_setback_mm": "tape_left_on"}
    assert session.unusual(visit) == ()


def test_null_absent_and_empty_alike_mean_not_measured():
    tree = json.loads(EXAMPLE.read_bytes())
    del tree["rider"]["foot_hang_mm"], tree["rider"]["pelvic_depth_mm"]
    tree |= {"seen": tree["seen"], "since_last": None, "sign_off": None, "struck": None, "follow_up_due": []}
    visit = session.parse(json.dumps(tree).encode())
    assert visit.rider.foot_hang_mm == visit.rider.pelvic_depth_mm == ()
    assert visit.follow_up_due is None
    assert visit.since_last.complaints == ()
    assert visit.sign_off is None


def test_a_session_with_the_required_fields_alone_answers_every_path():
    visit = session.parse(
        b'{"format": "cleat-stance-session", "version": 1, "client_id": "a", "visit_date": "2024-02-29", "setup": "b"}'
    )
    for info in session.fields():
        if info.sort == "number" and "*" not in info.dotted:
            assert session.kept(visit, info.dotted) == ()
    assert visit.wish.same_both_sides is True
    assert visit.demonstration is None


def test_what_is_written_is_read_again_as_the_same_and_written_as_the_same_bytes():
    visit = session.load(EXAMPLE)
    data = session.dump(visit)
    assert session.parse(data) == visit
    assert session.dump(session.parse(data)) == data
    assert b'"foot_length_mm": [267, 267]' in data
    assert b"null" not in data


def test_urgency_of_signs_follows_their_order():
    # Standard medicine, from memory: no published source is claimed.
    counts = [list(vocabulary.SIGNS.values()).count(rank) for rank in get_args(vocabulary.Urgency)]
    assert counts == [6, 7, 12]
    assert vocabulary.SIGNS["hot_swollen_calf"] == "this hour"
    assert vocabulary.SIGNS["saddle_numbness_persisting"] == "today"
    assert vocabulary.SIGNS["exertional_leg_pain"] == "today"
    assert vocabulary.SIGNS["night_or_rest_pain"] == "before the next change"


def test_words_of_what_was_seen_and_of_regions():
    assert len(vocabulary.SEEN) == 12
    assert len(vocabulary.REGIONS) == 20
    assert session.describe("seen.0.what").choices == vocabulary.SEEN
    assert session.describe("complaints.3.region").choices == vocabulary.REGIONS


@pytest.mark.parametrize(
    ("dotted", "women", "men"),
    [
        # Gordon et al. 2014, NATICK/TR-15/007 (ANSUR II): mean and standard deviation, women and men.
        ("rider.left.foot_length_mm", (246.29, 12.44), (271.18, 13.10)),
        ("rider.right.heel_to_mtp1_mm", (182.05, 9.64), (200.94, 10.47)),
        ("rider.left.ankle_height_mm", (62.75, 5.11), (72.90, 5.67)),
        # Skeletal Radiology, doi 10.1007/s00256-009-0791-x: inter-ASIS distance of 200 adults.
        ("rider.inter_asis_mm", (227, 16), (227, 16)),
    ],
)
def test_usual_limits_are_three_published_standard_deviations(dotted, women, men):
    low, high = session.describe(dotted).usual
    assert low == pytest.approx(women[0] - 3 * women[1], abs=0.6)
    assert high == pytest.approx(men[0] + 3 * men[1], abs=0.6)


@pytest.mark.parametrize(
    ("dotted", "values"),
    [
        ("bike.q_factor_mm", (90, 180)),  # Disley & Li 2014: Q factors tested
        ("bike.crank_length_mm", (150, 190)),  # Barratt et al. 2011: crank lengths tested
        ("ride.left.least_knee_flexion_deg", (30, 43)),  # Swart & Holliday 2019, easy and hard
        ("as_found.left.cleat_setback_mm", (-24, 35)),  # Ramos-Ortega et al. 2012: 0 (8); about 35: common practice
        ("trials.0.knee_travel_mm.left", (8, 14)),  # medio-lateral knee travel, conference abstract
        ("as_left.right.shim_mm", (0, 5.4)),  # Macdermid & Mann 2015: leg-length difference corrected
    ],
)
def test_usual_limits_hold_published_values(dotted, values):
    low, high = session.describe(dotted).usual
    assert low <= values[0]
    assert values[1] <= high


def test_usual_limits_lie_within_possible_ones_and_every_number_says_how_it_is_measured():
    for info in session.fields():
        if info.sort == "number":
            low, high = info.usual or info.possible
            assert info.possible[0] <= low < high <= info.possible[1], info.dotted
            assert info.title, info.dotted
            assert info.how, info.dotted
            assert info.unit in ("mm", "deg", "kg", "N m", "1"), info.dotted
            assert info.kind in (None, *get_args(Kind)), info.dotted


def test_describe_knows_places_in_lists_and_refuses_what_is_no_field():
    assert session.describe("trials.0.position.left.cleat_setback_mm").kind == "cleat_setback"
    assert session.describe("rider.pelvic_depth_mm").kind == "pelvis"
    assert session.describe("bike.crank_length_mm").kind is None
    assert session.describe("taken.as_found.left.cleat_setback_mm").choices == ("mark_found_anew", "tape_left_on")
    with pytest.raises(ValueError, match=r"rider\.left\.thigh_cm"):
        session.describe("rider.left.thigh_cm")
    assert find("rider.left") is None


def test_kept_leaves_struck_readings_out():
    tree = json.loads(EXAMPLE.read_bytes())
    tree["struck"] = [{"field": "as_found.left.cleat_setback_mm", "index": 1, "reason": "tape slipped"}]
    visit = session.parse(json.dumps(tree).encode())
    assert session.kept(visit, "as_found.left.cleat_setback_mm") == (11, 12)
    assert session.kept(visit, "as_found.right.cleat_setback_mm") == (13, 14, 13)
    assert session.kept(visit, "trials.0.position.left.cleat_setback_mm") == (17,)
    assert session.kept(visit, "trials.7.position.left.cleat_setback_mm") == ()
    assert session.kept(visit, "rider.stature_mm") == (1755,)
    with pytest.raises(ValueError, match="setup holds no readings"):
        session.kept(visit, "setup")


def test_unusual_values_are_asked_again_with_the_likely_slip():
    tree = json.loads(EXAMPLE.read_bytes())
    tree["rider"]["left"]["foot_length_mm"] = [267, 330]
    tree["as_found"]["left"]["cleat_setback_mm"] = [110, 12]
    tree["shoes"]["left"]["size"] = 56
    tree["struck"] = [{"field": "rider.left.foot_length_mm", "index": 1, "reason": "read at the wrong edge"}]
    found = [str(problem) for problem in session.unusual(session.parse(json.dumps(tree).encode()))]
    assert found == [
        "shoes.left.size is 56; expected usually 33 to 49.",
        "as_found.left.cleat_setback_mm.0 is 110; expected usually -24 to 40. A decimal point in the wrong place?",
    ]


def test_the_schema_file_is_current_and_holds_the_example():
    # Independent reader of the schema: the jsonschema library.
    assert session.json_schema() == SCHEMA.schema, "write session.json_schema() to fitkit/session/schema.json"
    jsonschema.Draft202012Validator.check_schema(SCHEMA.schema)
    SCHEMA.validate(json.loads(EXAMPLE.read_bytes()))
    foot = SCHEMA.schema["$defs"]["RiderSide"]["properties"]["foot_length_mm"]
    assert (foot["unit"], foot["usual"]) == ("mm", [209, 310])


@pytest.mark.parametrize(
    ("where", "value"),
    [
        (("rider", "left", "foot_length_mm"), 267),
        (("rider", "left", "foot_length_mm"), [26.3]),
        (("rider", "left", "foot_length_mm"), ["267"]),
        (("rider", "stature_mm"), True),
        (("rider", "riding"), "slow"),
        (("client_id",), "Rider 42"),
        (("visit_date",), "2026-02-30"),
        (("zoo",), 1),
        (("version",), 2),
        (("consent", "film"), 1),
    ],
)
def test_the_schema_refuses_what_the_kit_refuses(where, value):
    tree = json.loads(EXAMPLE.read_bytes())
    inner = tree
    for step in where[:-1]:
        inner = inner[step]
    inner[where[-1]] = value
    assert not SCHEMA.is_valid(tree)
    with pytest.raises(session.SessionProblems, match=where[-1]):
        session.parse(json.dumps(tree).encode())
