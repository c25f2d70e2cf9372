"""A figure with its words as small, stable SVG: what a renderer writes for machines goes, what is seen stays."""

from __future__ import annotations

import base64
import html
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from xml.etree import ElementTree

import altair

from fitkit import rendering
from fitkit.charts import theme

__all__ = [
    "NAMESPACE",
    "Figure",
    "beside",
    "from_altair",
    "from_specification",
    "minified",
    "natural_width_px",
    "side_by_side",
]

NAMESPACE = "http://www.w3.org/2000/svg"
_GROUP, _LINE, _ROOT, _TEXT = (f"{{{NAMESPACE}}}{name}" for name in ("g", "line", "svg", "text"))
ElementTree.register_namespace("", NAMESPACE)
ElementTree.register_namespace("xlink", "http://www.w3.org/1999/xlink")

_UNSEEN = {"class", "role", "version", "pointer-events", "stroke-miterlimit"}
_LENGTHS = {"d", "transform", "x", "y", "x1", "y1", "x2", "y2", "width", "height", "viewBox", "font-size"} | {
    "stroke-width",
    "stroke-dasharray",
}
# A parent may carry these for its children. The second value is what holds where nobody carries one.
_INHERITED = {
    "font-family": None,
    "font-size": None,
    "font-weight": "normal",
    "text-anchor": "start",
    "fill": None,
    "stroke": None,
    "stroke-width": "1",
    "stroke-dasharray": "1,0",
}
_NUMBER = re.compile(r"-?(?:\d+\.?\d*|\.\d+)(?:e[-+]?\d+)?")
_IDLE_TRANSFORM = re.compile(r"(?:translate\(0,0\)|rotate\(0\))\s*")
_TRANSLATED = re.compile(r"translate\(([^,)]+),([^,)]+)\)")
_PIECE = re.compile(r"([A-Za-z])([^A-Za-z]*)")


def minified(svg: str) -> str:
    """Return the same picture in fewer bytes; equal pictures are equal bytes."""
    root = _parsed(svg)
    _drop_unseen(root)
    for element in root.iter():
        _shorten(element)
    _number_ids(root)
    _unwrap(root, fewest=2)
    for name in ("font-family", "font-size"):
        _carry(root, list(root.iter(_TEXT)), name)
    for group in root.iter(_GROUP):
        for name in _INHERITED:
            _carry(group, list(group), name)
    _unwrap(root)
    _drop_defaults(root, frozenset())
    return _written(root)


def natural_width_px(svg: str) -> float:
    """Return the width a picture asks for [px]."""
    return float(_parsed(svg).get("width", "0"))


def side_by_side(svgs: list[str]) -> str:
    """Return one SVG that holds several beside one another, tops aligned."""
    roots = [_parsed(svg) for svg in svgs]
    widths = [float(root.get("width", "0")) for root in roots]
    height = max(float(root.get("height", "0")) for root in roots)
    size = {"width": f"{sum(widths):g}", "height": f"{height:g}", "viewBox": f"0 0 {sum(widths):g} {height:g}"}
    sheet = ElementTree.Element(_ROOT, size)
    for place, root in enumerate(roots):
        root.set("x", f"{sum(widths[:place]):g}")
        sheet.append(root)
    return _written(sheet)


def _parsed(svg: str) -> ElementTree.Element:
    return ElementTree.fromstring(svg)  # noqa: S314 - written by our own renderer a moment ago


def _written(root: ElementTree.Element) -> str:
    # Safe: a ">" inside words or attributes is always written as an entity.
    return ElementTree.tostring(root, encoding="unicode").replace(" />", "/>")


def _drop_unseen(parent: ElementTree.Element) -> None:
    for child in list(parent):
        hidden = child.get("display") == "none"
        unpainted = child.get("class") == "background" and not ({"fill", "stroke"} & set(child.attrib))
        if hidden or unpainted:
            parent.remove(child)
        else:
            _drop_unseen(child)


