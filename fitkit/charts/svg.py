"""Small, stable SVG: what a renderer writes for machines is taken out, what is seen stays."""

from __future__ import annotations

import re
from collections.abc import Iterator
from xml.etree import ElementTree

__all__ = ["minified", "natural_width_px", "side_by_side"]

_SVG = "http://www.w3.org/2000/svg"
_XLINK = "http://www.w3.org/1999/xlink"
ElementTree.register_namespace("", _SVG)
ElementTree.register_namespace("xlink", _XLINK)

_UNSEEN = {"class", "role", "version", "pointer-events", "aria-hidden"}
_GEOMETRY = {"d", "transform", "x", "y", "x1", "y1", "x2", "y2", "width", "height", "r", "rx", "ry", "cx", "cy"}
_LENGTHS = _GEOMETRY | {"stroke-width", "stroke-dasharray", "font-size", "viewBox"}
# A group may carry these for all its children: they are inherited.
_INHERITED = {
    "fill",
    "stroke",
    "stroke-width",
    "stroke-dasharray",
    "stroke-miterlimit",
    "font-family",
    "font-size",
    "font-weight",
    "text-anchor",
}
_DEFAULTS = {
    ("opacity", "1"),
    ("font-weight", "normal"),
    ("stroke-width", "1"),
    ("stroke-dasharray", "1,0"),
    ("text-anchor", "start"),
}
_LINE_DEFAULTS = {("x2", "0"), ("y2", "0")}
_DECIMALS = re.compile(r"-?(?:\d+\.?\d*|\.\d+)(?:e[-+]?\d+)?")
_IDLE_TRANSFORM = re.compile(r"(?:translate\(0,0\)|rotate\(0\))\s*")


def minified(svg: str) -> str:
    """Return the same picture in fewer bytes, equal for equal pictures.

    Parameters
    ----------
    svg : str
        SVG as the chart library writes it.

    Returns
    -------
    str
        Without roles, classes, idle groups and unpainted shapes; lengths to 0.01 px; ids numbered from 0.
    """
    root = _parsed(svg)
    _drop_unseen(root)
    for element in root.iter():
        _shorten(element)
    _renumber_ids(root)
    _unwrap(root)
    _lift(root)
    return ElementTree.tostring(root, encoding="unicode")


def natural_width_px(svg: str) -> float:
    """Return the width a picture asks for [px]."""
    return float(_parsed(svg).get("width", "0"))


def side_by_side(svgs: list[str]) -> str:
    """Return one SVG that holds several beside one another, tops aligned."""
    roots = [_parsed(svg) for svg in svgs]
    widths = [float(root.get("width", "0")) for root in roots]
    height = max(float(root.get("height", "0")) for root in roots)
    size = {"width": f"{sum(widths):g}", "height": f"{height:g}", "viewBox": f"0 0 {sum(widths):g} {height:g}"}
    sheet = ElementTree.Element(f"{{{_SVG}}}svg", size)
    for place, root in enumerate(roots):
        root.set("x", f"{sum(widths[:place]):g}")
        sheet.append(root)
    return ElementTree.tostring(sheet, encoding="unicode")


def _parsed(svg: str) -> ElementTree.Element:
    return ElementTree.fromstring(svg)  # noqa: S314 - written by our own renderer a moment ago


def _drop_unseen(parent: ElementTree.Element) -> None:
    for child in list(parent):
        hidden = child.get("display") == "none"
        unpainted = child.get("class") == "background" and not ({"fill", "stroke"} & set(child.attrib))
        if hidden or unpainted:
            parent.remove(child)
        else:
            _drop_unseen(child)


def _shorten(element: ElementTree.Element) -> None:
    defaults = _DEFAULTS | _LINE_DEFAULTS if element.tag == f"{{{_SVG}}}line" else _DEFAULTS
    for name, value in list(element.attrib.items()):
        if name in _UNSEEN or name.startswith("aria-"):
            del element.attrib[name]
            continue
        if name in _LENGTHS:
            value = _DECIMALS.sub(lambda found: _rounded(found[0]), value)
        if name == "transform":
            value = _IDLE_TRANSFORM.sub("", value).strip()
        if name == "font-size":
            value = value.removesuffix("px")
        if not value or (name, value) in defaults:
            del element.attrib[name]
        else:
            element.set(name, value)
    if "stroke" not in element.attrib and not len(element):
        element.attrib.pop("stroke-width", None)


def _rounded(decimal: str) -> str:
    return f"{round(float(decimal), 2) + 0.0:.2f}".rstrip("0").rstrip(".")


def _renumber_ids(root: ElementTree.Element) -> None:
    # The renderer counts its clip paths on from one picture to the next; equal pictures must be equal bytes.
    names = {element.get("id"): f"c{place}" for place, element in enumerate(_with_id(root))}
    for element in root.iter():
        for name, value in element.attrib.items():
            if name == "id":
                element.set(name, names[value])
            elif "url(#" in value:
                element.set(name, re.sub(r"url\(#([^)]+)\)", lambda found: f"url(#{names[found[1]]})", value))


def _with_id(root: ElementTree.Element) -> Iterator[ElementTree.Element]:
    return (element for element in root.iter() if "id" in element.attrib)


def _unwrap(parent: ElementTree.Element) -> None:
    for place, child in reversed(list(enumerate(parent))):
        _unwrap(child)
        if child.tag == f"{{{_SVG}}}g" and (not child.attrib or not len(child)):
            parent[place : place + 1] = list(child)


def _lift(group: ElementTree.Element) -> None:
    for child in group:
        _lift(child)
    if len(group) < 2 or group.tag not in {f"{{{_SVG}}}g", f"{{{_SVG}}}svg"}:
        return
    shared = set.intersection(*(set(child.attrib.items()) for child in group))
    for name, value in sorted(shared):
        if name in _INHERITED and name not in group.attrib:
            group.set(name, value)
            for child in group:
                del child.attrib[name]
