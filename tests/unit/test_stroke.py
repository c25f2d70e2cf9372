"""The closed chain against three other codes, a rigid-body library, a textbook linkage and second routes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pinocchio
import pytest
from scipy.optimize import brentq, minimize_scalar

from fitkit.calculations.stroke import (
    BikeGeometry,
    Chain,
    Cleat,
    HipCentre,
    Leg,
    OutOfReach,
    Pitch,
    ankle_path,
    crank_angles,
    greatest_hip_distance,
    hip_on_tube,
    hip_to_ankle,
    least_knee_flexion,
    require_reach,
    solve_pose,
)

BARE_FOOT = {"ankle_to_mtp1_mm": 0.0, "ankle_height_mm": 0.0}
NO_CLEAT = Cleat(setback_mm=0.0, axle_to_foot_sole_mm=0.0)
PITCH_TABLE = ((0.0, 10.0), (60.0, 18.0), (120.0, 22.0), (180.0, 16.0), (240.0, 6.0), (300.0, 4.0))


def two_links(thigh_mm: float, shank_mm: float, crank_mm: float) -> Chain:
    """A chain without a foot: the ankle is the axle."""
    leg = Leg(thigh_mm=thigh_mm, shank_mm=shank_mm, **BARE_FOOT)
    return Chain(
        leg=leg,
        cleat=NO_CLEAT,
        pitch=Pitch(mean_deg=0.0),
        bike=BikeGeometry(crank_mm=crank_mm, seat_tube_angle_deg=73.0),
    )


def rider(**pitch: object) -> Chain:
    """The leg used throughout: ankle 168 behind the axle and 95 above it."""
    return Chain(
        leg=Leg(thigh_mm=430.0, shank_mm=430.0, ankle_to_mtp1_mm=183.0, ankle_height_mm=73.0),
        cleat=Cleat(setback_mm=15.0, axle_to_foot_sole_mm=22.0),
        pitch=Pitch(**(pitch or {"mean_deg": 15.0})),
        bike=BikeGeometry(crank_mm=172.5, seat_tube_angle_deg=73.0),
    )


def random_chain(random: np.random.Generator) -> Chain:
    between = random.uniform
    return Chain(
        leg=Leg(
            thigh_mm=between(380, 480),
            shank_mm=between(380, 480),
            ankle_to_mtp1_mm=between(160, 195),
            ankle_height_mm=between(55, 85),
        ),
        cleat=Cleat(
            setback_mm=between(-5, 35),
            axle_to_foot_sole_mm=between(15, 30),
            shim_mm=between(0, 5),
            adapter_stack_mm=between(0, 8),
        ),
        pitch=Pitch(mean_deg=between(-10, 35), amplitude_deg=between(0, 20), phase_deg=between(-180, 180)),
        bike=BikeGeometry(crank_mm=between(160, 180), seat_tube_angle_deg=between(70, 78)),
    )


def ankle_by_rotation(chain: Chain, crank_angle_deg: np.ndarray) -> np.ndarray:
    """Second route to the ankle: complex numbers, the foot turned as one rigid piece about the axle."""
    axle = chain.bike.crank_mm * np.exp(1j * np.deg2rad(90.0 - crank_angle_deg))
    wave = chain.pitch.amplitude_deg * np.sin(np.deg2rad(crank_angle_deg + chain.pitch.phase_deg))
    heel_up = np.exp(-1j * np.deg2rad(chain.pitch.mean_deg + wave))
    return axle + heel_up * (-chain.behind_mm + 1j * chain.above_mm)


# --- Against outside sources ---------------------------------------------------------------------------------------


def test_knee_flexion_of_three_independent_codes():
    # Thigh 430, hip-to-pedal shank 430, crank 172.5, hip (-200, 620): values on which a hand-written solver,
    # Pinocchio 4.1.0 and OpenSim 4.6 agree, printed to 1e-6 degrees.
    pose = solve_pose(
        two_links(430.0, 430.0, 172.5),
        hip=HipCentre(-200.0, 620.0),
        crank_angle_deg=np.array([0.0, 90.0, 180.0, 270.0]),
    )
    assert pose.knee_flexion_deg == pytest.approx([110.506131, 65.499542, 36.241343, 87.620061], abs=1e-6)


def planar_leg(chain: Chain, hip: HipCentre) -> tuple[pinocchio.Model, int]:
    """The same leg as three hinges of a rigid-body model; the foot's own x axis runs along the sole to the toes."""
    model = pinocchio.Model()
    joint = 0
    places = ((hip.x_mm, hip.y_mm), (chain.leg.thigh_mm, 0.0), (chain.leg.shank_mm, 0.0))
    for name, (x, y) in zip(("hip", "knee", "ankle"), places, strict=True):
        placement = pinocchio.SE3(np.eye(3), np.array([x, y, 0.0]))
        joint = model.addJoint(joint, pinocchio.JointModelRZ(), placement, name)
    cleat = pinocchio.SE3(np.eye(3), np.array([chain.behind_mm, -chain.above_mm, 0.0]))
    return model, model.addFrame(pinocchio.Frame("cleat", joint, cleat, pinocchio.FrameType.OP_FRAME))


