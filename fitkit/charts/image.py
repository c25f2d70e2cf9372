"""A figure with its own words, and how a chart becomes one."""

from __future__ import annotations

import base64
import html
from collections.abc import Sequence
from dataclasses import dataclass

import altair

from fitkit import rendering
from fitkit.charts import theme
from fitkit.charts.svg import minified, natural_width_px, side_by_side

__all__ = ["Figure", "beside", "from_altair", "from_specification"]

# Beside a neighbour a picture may shrink to this width and its smallest words stay readable.
_LEAST_WIDTH_PX = 340


@dataclass(frozen=True)
class Figure:
    """A finished picture and what it says in words."""

    svg: str  # the picture; no script, no address outside itself
    alt: str  # everything the picture shows, in plain words
    title: str = ""  # a few words
    # what a page shows side by side while there is room, one under the other where there is none
    parts: tuple[Figure, ...] = ()

    def __post_init__(self) -> None:
        if not self.alt.strip():
            raise ValueError(f"alt is {self.alt!r}; expected what the picture shows, in words")

    @property
    def html(self) -> str:
        """The figure as one HTML element that shows in a notebook, an exported page and in print."""
        images = [part._image(1 / len(self.parts)) for part in self.parts] or [self._image(1)]
        return f"<figure>{''.join(images)}</figure>"

    def _repr_html_(self) -> str:
        return self.html

    def _image(self, share: float) -> str:
        width_px = natural_width_px(self.svg)
        room = "max-width:100%"
        if share < 1:
            least = f"min-width:min({_LEAST_WIDTH_PX}px,100%)"
            room = f"width:{100 * share:g}%;{least};max-width:{width_px:g}px;vertical-align:top"
        encoded = base64.b64encode(self.svg.encode()).decode()
        return f'<img alt="{html.escape(self.alt)}" src="data:image/svg+xml;base64,{encoded}" style="{room}">'


def beside(figures: Sequence[Figure], *, title: str) -> Figure:
    """Return one figure of several: beside one another while there is room, else one under the other."""
    return Figure(
        svg=side_by_side([figure.svg for figure in figures]),
        alt="\n".join(figure.alt for figure in figures),
        title=title,
        parts=tuple(figures),
    )


def from_altair(chart: altair.TopLevelMixin, *, alt: str, title: str = "") -> Figure:
    """Return a chart in the kit's look as a figure."""
    return from_specification(chart.to_dict(), alt=alt, title=title)


def from_specification(specification: dict, *, alt: str, title: str = "") -> Figure:
    """Return a chart that is already a Vega-Lite specification as a figure; else as `from_altair`."""
    themed = {**specification, "config": _merged(theme.CONFIG, specification.get("config", {}))}
    return Figure(svg=minified(rendering.svg(themed)), alt=alt, title=title)


def _merged(base: dict, over: dict) -> dict:
    both = {name: _merged(base[name], over[name]) for name in base.keys() & over.keys() if isinstance(base[name], dict)}
    return {**base, **over, **both}
