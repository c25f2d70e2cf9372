"""Trials, knees, sprints and agreement as drawings: words hold the table, shapes tell kinds apart, few colours."""

import re
from xml.etree import ElementTree

import pytest

from fitkit.charts.figure import BLUE, GREY, INK, PALE
from fitkit.charts.plots import agreement_plot, knee_tracks, settled_by_size, sprint_points, trial_lines


# Invented riders with round numbers.
def knee(side="left", position="as found", unseen=(), said=""):
    """Return a knee's places about the crank angles; None where it was not seen."""
    places = [(angle, None if angle in unseen else 20.0 - angle / 20) for angle in range(0, 360, 20)]
    return [
        {
            "film": f"{side}, {position}",
            "side": side,
            "position": position,
            "said": said,
            "angle_deg": float(angle),
            "mean_mm": mean,
            "least_mm": None if mean is None else mean - 2,
            "greatest_mm": None if mean is None else mean + 3,
        }
        for angle, mean in places
    ]


def trial(number, setback_mm, score, setting, side="left"):
    return {"side": side, "trial": number, "setback_mm": setback_mm, "score": score, "setting": setting}


KNEES = knee(said="travel 17 mm") + knee("right", unseen=(200, 220))
TRIALS = [
    trial(1, 8, 7, "unsteady"),
    trial(2, 12, 5, "unsteady"),
    trial(4, 16, 2.5, "steady"),
    trial(3, 16, 2, "steady"),
]
SPRINTS = [
    {
        "sprint": number,
        "setting": "as found" if number < 7 else "trial 1",
        "peak_w": 1140.0 + 10 * number,
        "counts": "counts" if number > 2 else "to get used to it",
    }
    for number in range(1, 11)
]
BAND = (1145, 1200, 1255)
PAIRS = [(14.0, 15.0), (12.0, 12.0), (16.0, 14.0), (11.0, 12.5)]
LINES = [
    {"name": "bias", "value": -0.1, "low": -2, "high": 1.8},
    {"name": "lower limit", "value": -3, "low": -6, "high": -1},
    {"name": "upper", "value": 3, "low": 1, "high": 6},
]
SIZES = (41.0, 42.0, 43.0)
RULE = [{"size_eu": size, "low_mm": size - 30, "high_mm": size - 25} for size in SIZES]
SPREADS = [
    {"size_eu": size, **{f"p{rank}_mm": size - 30 + rank / 25 for rank in (10, 25, 50, 75, 90)}, "feet": 12}
    for size in SIZES
]
LEARNED = [{"size_eu": size, "point_mm": size - 28, "low_mm": size - 34, "high_mm": size - 22} for size in SIZES]


def trials():
    return trial_lines(TRIALS, unsteady_from=4, limits_mm={"left": (12, 16)}, said={"left": "between 12 and 16 mm"})