def by_inverse_kinematics(
    chain: Chain, hip: HipCentre, crank_angle_deg: float, pitch_deg: float
) -> tuple[float, float]:
    """Knee flexion and thigh angle by Newton steps on Pinocchio's own Jacobian, from a bent knee."""
    model, frame = planar_leg(chain, hip)
    data, joints = model.createData(), np.deg2rad([-30.0, -80.0, 90.0])
    angle = np.deg2rad(crank_angle_deg)
    axle = chain.bike.crank_mm * np.array([np.sin(angle), np.cos(angle)])
    for _ in range(60):
        pinocchio.framesForwardKinematics(model, data, joints)
        jacobian = pinocchio.computeFrameJacobian(model, data, joints, frame, pinocchio.LOCAL_WORLD_ALIGNED)
        lack = np.append(axle - data.oMf[frame].translation[:2], -np.deg2rad(pitch_deg) - joints.sum())
        step = np.linalg.solve(jacobian[[0, 1, 5]], lack)
        joints = joints + step * min(1.0, 0.3 / np.max(np.abs(step)))
    assert np.max(np.abs(lack)) < 1e-9
    return -np.rad2deg(joints[1]), 90.0 + np.rad2deg(joints[0])


def test_joint_angles_of_random_legs_by_pinocchio():
    # Source: Pinocchio (rigid-body dynamics library), hinge model and Jacobian its own.
    random = np.random.default_rng(4)
    for _ in range(25):
        chain = random_chain(random)
        hip = hip_on_tube(
            greatest_hip_distance(chain, least_knee_flexion_deg=random.uniform(20, 45)),
            seat_tube_angle_deg=chain.bike.seat_tube_angle_deg,
        )
        at = random.uniform(0, 360)
        pose = solve_pose(chain, hip=hip, crank_angle_deg=np.array([at]))
        knee, thigh = by_inverse_kinematics(chain, hip, at, chain.pitch.at(np.array([at]))[0])
        assert pose.knee_flexion_deg[0] == pytest.approx(knee, abs=1e-8)
        assert pose.thigh_deg[0] == pytest.approx(thigh, abs=1e-8)


@pytest.mark.parametrize(
    ("mirror", "coupler_deg", "rocker_deg"), [(1.0, 187.3223, 107.3985), (-1.0, 254.1745, 334.0983)]
)
def test_published_four_bar_linkage(mirror, coupler_deg, rocker_deg):
    # Textbook four-bar with links 35, 25, 15 on a ground of 10, driver at 30 degrees: crossed 187.3223 / 107.3985,
    # open 254.1745 / 334.0983. Driver = crank, coupler = shank, rocker = thigh, ground from crank centre to hip.
    # Our knee bends one way only, so that the other assembly is the same linkage seen in a mirror.
    pose = solve_pose(
        two_links(15.0, 25.0, 35.0), hip=HipCentre(10.0, 0.0), crank_angle_deg=np.array([90.0 - mirror * 30.0])
    )
    coupler = np.rad2deg(np.arctan2(pose.knee_y_mm - pose.ankle_y_mm, pose.knee_x_mm - pose.ankle_x_mm))
    rocker = pose.thigh_deg - 90.0
    assert np.mod(mirror * coupler, 360.0) == pytest.approx(coupler_deg, abs=1e-4)
    assert np.mod(mirror * rocker, 360.0) == pytest.approx(rocker_deg, abs=1e-4)