def _shorten(element: ElementTree.Element) -> None:
    for name, value in list(element.attrib.items()):
        if name in _UNSEEN or name.startswith("aria-") or (name, value) == ("opacity", "1"):
            del element.attrib[name]
        elif name in _LENGTHS:
            element.set(name, _NUMBER.sub(_rounded, value).removesuffix("px"))
    moved = _IDLE_TRANSFORM.sub("", element.attrib.pop("transform", "")).strip()
    only_moved = _TRANSLATED.fullmatch(moved)
    if element.tag == _TEXT and only_moved:
        element.set("x", only_moved[1])
        element.set("y", only_moved[2])
    elif moved:
        element.set("transform", moved)
    if element.tag == _LINE:
        for name in ("x2", "y2"):
            if element.get(name) == "0":
                del element.attrib[name]
    if "d" in element.attrib:
        element.set("d", _short_path(element.attrib["d"]))


def _rounded(found: re.Match) -> str:
    number = f"{round(float(found[0]), 2) + 0.0:.2f}".rstrip("0").rstrip(".")
    return re.sub(r"^(-?)0\.", r"\1.", number)


def _short_path(path: str) -> str:
    """Write level and upright pieces with one number; leave the rest as it is."""
    pieces, x, y = [], "", ""
    for command, numbers in _PIECE.findall(path):
        values = numbers.split(",")
        if command not in "MLC" or len(values) % 2:
            pieces.append(command + numbers)
            x, y = ("", "") if command not in "Zz" else (x, y)
            continue
        if command == "L" and values == [x, y]:
            continue
        if command == "L" and x in values[:1]:
            pieces.append(f"V{values[1]}")
        elif command == "L" and y in values[1:]:
            pieces.append(f"H{values[0]}")
        else:
            pieces.append(command + numbers)
        x, y = values[-2:]
    return "".join(pieces)


def _number_ids(root: ElementTree.Element) -> None:
    # The renderer counts its clip paths on from one picture to the next; equal pictures must be equal bytes.
    named = [element for element in root.iter() if "id" in element.attrib]
    names = {element.get("id"): f"c{place}" for place, element in enumerate(named)}
    for element in root.iter():
        for name, value in element.attrib.items():
            if name == "id":
                element.set(name, names[value])
            elif "url(#" in value:
                element.set(name, re.sub(r"url\(#([^)]+)\)", lambda found: f"url(#{names[found[1]]})", value))


def _unwrap(parent: ElementTree.Element, *, fewest: int = 10**6) -> None:
    """Put the children of plain groups in the groups' places, where they are fewer than `fewest`."""
    for place, child in reversed(list(enumerate(parent))):
        _unwrap(child, fewest=fewest)
        if child.tag == _GROUP and (not len(child) or (not child.attrib and len(child) < fewest)):
            parent[place : place + 1] = list(child)


def _carry(parent: ElementTree.Element, heirs: list[ElementTree.Element], name: str) -> None:
    """Let the parent carry the commonest value of an attribute, if each of its heirs has one."""
    values = [heir.get(name) for heir in heirs]
    if len(values) < 2 or None in values or name in parent.attrib:
        return
    commonest, count = Counter(values).most_common(1)[0]
    if count > 1:
        parent.set(name, commonest)
        for heir in heirs:
            if heir.get(name) == commonest:
                del heir.attrib[name]


def _drop_defaults(element: ElementTree.Element, carried: frozenset[str]) -> None:
    for name, default in _INHERITED.items():
        if element.get(name) == default and name in element.attrib and name not in carried:
            del element.attrib[name]
    if not len(element) and "stroke" not in element.attrib and "stroke" not in carried:
        element.attrib.pop("stroke-width", None)
    carried |= {name for name in _INHERITED if name in element.attrib}
    for child in element:
        _drop_defaults(child, carried)


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
