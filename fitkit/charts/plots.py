"""Data on axes, drawn by Altair from data frames: knees on film, trials, sprints, agreement, settled setbacks.

Altair and pandas take a second to import: import this where a chart is drawn, never on the way to a form.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

import pandas
import vl_convert

from fitkit.charts import import_jsonschema
from fitkit.charts.figure import BLUE, CONFIG, FONT, GREY, INK, NAMESPACE, PALE, PATTERNS, Figure, beside
from fitkit.words import capital, halved, halves, tenths, whole

import_jsonschema()
import altair as alt  # noqa: E402 - after that

Records = Sequence[Mapping] | pandas.DataFrame

PLOT_WIDTH_PX, PLOT_HEIGHT_PX = 300, 92  # within the axes
_LEGEND = alt.Legend(title=None, orient="bottom", symbolSize=100, offset=4, padding=0)

_TAG = re.compile(r"<[^>]*>")
_UNPAINTED = re.compile(r'<path class="background"(?![^>]* (?:fill|stroke)=)[^>]*/>|<path [^>]*display="none"/>')
_UNSEEN = re.compile(
    r' (?:(?:aria-\w+|class|role|version|pointer-events|stroke-miterlimit|xmlns:\w+|font-family)="[^"]*"'
    r'|opacity="1"|stroke-width="1"|[xy]2="0"|transform="translate\(0,0\)"|font-weight="normal"|font-size="12px")'
)
_NUMBER = re.compile(r"\d+\.\d+(?:e-\d+)?")
# The many small points of a line, each with four arcs of its own.
_POINT = re.compile(
    r'<path transform="translate\(([^,)]+),([^)]+)\)" d="M([0-3]\.\d+),0A\3,\3,0,1,1,-\3,0A\3,\3,0,1,1,\3,0"'
)
_BARE = re.compile(r"<g></g>|<g>(<[^g/][^>]*/>|<text[^>]*>[^<]*</text>)</g>")


def from_altair(chart: alt.TopLevelMixin, *, alt: str, title: str = "") -> Figure:
    """Return a chart in the kit's look as a figure: a still picture, and as `live` the chart itself for Lab.

    Parameters
    ----------
    chart : altair.TopLevelMixin
        Any chart of Altair that carries its data.
    alt : str
        Everything the chart shows, in words.
    title : str
        A few words.

    Raises
    ------
    ValueError
        If the chart asks for an address, or `alt` is empty.
    """
    themed = chart.configure(**CONFIG)
    # Its pieces were checked as they were made; a second time takes as long as drawing.
    # The empty list forbids every address: a chart carries its data.
    drawn = vl_convert.vegalite_to_svg(themed.to_dict(validate=False), allowed_base_urls=[])
    return Figure(svg=_small(drawn), alt=alt, title=title, live=themed)


def _small(svg: str) -> str:
    """Return the same picture in fewer bytes; equal pictures are equal bytes."""
    small = _TAG.sub(lambda tag: _NUMBER.sub(_hundredth, _UNSEEN.sub("", tag[0])), _UNPAINTED.sub("", svg))
    # The renderer counts its clip paths on from one picture to the next.
    for place, name in enumerate(dict.fromkeys(re.findall(r' id="([^"]+)"', small))):
        small = small.replace(f' id="{name}"', f' id="c{place}"').replace(f"url(#{name})", f"url(#c{place})")
    while (less := _BARE.sub(r"\1", small)) != small:
        small = less
    small = _POINT.sub(r'<circle cx="\1" cy="\2" r="\3"', small)
    return small.replace(f'xmlns="{NAMESPACE}"', f'xmlns="{NAMESPACE}" font-family="{FONT}" font-size="12"', 1)


def _hundredth(found: re.Match) -> str:
    return f"{round(float(found[0]), 2):g}"


def _framed(rows: Records, what: str) -> pandas.DataFrame:
    frame = pandas.DataFrame(rows)
    if frame.empty:
        raise ValueError(f"no {what}; expected one or more")
    return frame


def _looks(column: str, **looks: tuple[str, str]) -> tuple[alt.Shape, alt.Color]:
    """Return how points are told apart by a column: each of its words with a shape and a colour."""
    shapes, colors = (alt.Scale(domain=list(looks), range=list(each)) for each in zip(*looks.values(), strict=True))
    return alt.Shape(column, scale=shapes, legend=_LEGEND), alt.Color(column, scale=colors, legend=_LEGEND)


def _titled(name: str, said: str) -> alt.TitleParams:
    return alt.TitleParams(name, subtitle=said, subtitleColor=GREY)


def knee_tracks(places: Records) -> Figure:
    """Draw the knees' mean place with the least and greatest of all turns: one row a side, one part a position.

    `places` has the columns film (one for each side's film), side, position, said (beside the name), angle_deg, and
    outward of the pedal mean_mm, least_mm and greatest_mm, empty where no frame was seen.
    """
    frame = pandas.DataFrame(places)
    if frame.empty or frame.mean_mm.isna().all():
        raise ValueError(f"{len(frame)} crank angles and no place of a knee; expected one or more")
    y = alt.Scale(domain=[frame.least_mm.min(), frame.greatest_mm.max()], zero=False)
    parts = [_position(film, y) for _, film in frame.groupby("position", sort=False)]
    return parts[0] if len(parts) == 1 else beside(parts, title="Knee against the crank")


def _position(film: pandas.DataFrame, y: alt.Scale) -> Figure:
    knees = [knee for _, knee in film.groupby("film", sort=False)]
    charts = [_knee(knee, y, is_last=knee is knees[-1]) for knee in knees]
    words, title = " ".join(map(_knee_words, knees)), f"Knees, {film.position.iloc[0]}"
    return from_altair(alt.vconcat(*charts, spacing=14), alt=words, title=title)


def _knee(knee: pandas.DataFrame, scale: alt.Scale, *, is_last: bool) -> alt.LayerChart:
    title = "crank angle from the top, ° (0 to 180 is the downstroke)" if is_last else None
    axis = alt.Axis(title=title, values=list(range(0, 361, 60)), labels=is_last, grid=False)
    x = alt.X("angle_deg:Q", scale=alt.Scale(domain=[0, 360], nice=False), axis=axis)
    y = alt.Y("mean_mm:Q", title="outward, mm", scale=scale, axis=alt.Axis(tickCount=5, minExtent=24))
    again = knee[knee.angle_deg == 0].assign(angle_deg=360)  # a turn ends where it began
    tooltip = ["angle_deg:Q", "mean_mm:Q", "least_mm:Q", "greatest_mm:Q"]
    base = alt.Chart(pandas.concat([knee, again])).encode(x, tooltip=tooltip)
    gaps = {"invalid": "break-paths-filter-domains"}
    ends = alt.Chart(pandas.DataFrame({"angle_deg": [0, 180, 360]}))
    first = knee.iloc[0]
    name = f"{capital(first.side)} knee, {first.position}"
    return alt.layer(
        base.mark_area(color=PALE, **gaps).encode(y="least_mm:Q", y2="greatest_mm"),
        base.mark_line(color=INK, strokeWidth=1.8, **gaps).encode(y),
        base.mark_point(color=INK, opacity=1, size=18).encode(y),
        ends.mark_rule(color=GREY, strokeDash=[2, 3]).encode(x="angle_deg:Q"),
    ).properties(width=PLOT_WIDTH_PX, height=PLOT_HEIGHT_PX, title=_titled(name, first.said))


def _knee_words(knee: pandas.DataFrame) -> str:
    said, first = [], knee.iloc[0]
    for place in knee.itertuples():
        words = "not seen"
        if pandas.notna(place.mean_mm):
            words = f"{halves(place.mean_mm)} ({halves(place.least_mm)} to {halves(place.greatest_mm)})"
        said.append(f"{place.angle_deg:g}°: {words}")
    head = f"{capital(first.side)} knee, {first.position}: mm outward of the pedal, mean and ends, by crank angle: "
    return head + "; ".join(said) + (f". {first.said}." if first.said else ".")


def trial_lines(
    trials: Records,
    *,
    unsteady_from: float,
    limits_mm: Mapping[str, Sequence[float]] | None = None,
    said: Mapping[str, str] | None = None,
) -> Figure:
    """Draw each side's trials along the sole, toes to heel, beside one another where there is room.

    `trials` has the columns side, trial, setback_mm, score (unsteadiness, 0 to 10) and setting ("steady" or
    "unsteady"); `limits_mm` the ends of a side's bracket, where there is one, and `said` its sentence.
    """
    frame = _framed(trials, "trial")
    parts = []
    for side, ridden in frame.groupby("side", sort=False):
        line = ridden.sort_values(["setback_mm", "trial"])
        parts.append(_trial_line(side, line, unsteady_from, (limits_mm or {}).get(side), (said or {}).get(side, "")))
    return beside(parts, title="Trials along the sole")


def _trial_line(
    side: str, line: pandas.DataFrame, unsteady_from: float, limits: Sequence[float] | None, said: str
) -> Figure:
    scale = alt.Scale(domain=[line.setback_mm.min() - 2, line.setback_mm.max() + 2], nice=False)
    axis = alt.Axis(values=sorted({halved(place) for place in line.setback_mm}), format=".1~f", grid=False)
    x = alt.X("setback_mm:Q", title="toes ← cleat setback, mm → heel (figures: trial)", scale=scale, axis=axis)
    scores = alt.Scale(domain=[0, 10])
    y = alt.Y("score:Q", title="unsteadiness", scale=scores, axis=alt.Axis(values=[0, 3, 6, 10]))
    looks = _looks("setting:N", steady=("circle", INK), unsteady=("triangle-up", BLUE))
    threshold = alt.Chart(pandas.DataFrame([{"from": unsteady_from}])).encode(y="from:Q")
    tooltip = ["trial:Q", "setback_mm:Q", "score:Q", "setting:N"]
    layers = [
        threshold.mark_rule(color=GREY, strokeDash=PATTERNS["dashed"]),
        alt.Chart(line).mark_point(opacity=1, size=110).encode(x, y, *looks, tooltip=tooltip),
        alt.Chart(_numbers(line)).mark_text(dy=-14, color=INK).encode(x, y, text="trials:N"),
    ]
    if limits:
        bracket = alt.Chart(pandas.DataFrame([limits], columns=["low_mm", "high_mm"])).mark_rect(color=PALE)
        layers.insert(0, bracket.encode(alt.X("low_mm:Q", scale=scale), x2="high_mm"))
    subtitle = "; ".join(filter(None, (said, f"dashed: unsteady from {unsteady_from:g}")))
    title = alt.TitleParams(f"{side.capitalize()} foot", subtitle=subtitle, subtitleColor=INK)
    told = "; ".join(
        f"trial {each.trial} at {halves(each.setback_mm)} mm, unsteadiness {tenths(each.score)}, {each.setting}"
        for each in line.itertuples()
    )
    words = f"{side.capitalize()} foot, trials from toes to heel, unsteady from {unsteady_from:g} of 10: {told}."
    words += f" Grey: {' to '.join(map(halves, limits))} mm." if limits else ""
    chart = alt.layer(*layers).properties(width=PLOT_WIDTH_PX, height=PLOT_HEIGHT_PX, title=title)
    return from_altair(chart, alt=f"{words} {said}".strip(), title=f"Trials along the {side} sole")


def _numbers(line: pandas.DataFrame) -> pandas.DataFrame:
    """Return one label a place: trials that would hide each other's number share it."""
    labels: list[dict] = []
    for each in line.sort_values(["setback_mm", "score"], ascending=[True, False]).itertuples():
        last = labels[-1] if labels else None
        if last and each.setback_mm - last["setback_mm"] < 0.5 and last["score"] - each.score < 1.4:
            last["trials"] += f", {each.trial}"
        else:
            labels.append({"setback_mm": each.setback_mm, "score": each.score, "trials": str(each.trial)})
    return pandas.DataFrame(labels)


def sprint_points(sprints: Records, *, band_w: Sequence[float] | None) -> Figure:
    """Draw each sprint's peak power by setting, with the band inside which so many of them can show nothing.

    `sprints` has the columns sprint, setting, peak_w and counts ("counts" or "to get used to it"); `band_w` is low
    end, mean and high end about the first setting's mean.
    """
    frame = _framed(sprints, "sprint")
    settings = list(frame.setting.unique())
    scale = alt.Scale(zero=False, padding=12)
    points = alt.Chart(frame).mark_point(opacity=1, size=70)
    points = points.encode(
        alt.X("setting:N", sort=settings, title=None, axis=alt.Axis(labelAngle=0, grid=False)),
        alt.Y("peak_w:Q", title="peak power, W", scale=scale, axis=alt.Axis(format="d", tickCount=6)),
        *_looks("counts:N", **{"counts": ("circle", BLUE), "to get used to it": ("cross", GREY)}),
        # Sprints of one setting stand side by side in the order ridden, so that none hides another.
        alt.XOffset("sprint:O"),
        tooltip=["sprint:Q", "setting:N", "peak_w:Q", "counts:N"],
    )
    told = "; ".join(
        f"sprint {each.sprint}, {each.setting}, {whole(each.peak_w)} W"
        + ("" if each.counts == "counts" else f", {each.counts}")
        for each in frame.itertuples()
    )
    layers, subtitle, tail = [points], "too few sprints to compare", "Too few sprints to compare."
    if band_w:
        band = alt.Chart(pandas.DataFrame([band_w], columns=["low_w", "mean_w", "high_w"]))
        layers = [
            band.mark_rect(color=PALE).encode(alt.Y("low_w:Q", scale=scale), y2="high_w"),
            band.mark_rule(color=INK, strokeDash=PATTERNS["dashed"]).encode(y="mean_w:Q"),
            points,
        ]
        subtitle = f"grey: no mean inside it can be told from {settings[0]}"
        low, mean, high = map(whole, band_w)
        tail = (
            f"Grey band {low} to {high} W about the mean {mean} W of {settings[0]}: "
            "no mean inside it can be told from that one."
        )
    chart = alt.layer(*layers).properties(width=PLOT_WIDTH_PX, height=150, title=_titled("Sprints", subtitle))
    return from_altair(chart, alt=f"Peak power of each sprint: {told}. {tail}", title="Sprints by setting")


def agreement_plot(pairs: Sequence[tuple[float, float]], lines: Records, *, what: str, unit: str) -> Figure:
    """Draw differences, own less other, over the pairs' means, with bias and limits of agreement.

    `lines` has the columns name, value, low and high: the bias first, then the limits, each with its 95 % interval.
    """
    if len(pairs) < 2:
        raise ValueError(f"{len(pairs)} pairs of readings; expected two or more")
    frame = pandas.DataFrame([{"mean": (own + other) / 2, "difference": own - other} for own, other in pairs])
    spread = (frame["mean"].max() - frame["mean"].min()) or 1.0
    # Intervals stand side by side at the left edge, where there is room, so that none hides another.
    limits = pandas.DataFrame(lines).assign(place=lambda found: 10 + 14 * found.index)
    names = list(limits.name)
    dashes = [PATTERNS["dashed" if place else "solid"] for place in range(len(names))]
    domain = [frame["mean"].min() - 0.25 * spread, frame["mean"].max() + 0.06 * spread]
    axis, title = alt.Axis(grid=False, tickCount=6), f"{what}, {unit}"
    x = alt.X("mean:Q", title=f"mean of the two, {unit}", scale=alt.Scale(domain=domain, nice=False), axis=axis)
    y = alt.Y("difference:Q", title=title, scale=alt.Scale(zero=True, padding=12), axis=axis)
    base = alt.Chart(limits).encode(alt.Y("value:Q", title=title), tooltip=["name:N", "value:Q", "low:Q", "high:Q"])
    low = alt.Y("low:Q", title=title)
    dash = alt.StrokeDash("name:N", scale=alt.Scale(domain=names, range=dashes), legend=None)
    chart = alt.layer(
        alt.Chart(pandas.DataFrame([{"value": 0}])).mark_rule(color=PALE).encode(y="value:Q"),
        base.mark_rule(color=INK).encode(dash),
        base.mark_rule(color=GREY, strokeWidth=5).encode(low, alt.X("place:Q", scale=None), y2="high"),
        base.mark_text(align="right", dy=-7, color=INK).encode(x=alt.value(PLOT_WIDTH_PX - 2), text="name:N"),
        alt.Chart(frame).mark_point(color=BLUE, opacity=1, size=60).encode(x, y, tooltip=["mean:Q", "difference:Q"]),
    ).properties(width=PLOT_WIDTH_PX, height=230)
    told = "; ".join(f"{each.difference:.3g} at {each.mean:.4g}" for each in frame.itertuples())
    ends = "; ".join(
        f"{each.name} {each.value:.3g} ({each.low:.3g} to {each.high:.3g})" for each in limits.itertuples()
    )
    words = (
        f"Agreement, {what} over the mean of the two [{unit}]: {told}. "
        f"With 95 % intervals, drawn as upright bars at the left: {ends}."
    )
    return from_altair(chart, alt=words.replace("-", "−"), title="Agreement")


def settled_by_size(rule: Records, spreads: Records, learned: Records) -> Figure:
    """Draw settled cleat setbacks by shoe size, beside the starting rule and what was learned [EU sizes, mm].

    All have the column size_eu; `rule` and `learned` have low_mm and high_mm, `learned` also point_mm, and `spreads`
    p10_mm, p25_mm, p50_mm, p75_mm, p90_mm and feet, how many.
    """
    rule, spreads, learned = (pandas.DataFrame(rows) for rows in (rule, spreads, learned))
    x_axis = alt.Axis(title="EU shoe size", format="d", tickMinStep=1, grid=False)
    x = alt.X("size_eu:Q", axis=x_axis, scale=alt.Scale(zero=False, padding=14, nice=False))
    y_axis = alt.Axis(title="mm behind the first-MTP mark (toward the heel up)", tickCount=8)

    def y(column: str) -> alt.Y:
        return alt.Y(f"{column}:Q", axis=y_axis, scale=alt.Scale(zero=False, nice=True))

    starts, read = alt.Chart(rule).encode(x), alt.Chart(spreads).encode(x, tooltip=list(spreads.columns))
    layers = [
        starts.mark_area(color=PALE).encode(y("low_mm"), y2="high_mm"),
        *(starts.mark_line(color=GREY, strokeWidth=1).encode(y(end)) for end in ("low_mm", "high_mm")),
        read.mark_rule(color=INK, strokeWidth=1).encode(y("p10_mm"), y2="p90_mm"),
        read.mark_rule(color=INK, strokeWidth=5).encode(y("p25_mm"), y2="p75_mm"),
        read.mark_point(stroke=INK, fill="white", opacity=1, size=55, strokeWidth=1.6).encode(y("p50_mm")),
    ]
    if len(learned):
        lines = alt.Chart(learned).encode(x)
        look = {"color": BLUE, "strokeWidth": 1.2, "strokeDash": PATTERNS["dashed"]}
        layers.append(lines.mark_line(color=BLUE, strokeWidth=2.4).encode(y("point_mm")))
        layers += [lines.mark_line(**look).encode(y(end)) for end in ("low_mm", "high_mm")]
    chart = alt.layer(*layers).properties(width=PLOT_WIDTH_PX, height=300)
    return from_altair(chart, alt=_settled_words(rule, spreads, learned), title="Settled cleat setbacks by size")


def _settled_words(rule: pandas.DataFrame, spreads: pandas.DataFrame, learned: pandas.DataFrame) -> str:
    said = ["Settled cleat setbacks by EU shoe size, millimetres behind the first-MTP mark."]
    said += [
        f"Starting rule at EU {each.size_eu:g}: {halves(each.low_mm)} to {halves(each.high_mm)}."
        for each in rule.iloc[[0, -1]].itertuples()
    ]
    said += [
        f"EU {each.size_eu:g}: median {halves(each.p50_mm)}, middle half {halves(each.p25_mm)} to "
        f"{halves(each.p75_mm)}, middle 80 % {halves(each.p10_mm)} to {halves(each.p90_mm)}, {each.feet} feet."
        for each in spreads.itertuples()
    ]
    said += [
        f"Learned at EU {each.size_eu:g}: {halves(each.point_mm)}, 95 % of new riders "
        f"{halves(each.low_mm)} to {halves(each.high_mm)}."
        for each in (learned.iloc[[0, -1]].itertuples() if len(learned) else ())
    ]
    return " ".join(said if len(learned) else [*said, "Nothing was learned."])
