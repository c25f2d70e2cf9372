"""Figures, the canvas in millimetres, and the small SVG they end in."""

from __future__ import annotations

import base64
import re
from html.parser import HTMLParser
from xml.etree import ElementTree

import altair
import pytest

from fitkit.charts.canvas import Drawing
from fitkit.charts.figure import BLUE, GREY, INK, PATTERNS, Figure, beside, text_width_px, wrapped
from fitkit.charts.plots import from_altair
from fitkit.words import whole

SVG = '<svg xmlns="http://www.w3.org/2000/svg" width="440" height="10"/>'


def paths(svg):
    """Return the path data of a picture, in drawn order."""
    return [element.get("d") for element in ElementTree.fromstring(svg).iter() if element.tag.endswith("path")]  # noqa: S314


def crank_chart():
    names, patterns = ["left", "right"], [PATTERNS["solid"], PATTERNS["dashed"]]
    stroke, dash = altair.Scale(domain=names, range=[INK, BLUE]), altair.Scale(domain=names, range=patterns)
    rows = [
        {"angle": angle, "knee": knee, "leg": leg} for leg in ("left", "right") for angle, knee in ((0, 30), (90, 60))
    ]
    return (
        altair.Chart(altair.Data(values=rows))
        .mark_line(clip=True)
        .encode(
            x="angle:Q",
            y="knee:Q",
            stroke=altair.Stroke("leg:N", scale=stroke),
            strokeDash=altair.StrokeDash("leg:N", scale=dash),
        )
    )


class Page(HTMLParser):
    def __init__(self):
        super().__init__()
        self.found = []

    def handle_starttag(self, tag, attrs):
        self.found.append((tag, dict(attrs)))


def test_figure_is_one_image_with_its_words_escaped():
    words = 'cleat at "11" <b>&</b> 15'
    page = Page()
    page.feed(Figure(SVG, words, "title").html)
    (outer, _), (inner, image) = page.found
    assert (outer, inner) == ("figure", "img")
    assert image["alt"] == words
    head, encoded = image["src"].split(",")
    assert head == "data:image/svg+xml;base64"
    assert base64.b64decode(encoded).decode() == SVG
    assert Figure(SVG, words)._repr_html_() == Figure(SVG, words).html
    assert "<b>" not in Figure(SVG, words).html


@pytest.mark.parametrize("empty", ["", "  \n"])
def test_figure_without_words_is_refused(empty):
    with pytest.raises(ValueError, match=re.escape(f"alt is {empty!r}")):
        Figure(SVG, empty)


def test_figures_beside_one_another_are_one_svg_and_several_images():
    pair = beside([Figure(SVG, "one"), Figure(SVG, "two")], title="both")
    assert pair.alt == "one\ntwo"
    assert 'width="880" height="10" viewBox="0 0 880 10"' in pair.svg
    assert pair.html.count("<img") == 2
    assert pair.html.count("width:50%;min-width:min(340px,100%);max-width:440px") == 2


def test_drawing_puts_millimetres_to_scale_with_y_up():
    drawing = Drawing(100, 80)
    view = drawing.view(origin_px=(50, 60), px_per_mm=2)
    view.line((0, 0), (10, 20))
    view.path([(0, 0), (5, 0), (5, 5)], closed=True, stroke=BLUE)
    drawing.paper.line((3, 4), (3, 14), stroke=GREY)
    assert paths(drawing.figure(alt="lines").svg) == ["M50,60L70,20", "M50,60H60V50Z", "M3,4V14"]


def test_mirrored_view_turns_places_and_anchors_not_words():
    drawing = Drawing(100, 80)
    view = drawing.view(origin_px=(50, 60), px_per_mm=2, mirrored=True)
    view.line((0, 0), (10, 0))
    view.text((10, 0), "start", anchor="start", shift_px=(4, 0))
    svg = drawing.figure(alt="mirror").svg
    assert paths(svg) == ["M50,60H30"]
    assert 'text-anchor="end"' in svg
    assert 'x="26"' in svg


def test_pieces_of_one_look_are_one_path():
    drawing = Drawing(100, 80)
    drawing.paper.lines([((1, 1), (5, 1)), ((1, 3), (5, 3))])
    assert paths(drawing.figure(alt="ticks").svg) == ["M1,1H5M1,3H5"]


def test_marks_of_one_layer_share_what_most_of_them_have():
    drawing = Drawing(9, 9)
    for y, width_px in ((0, 2), (1, 1), (2, 2)):
        drawing.paper.line((0, y), (9, y), stroke=INK, width_px=width_px)
    assert (
        f'<g fill="none" stroke="{INK}" stroke-width="2"><path d="M0,0H9"/><path d="M0,1H9" stroke-width="1"/>'
        '<path d="M0,2H9"/></g>'
    ) in drawing.figure(alt="three lines").svg


def test_looks_reach_the_picture():
    drawing = Drawing(100, 80)
    drawing.paper.line((0, 0), (9, 9), width_px=2.5, pattern="dashed", stroke=BLUE)
    drawing.paper.box((10, 10), (30, 20), stroke=GREY, pattern="dotted", fill="white")
    drawing.paper.text((50, 50), "a & b", size_px=16, bold=True, color=INK)
    svg = drawing.figure(alt="looks").svg
    assert f'stroke="{BLUE}" stroke-width="2.5" stroke-dasharray="8,4"' in svg
    assert f'fill="white" stroke="{GREY}" stroke-dasharray="2,3"' in svg
    assert re.search(r'font-size="16"[^>]*>a &amp; b</text>|font-weight="bold"[^>]*>a &amp; b</text>', svg)