def test_millimetres_of_reach_for_a_degree_at_the_knee():
    # Locked ankle, two links of 430: 1.62, 1.94, 2.26, 2.57 mm for each degree at 25, 30, 35, 40 (law of cosines,
    # computed). A rider shares the change between knee and ankle, so that these overstate it by about two.
    leg = two_links(430.0, 430.0, 172.5).leg
    knee = np.array([25.0, 30.0, 35.0, 40.0])
    slope = (hip_to_ankle(leg, knee - 0.05) - hip_to_ankle(leg, knee + 0.05)) / 0.1
    assert slope == pytest.approx([1.62, 1.94, 2.26, 2.57], abs=0.005)


def test_knee_range_of_a_stroke_is_that_of_people():
    # BMC Musculoskelet Disord 2021 22:1044, 31 riders: the knee ranges over 75.2 degrees. No more than a range can
    # be asked of one invented rider.
    chain = rider(mean_deg=15.0, amplitude_deg=12.0, phase_deg=20.0)
    hip = hip_on_tube(greatest_hip_distance(chain, least_knee_flexion_deg=36.0), seat_tube_angle_deg=73.0)
    knee = solve_pose(chain, hip=hip, crank_angle_deg=crank_angles()).knee_flexion_deg
    assert np.ptp(knee) == pytest.approx(75.2, abs=10.0)


# --- Signs, in words, and second routes ----------------------------------------------------------------------------


def test_crank_runs_from_top_to_front_to_bottom():
    x, y = ankle_path(two_links(430.0, 430.0, 170.0), np.array([0.0, 90.0, 180.0, 270.0]))
    assert x == pytest.approx([0.0, 170.0, 0.0, -170.0], abs=1e-9)
    assert y == pytest.approx([170.0, 0.0, -170.0, 0.0], abs=1e-9)


def test_heel_up_lifts_the_ankle():
    (_, level), (_, heel_up) = (ankle_path(rider(mean_deg=p), 180.0) for p in (0.0, 10.0))
    assert heel_up > level


def test_ankle_stands_behind_and_above_the_axle_when_the_sole_is_level():
    x, y = ankle_path(rider(mean_deg=0.0), 180.0)
    assert (x.item(), y.item()) == pytest.approx((-168.0, -172.5 + 95.0))


def test_cleat_back_brings_the_ankle_forward_and_with_heel_up_down():
    before, after = rider(), replace(rider(), cleat=Cleat(setback_mm=25.0, axle_to_foot_sole_mm=22.0))
    (old_x, old_y), (new_x, new_y) = ankle_path(before, crank_angles()), ankle_path(after, crank_angles())
    assert np.all(new_x > old_x)
    assert np.all(new_y < old_y)


def test_hip_stands_behind_the_crank_centre_below_a_right_angle():
    hip = hip_on_tube(800.0, seat_tube_angle_deg=73.0)
    assert hip.x_mm < 0 < hip.y_mm
    assert np.hypot(*hip) == pytest.approx(800.0)


def test_saddle_higher_knee_straighter():
    low, high = (least_knee_flexion(rider(), hip=hip_on_tube(d, seat_tube_angle_deg=73.0))[0] for d in (790.0, 810.0))
    assert high < low


def test_knee_points_forward_and_thigh_hangs_at_zero():
    hip = hip_on_tube(800.0, seat_tube_angle_deg=73.0)
    pose = solve_pose(rider(), hip=hip, crank_angle_deg=crank_angles())
    assert np.all(pose.knee_x_mm > (hip.x_mm + pose.ankle_x_mm) / 2)
    assert pose.knee_x_mm == pytest.approx(hip.x_mm + 430.0 * np.sin(np.deg2rad(pose.thigh_deg)))
    assert pose.knee_y_mm == pytest.approx(hip.y_mm - 430.0 * np.cos(np.deg2rad(pose.thigh_deg)))


def test_ankle_path_by_turning_the_foot_as_one_piece():
    random, angles = np.random.default_rng(1), crank_angles(36)
    for _ in range(20):
        chain = random_chain(random)
        x, y = ankle_path(chain, angles)
        assert x + 1j * y == pytest.approx(ankle_by_rotation(chain, angles), abs=1e-9)