FIGURES = {
    "knees": lambda: knee_tracks(KNEES),
    "trials": trials,
    "sprints": lambda: sprint_points(SPRINTS, band_w=BAND),
    "agreement": lambda: agreement_plot(PAIRS, LINES, what="second less first", unit="mm"),
    "settled": lambda: settled_by_size(RULE, SPREADS, LEARNED),
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


@pytest.mark.parametrize("name", FIGURES)
def test_words_are_large_enough_in_a_printed_column(name):
    for part in FIGURES[name]().parts or (FIGURES[name](),):
        sizes = [float(size) for size in re.findall(r'font-size="([\d.]+)', part.svg)]
        # House choice: 11 px, 8 pt, at least when the picture is 340 px wide.
        assert min(sizes) * min(1, 340 / part.size_px[0]) >= 11


@pytest.mark.parametrize("name", FIGURES)
def test_a_live_chart_says_its_numbers_where_it_is_pointed_at(name):
    for part in FIGURES[name]().parts or (FIGURES[name](),):
        assert '"tooltip": [' in part.live.to_json()


def test_the_words_of_the_knees_hold_every_place():
    words = knee_tracks(KNEES).alt
    for place in KNEES:
        said = "not seen" if place["mean_mm"] is None else ""
        assert f"{place['angle_deg']:g}°: {said}" in words
    assert words.count("not seen") == 2
    assert words.startswith(
        "Left knee, as found: mm outward of the pedal, mean and ends, by crank angle: 0°: 20 (18 to "
    )


def test_a_knee_not_seen_leaves_a_gap_in_the_line():
    whole, broken = (knee_tracks(knee(unseen=unseen)).svg for unseen in ((), (200, 220)))
    longest = max(re.findall(r'd="([^"]*)"', broken), key=len)
    assert longest.count("M") > max(re.findall(r'd="([^"]*)"', whole), key=len).count("M")


def test_each_position_is_a_part_of_its_own():
    parts = knee_tracks([*KNEES, *knee(position="trial 3")]).parts
    assert [part.title for part in parts] == ["Knees, as found", "Knees, trial 3"]


def test_steady_and_unsteady_are_told_apart_by_shape():
    steady, unsteady = (marks([trial(1, 12, 5, setting)]) for setting in ("steady", "unsteady"))
    assert "A" in steady  # a circle's arc
    assert "A" not in unsteady  # a triangle has none
    assert {"steady", "unsteady"} <= set(texts(trials().svg))


def marks(points):
    """Return the outline of the first mark; those of the key come after it."""
    svg = trial_lines(points, unsteady_from=4).svg
    return re.search(r'<path transform="[^"]*" d="([^"]*)" fill=', svg)[1]


def test_the_words_of_the_trials_hold_every_trial_and_the_bracket():
    words = trials().alt
    for each in TRIALS:
        assert f"trial {each['trial']} at {each['setback_mm']:g} mm" in words
        assert f"unsteadiness {each['score']:g}, {each['setting']}" in words
    assert "Grey: 12 to 16 mm." in words
    assert "3, 4" in " | ".join(filter(None, texts(trials().svg))).replace("4, 3", "3, 4")


def test_trials_run_from_toes_to_heel():
    told = re.findall(r"trial (\d) at", trial_lines(TRIALS[::-1], unsteady_from=4).alt)
    assert told == ["1", "2", "3", "4"]
    assert any("toes ←" in text and "→ heel" in text for text in texts(trials().svg) if text)


def test_the_words_of_the_sprints_hold_every_sprint():
    words = sprint_points(SPRINTS, band_w=BAND).alt
    for each in SPRINTS:
        assert f"sprint {each['sprint']}, {each['setting']}, {each['peak_w']:g} W" in words
    assert "Grey band 1145 to 1255 W about the mean 1200 W of as found" in words
    assert words.count("to get used to it") == 2
    assert "Too few sprints to compare." in sprint_points(SPRINTS[:3], band_w=None).alt


def test_the_words_of_the_agreement_hold_every_pair_and_line():
    words = agreement_plot(PAIRS, LINES, what="second less first", unit="mm").alt
    for said in (
        "−1 at 14.5",
        "0 at 12",
        "2 at 15",
        "−1.5 at 11.75",
        "bias −0.1 (−2 to 1.8)",
        "lower limit −3 (−6 to −1)",
    ):
        assert said in words


def test_the_words_of_the_settled_sizes_hold_rule_spread_and_what_was_learned():
    words = settled_by_size(RULE, SPREADS, LEARNED).alt
    for said in (
        "Starting rule at EU 41: 11 to 16.",
        "EU 42: median 14, middle half 13 to 15, middle 80 % 12.5 to 15.5, 12 feet.",
        "Learned at EU 43: 15, 95 % of new riders 9 to 21.",
    ):
        assert said in words
    assert settled_by_size(RULE, SPREADS, []).alt.endswith("Nothing was learned.")


@pytest.mark.parametrize(
    ("draw", "message"),
    [
        (lambda: knee_tracks([]), "0 crank angles and no place of a knee"),
        (lambda: knee_tracks(knee(unseen=range(0, 360, 20))), "18 crank angles and no place of a knee"),
        (lambda: trial_lines([], unsteady_from=4), "no trial; expected one or more"),
        (lambda: sprint_points([], band_w=None), "no sprint; expected one or more"),
        (lambda: agreement_plot([(1.0, 2.0)], LINES, what="a", unit="mm"), "1 pairs of readings; expected two"),
    ],
)
def test_nothing_to_draw_is_refused(draw, message):
    with pytest.raises(ValueError, match=message):
        draw()