@pytest.mark.parametrize(
    ("tip", "back", "angle"), [((0, 9), (0, 0), None), ((9, 0), (0, 0), 90), ((0, -9), (0, 0), 180)]
)
def test_arrow_heads_point_from_the_other_point(tip, back, angle):
    drawing = Drawing(60, 60)
    drawing.view(origin_px=(30, 30), px_per_mm=1).head(tip, away_from=(0, 0))
    svg = drawing.figure(alt="head").svg
    assert ("rotate" not in svg) if angle is None else (f"rotate({angle})" in svg)
    assert f"translate({30 + tip[0]},{30 - tip[1]})" in svg


def test_ruler_has_its_ticks_to_scale_and_numbers_at_tens():
    drawing = Drawing(100, 200)
    drawing.view(origin_px=(50, 20), px_per_mm=4).ruler((0, 0), (0, -25), first=-5)
    svg = drawing.figure(alt="ruler").svg
    (ticks,) = paths(svg)
    assert ticks.count("M") == 27  # the edge and 26 ticks
    assert re.findall(r">([−\d]+)</text>", svg) == ["0", "10", "20"]
    # The tick of 10 stands 15 mm down from the start, at the left on the way down is the right of the sheet.
    assert "M50,80H59" in ticks


def test_dimension_line_runs_from_end_to_end_with_its_label_beside():
    drawing = Drawing(200, 100)
    drawing.view(origin_px=(20, 80), px_per_mm=1).dimension((0, 0), (100, 0), "100 mm", away_mm=20)
    svg = drawing.figure(alt="dimension").svg
    assert "M20,60H120" in paths(svg)
    assert re.search(r'text-anchor="middle"[^>]*>100 mm<|<text[^>]*text-anchor="middle"[^>]*>100 mm<', svg)
    assert "translate(20,60) rotate(-90)" in svg
    assert "translate(120,60) rotate(90)" in svg


def test_dimension_of_nothing_is_refused():
    view = Drawing(10, 10).view(origin_px=(0, 0), px_per_mm=1)
    with pytest.raises(ValueError, match=re.escape("start and end are both (3, 3)")):
        view.dimension((3, 3), (3, 3), "0 mm")


@pytest.mark.parametrize("scale", [0, -1, float("nan"), float("inf")])
def test_impossible_scale_is_refused(scale):
    with pytest.raises(ValueError, match=f"px_per_mm is {scale}"):
        Drawing(10, 10).view(origin_px=(0, 0), px_per_mm=scale)


def test_equal_drawings_are_equal_bytes():
    def made():
        drawing = Drawing(60, 60)
        drawing.paper.line((1, 1), (59, 20))
        drawing.paper.text((5, 40), "words")
        return drawing.figure(alt="line")

    first = made()
    from_altair(crank_chart(), alt="between")
    assert made() == first


def test_ordinary_chart_tells_lines_apart_by_pattern_and_is_stable():
    figure = from_altair(crank_chart(), alt="knee over crank angle", title="knee")
    # The renderer counts clip paths on from picture to picture; ours must not.
    assert from_altair(crank_chart(), alt="knee over crank angle", title="knee") == figure
    assert 'stroke-dasharray="8,4"' in figure.svg
    assert set(re.findall(r"url\(#(\w+)\)", figure.svg)) == {"c0", "c1"}
    assert not re.search(r"aria-|role=|class=|<script|href", figure.svg)
    assert re.findall(r"https?:[^\"]*", figure.svg) == ["http://www.w3.org/2000/svg"]


def test_numbers_of_a_chart_are_shortened_where_they_place_and_kept_where_they_are_read():
    rows = altair.Data(values=[{"x": 1 / 3, "said": "0.333333"}])
    chart = altair.Chart(rows).mark_text().encode(x="x:Q", text="said:N").properties(width=100, height=20)
    svg = from_altair(chart, alt="a number").svg
    assert ">0.333333</text>" in svg
    assert not re.search(r"\d\.\d{3}", re.sub(r">[^<]*<", "><", svg))


def test_a_chart_can_be_looked_at_live():
    live = from_altair(crank_chart(), alt="knee over crank angle").live
    assert live.to_dict()["config"]["font"].startswith("Helvetica")


def test_chart_that_asks_for_an_address_is_refused():
    chart = altair.Chart("https://example.org/table.csv").mark_point().encode(x="a:Q")
    with pytest.raises(ValueError, match=re.escape("https://example.org/table.csv")):
        from_altair(chart, alt="far away")


@pytest.mark.parametrize(
    ("value", "words"), [(11.0, "11"), (20.5, "21"), (7.9, "8"), (-3, "−3"), (-0.1, "0"), (13.4, "13")]
)
def test_numbers_are_whole_and_halves_go_away_from_zero(value, words):
    assert whole(value) == words


def test_words_are_wrapped_at_spaces():
    lines = wrapped("not advised until the knee was seen", width_px=90, size_px=12)
    assert " ".join(lines) == "not advised until the knee was seen"
    assert len(lines) > 1
    assert all(text_width_px(each, size_px=12) <= 90 for each in lines)
    assert wrapped("", width_px=90, size_px=12) == []