def test_segments_keep_their_length_all_round():
    chain, hip = rider(mean_deg=15.0, amplitude_deg=12.0), HipCentre(-230.0, 760.0)
    pose = solve_pose(chain, hip=hip, crank_angle_deg=crank_angles())
    assert np.hypot(pose.knee_x_mm - hip.x_mm, pose.knee_y_mm - hip.y_mm) == pytest.approx(430.0, abs=1e-9)
    shank = np.hypot(pose.knee_x_mm - pose.ankle_x_mm, pose.knee_y_mm - pose.ankle_y_mm)
    assert shank == pytest.approx(430.0, abs=1e-9)


def second_least_flexion(chain: Chain, distance: float) -> float:
    """Least flexion by SciPy's scalar minimiser round the best of a grid, with the angle at the knee by vectors."""
    tube = np.deg2rad(chain.bike.seat_tube_angle_deg)
    hip = distance * (-np.cos(tube) + 1j * np.sin(tube))

    def flexion(crank_angle: float) -> float:
        reach = abs(ankle_by_rotation(chain, np.asarray(crank_angle)) - hip)
        thigh, shank = chain.leg.thigh_mm, chain.leg.shank_mm
        half = (thigh + shank + reach) / 2
        inner = 2 * np.arctan2(np.sqrt((half - thigh) * (half - shank)), np.sqrt(half * max(half - reach, 0.0)))
        return 180.0 - np.rad2deg(inner)

    best = min(crank_angles(72), key=flexion)
    found = minimize_scalar(flexion, bounds=(best - 6, best + 6), method="bounded", options={"xatol": 1e-7})
    return float(found.fun)


def test_hip_distance_by_a_second_root_finder():
    random = np.random.default_rng(2)
    for _ in range(10):
        chain, knee = random_chain(random), random.uniform(15, 45)
        distance = greatest_hip_distance(chain, least_knee_flexion_deg=knee)
        by_root = brentq(
            lambda d, chain=chain, knee=knee: second_least_flexion(chain, d) - knee, distance - 60, distance + 20
        )
        assert distance == pytest.approx(by_root, abs=1e-5)
        hip = hip_on_tube(distance, seat_tube_angle_deg=chain.bike.seat_tube_angle_deg)
        assert least_knee_flexion(chain, hip=hip)[0] == pytest.approx(knee, abs=1e-5)


def test_extremes_between_crank_angles_are_found():
    chain, hip = rider(mean_deg=15.0, amplitude_deg=12.0, phase_deg=20.0), HipCentre(-230.0, 760.0)
    coarse, fine = (
        least_knee_flexion(chain, hip=hip, path=ankle_path(chain, crank_angles(steps)))[0] for steps in (360, 36_000)
    )
    assert coarse == pytest.approx(fine, abs=1e-6)


# --- Foot pitch ----------------------------------------------------------------------------------------------------


def test_pitch_is_greatest_a_quarter_turn_after_its_phase():
    pitch = Pitch(mean_deg=15.0, amplitude_deg=12.0, phase_deg=20.0)
    assert pitch.at(np.array([-20.0, 70.0, 250.0])) == pytest.approx([15.0, 27.0, 3.0])


def test_table_replaces_the_wave_and_goes_through_its_points():
    pitch = Pitch(mean_deg=40.0, table=PITCH_TABLE)
    assert pitch.at(np.array([0.0, 60.0, 300.0, 360.0])) == pytest.approx([10.0, 18.0, 4.0, 10.0])


def test_table_read_off_a_wave_gives_the_wave_back():
    wave = Pitch(mean_deg=15.0, amplitude_deg=12.0, phase_deg=20.0)
    table = tuple((float(a), float(wave.at(np.array([a]))[0])) for a in range(0, 360, 30))
    assert Pitch(mean_deg=0.0, table=table).at(crank_angles()) == pytest.approx(wave.at(crank_angles()), abs=0.05)


def test_habit_is_added_to_wave_and_table_alike():
    for pitch in (Pitch(mean_deg=15.0, amplitude_deg=12.0), Pitch(mean_deg=0.0, table=PITCH_TABLE)):
        assert replace(pitch, habit_deg=3.0).at(crank_angles()) == pytest.approx(pitch.at(crank_angles()) + 3.0)


