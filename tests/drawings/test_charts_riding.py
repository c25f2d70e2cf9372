"""Trials, knees, sprints and agreement as drawings: words hold the table, shapes tell kinds apart, few colours."""

import re
from xml.etree import ElementTree

import pytest

from fitkit.charts import (
    AgreementLine,
    DetectableBand,
    KneePlace,
    KneeSide,
    SprintPoint,
    TrialLine,
    TrialPoint,
    agreement_plot,
    agreement_table,
    knee_track_table,
    knee_tracks,
    sprint_points,
    sprint_table,
    trial_lines,
    trial_table,
)
from fitkit.charts.theme import BLUE, GREY, INK, PALE

# Invented riders with round numbers.
PLACES = tuple(KneePlace(angle, 20.0 - angle / 20, 18.0 - angle / 20, 23.0 - angle / 20) for angle in range(0, 360, 20))
UNSEEN = tuple(KneePlace(p.angle_deg, None, None, None) if p.angle_deg in (200, 220) else p for p in PLACES)
KNEES = [KneeSide("left", "as found", PLACES, "travel 17 mm"), KneeSide("right", "as found", UNSEEN)]
TRIALS = TrialLine(
    "left",
    (TrialPoint(1, 8, 7, True), TrialPoint(2, 12, 5, True), TrialPoint(3, 16, 2, False), TrialPoint(4, 16, 2.5, False)),
    4,
    12,
    16,
    "between 12 and 16 mm",
)
SPRINTS = [SprintPoint(i + 1, "as found" if i < 6 else "trial 1", 1150.0 + 10 * i, i > 1) for i in range(10)]
BAND = DetectableBand("as found", 1200, 1145, 1255)
OWN, OTHER = [14.0, 12.0, 16.0, 11.0], [15.0, 12.0, 14.0, 12.5]
LINES = [
    AgreementLine("bias", -0.1, -2, 1.8),
    AgreementLine("lower limit", -3, -6, -1),
    AgreementLine("upper", 3, 1, 6),
]
FIGURES = {
    "knees": lambda: knee_tracks(KNEES),
    "trials": lambda: trial_lines([TRIALS]),
    "sprints": lambda: sprint_points(SPRINTS, band=BAND),
    "agreement": lambda: agreement_plot(OWN, OTHER, LINES, what="second less first", unit="mm"),
}


def colours(svg):
    return {found.lower() for found in re.findall(r"#[0-9a-fA-F]{6}|#[0-9a-fA-F]{3}\b", svg)}


def texts(svg):
    return [element.text for element in ElementTree.fromstring(svg).iter("{http://www.w3.org/2000/svg}text")]  # noqa: S314


@pytest.mark.parametrize("name", FIGURES)
def test_a_drawing_is_small_stable_and_in_the_kits_colours(name):
    figure = FIGURES[name]()
    assert figure.svg == FIGURES[name]().svg
    assert len(figure.svg) < 12_000
    assert colours(figure.svg) <= {colour.lower() for colour in (INK, GREY, PALE, BLUE)}
    assert "<script" not in figure.svg
    assert "http" not in figure.svg.replace("http://www.w3.org/", "")


def test_the_words_of_the_knees_hold_the_table():
    words, rows = knee_tracks(KNEES).alt, knee_track_table(KNEES)
    assert len(rows) == 36
    for row in rows:
        said = "not seen" if row["mean [mm]"] is None else ""
        assert f"{row['crank angle [deg]']}°: {said}" in words
    assert words.count("not seen") == 2


def test_a_knee_not_seen_leaves_a_gap_in_the_line():
    whole, broken = (knee_tracks([KNEES[0]]).svg, knee_tracks([KNEES[1]]).svg)
    longest = max(re.findall(r'd="([^"]*)"', broken), key=len)
    assert longest.count("M") > max(re.findall(r'd="([^"]*)"', whole), key=len).count("M")


def test_each_position_is_a_part_of_its_own():
    parts = knee_tracks([*KNEES, KneeSide("left", "trial 3", PLACES)]).parts
    assert [part.title for part in parts] == ["Knees, as found", "Knees, trial 3"]


def test_steady_and_unsteady_are_told_apart_by_shape():
    steady, unsteady = (marks([TrialPoint(1, 12, 5, is_unsteady)]) for is_unsteady in (False, True))
    assert "A" in steady  # a circle's arc
    assert "A" not in unsteady  # a triangle has none
    assert {"steady", "unsteady"} <= set(texts(trial_lines([TRIALS]).svg))


def marks(points):
    """Return the outline of the first mark; those of the key come after it."""
    svg = trial_lines([TrialLine("left", tuple(points), 4)]).svg
    return re.search(r'<path d="([^"]*)" fill="[^"]*" transform=', svg)[1]


def test_the_words_of_the_trials_hold_the_table_and_the_bracket():
    words = trial_lines([TRIALS]).alt
    for row in trial_table([TRIALS]):
        assert f"trial {row['trial']} at {row['cleat setback [mm]']:g} mm" in words
        assert f"unsteadiness {row['unsteadiness [0 to 10]']:g}, {row['setting']}" in words
    assert "Grey: 12 to 16 mm." in words
    assert "3, 4" in " | ".join(filter(None, texts(trial_lines([TRIALS]).svg))).replace("4, 3", "3, 4")


def test_trials_run_from_toes_to_heel():
    setbacks = [row["cleat setback [mm]"] for row in trial_table([TRIALS])]
    assert setbacks == sorted(setbacks)
    assert any("toes ←" in text and "→ heel" in text for text in texts(trial_lines([TRIALS]).svg) if text)


def test_the_words_of_the_sprints_hold_the_table():
    words = sprint_points(SPRINTS, band=BAND).alt
    for row in sprint_table(SPRINTS, band=BAND)[:-1]:
        assert f"sprint {row['sprint']}, {row['setting']}, {row['peak power [W]']:g} W" in words
    assert "Grey band 1145 to 1255 W about the mean 1200 W" in words
    assert words.count("to get used to it") == 2
    assert "Too few sprints to compare." in sprint_points(SPRINTS[:3], band=None).alt


def test_the_words_of_the_agreement_hold_the_table():
    words = agreement_plot(OWN, OTHER, LINES, what="second less first", unit="mm").alt
    rows = agreement_table(OWN, OTHER, LINES)
    assert len(rows) == 7
    assert "−1 at 14.5" in words
    assert "lower limit −3 (−6 to −1)" in words


@pytest.mark.parametrize(
    ("draw", "message"),
    [
        (lambda: knee_tracks([]), "0 sides and no place"),
        (lambda: trial_lines([TrialLine("left", (), 4)]), "1 sides and no trial"),
        (lambda: sprint_points([], band=None), "points is empty"),
        (lambda: agreement_plot([1.0], [2.0], LINES, what="a", unit="mm"), "1 own and 1 other"),
        (lambda: agreement_plot([1.0, 2.0], [2.0], LINES, what="a", unit="mm"), "2 own and 1 other"),
    ],
)
def test_nothing_to_draw_is_refused(draw, message):
    with pytest.raises(ValueError, match=message):
        draw()