@pytest.mark.parametrize(
    ("table", "said"),
    [
        (((0.0, 10.0), (90.0, 20.0), (250.0, 5.0)), "nothing for 160 degrees after crank angle 90"),
        (((10.0, 10.0),), "nothing for 360 degrees after crank angle 10"),
        (((0.0, 10.0), (90.0, 20.0), (180.0, 9.0), (270.0, 5.0), (360.0, 10.0)), "crank angle 0 twice"),
        (((0.0, float("nan")), (90.0, 1.0), (180.0, 1.0), (270.0, 1.0)), "nan"),
        ((), r"\(\)"),
    ],
)
def test_pitch_table_with_gaps_or_worse_is_refused(table, said):
    with pytest.raises(ValueError, match=said):
        Pitch(mean_deg=0.0, table=table)


# --- Draws and bad input -------------------------------------------------------------------------------------------


def test_draws_are_the_single_legs_side_by_side():
    random = np.random.default_rng(3)
    singles = [random_chain(random) for _ in range(7)]
    stacked = Chain(
        **{
            part: type(getattr(singles[0], part))(
                **{
                    name: np.array([getattr(getattr(chain, part), name) for chain in singles])
                    for name in vars(getattr(singles[0], part))
                    if name != "table"
                }
            )
            for part in ("leg", "cleat", "pitch", "bike")
        }
    )
    distance = greatest_hip_distance(stacked, least_knee_flexion_deg=30.0)
    pose = solve_pose(
        stacked,
        hip=hip_on_tube(distance, seat_tube_angle_deg=stacked.bike.seat_tube_angle_deg),
        crank_angle_deg=crank_angles(),
    )
    for row, chain in enumerate(singles):
        alone = greatest_hip_distance(chain, least_knee_flexion_deg=30.0)
        assert distance[row] == pytest.approx(float(alone), abs=1e-9)
        hip = hip_on_tube(alone, seat_tube_angle_deg=chain.bike.seat_tube_angle_deg)
        single = solve_pose(chain, hip=hip, crank_angle_deg=crank_angles())
        for name, values in vars(single).items():
            assert getattr(pose, name)[row] == pytest.approx(values, abs=1e-9)


def test_leg_out_of_reach_says_by_how_much_and_where():
    # By hand: hip straight above the crank centre at 1040, two links of 430, crank 170: 1210 - 860 = 350 at the bottom.
    with pytest.raises(OutOfReach, match=r"out of reach by 350.0 mm at crank angle 180 degrees") as caught:
        require_reach(two_links(430.0, 430.0, 170.0), hip=HipCentre(0.0, 1040.0))
    assert (caught.value.by_mm, caught.value.crank_angle_deg) == pytest.approx((350.0, 180.0))


def test_leg_that_cannot_fold_enough_is_out_of_reach_too():
    with pytest.raises(OutOfReach, match=r"out of reach by 70.0 mm at crank angle 0 degrees"):
        require_reach(two_links(500.0, 400.0, 170.0), hip=HipCentre(0.0, 200.0))


def test_leg_out_of_reach_counts_as_straight_in_a_pose():
    pose = solve_pose(two_links(430.0, 430.0, 170.0), hip=HipCentre(0.0, 1040.0), crank_angle_deg=np.array([180.0]))
    assert (pose.knee_flexion_deg[0], pose.thigh_deg[0]) == pytest.approx((0.0, 0.0), abs=1e-9)


@pytest.mark.parametrize(
    ("part", "values", "said"),
    [
        (Leg, {"thigh_mm": -430.0, "shank_mm": 430.0, **BARE_FOOT}, "thigh_mm is -430.0; expected above 0"),
        (Leg, {"thigh_mm": 430.0, "shank_mm": float("nan"), **BARE_FOOT}, "shank_mm is nan; expected a finite number"),
        (BikeGeometry, {"crank_mm": 0.0, "seat_tube_angle_deg": 73.0}, "crank_mm is 0.0; expected above 0"),
        (Cleat, {"setback_mm": float("inf"), "axle_to_foot_sole_mm": 22.0}, "setback_mm is inf"),
        (Pitch, {"mean_deg": float("nan")}, "mean_deg is nan"),
    ],
)
def test_numbers_that_are_none_are_refused(part, values, said):
    with pytest.raises(ValueError, match=said):
        part(**values)
