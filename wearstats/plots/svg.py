"""A figure as inline SVG: the same bytes every time, and words for those who do not see it."""

import io
import re
from collections.abc import Mapping
from hashlib import sha256
from typing import Final
from xml.etree import ElementTree as ET

import matplotlib as mpl
import numpy as np
from defusedxml.ElementTree import fromstring
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.text import Text

from wearstats.errors import UsageError
from wearstats.plots.style import INK, style

_SVG: Final = "http://www.w3.org/2000/svg"
_FONTS: Final = "system-ui, sans-serif"
_NO_METADATA: Final = dict.fromkeys(("Creator", "Date", "Format", "Type"))
_NUMBER: Final = re.compile(r"-?\d+\.\d+")
_REFERENCE: Final = re.compile(r"url\(#([^)]+)\)")
_FAMILY: Final = re.compile(r"'DejaVu Sans'(?:, [^;]+)?")
_LAYOUTS_AT_MOST: Final = 20
_POINTS_PER_INCH: Final = 72.0
_STILL: Final = 1e-9
_PLACES: Final = ("d", "x", "y", "points", "transform")


def to_svg(figure: Figure, title: str, description: str) -> str:
    """Return the figure as one `svg` element to stand in a page.

    Parameters
    ----------
    figure : Figure
    title : str
        What it is, in a few words.
    description : str
        What it shows, in words and numbers, for those who do not see it.

    Returns
    -------
    str
        An `svg` element with `role="img"` and both texts as its alternative. It refers to nothing
        outside itself, has no size of its own (a view box only, so the page sets its width), and
        its ids begin with a prefix made from its content, so that several can share a page.

    Raises
    ------
    UsageError
        A text is empty.
    """
    for name, text in (("title", title), ("description", description)):
        if not text.strip():
            message = f"a figure needs a {name} for those who do not see it"
            raise UsageError(message)
    root = fromstring(_drawn(figure))
    _leave_namespaces(root)
    _number_ids(root)
    for element in root.iter():
        _restyle(element)
    root.attrib = {"viewBox": root.attrib["viewBox"]}
    content = ET.tostring(root, encoding="unicode")
    mark = f"{title}\x1f{description}\x1f{content}".encode()
    prefix = f"w{sha256(mark).hexdigest()[:10]}"
    _prefix_ids(root, prefix)
    _describe(root, prefix, title, description)
    return ET.tostring(root, encoding="unicode")


def _drawn(figure: Figure) -> str:
    with style(), mpl.rc_context({"svg.fonttype": "none", "svg.hashsalt": "wearstats"}):
        for text in figure.findobj(Text):
            text.set_parse_math(False)
        dots_per_inch = figure.dpi
        # SVG is drawn in points; laid out at another size, words come out a little wider.
        figure.dpi = _POINTS_PER_INCH
        # Words are as wide as this canvas says, so it must be in place before the layout.
        canvas = FigureCanvasSVG(figure)
        _settle(figure)
        sheet = io.StringIO()
        # Laid out already: `savefig` would draw it once more before drawing it.
        engine = figure.get_layout_engine()
        figure.set_layout_engine("none")
        canvas.print_svg(sheet, metadata=_NO_METADATA)  # type: ignore[no-untyped-call]  # matplotlib's
        figure.set_layout_engine(engine)
        figure.dpi = dots_per_inch
    return sheet.getvalue()


def _settle(figure: Figure) -> None:
    """Lay the figure out until nothing moves: each layout starts from the last one."""
    engine = figure.get_layout_engine()
    if engine is None:
        return
    before: list[tuple[float, ...]] = []
    for _ in range(_LAYOUTS_AT_MOST):
        engine.execute(figure)
        after = [tuple(axes.get_position().bounds) for axes in figure.axes]
        if before and np.allclose(before, after, rtol=0, atol=_STILL):
            return
        before = after


def _leave_namespaces(root: ET.Element) -> None:
    """Drop prefixes: inside a page an svg needs none, and `href` no longer needs xlink."""
    for element in root.iter():
        element.tag = element.tag.rpartition("}")[2]
        for name in [name for name in element.attrib if "}" in name]:
            element.attrib[name.rpartition("}")[2]] = element.attrib.pop(name)
        element.text = (element.text or "").strip() or None if len(element) else element.text
        element.tail = None
    for parent in list(root.iter()):
        for child in [child for child in parent if child.tag in {"metadata", "style"}]:
            parent.remove(child)


def _references(element: ET.Element) -> set[str]:
    found = {name for value in element.attrib.values() for name in _REFERENCE.findall(value)}
    return found | {element.attrib.get("href", "").removeprefix("#")}


def _number_ids(root: ET.Element) -> None:
    """Keep only the ids something refers to, numbered in order.

    Matplotlib's are hashes of unrounded places, which differ in the last digit between machines.
    """
    used = set().union(*(_references(element) for element in root.iter()))
    names: dict[str, str] = {}
    for element in root.iter():
        name = element.attrib.pop("id", None)
        if name in used:
            element.attrib["id"] = names.setdefault(name, str(len(names) + 1))
    _rename_references(root, names)


def _rename_references(root: ET.Element, names: Mapping[str, str]) -> None:
    for element in root.iter():
        for key, value in element.attrib.items():
            if key == "href":
                element.attrib[key] = f"#{names[value.removeprefix('#')]}"
            else:
                element.attrib[key] = _REFERENCE.sub(
                    lambda found: f"url(#{names[found[1]]})", value
                )


def _restyle(element: ET.Element) -> None:
    """Let ink follow the page, name fonts every machine has, and drop digits no eye sees."""
    look = element.attrib.get("style")
    if look is not None:
        element.attrib["style"] = _FAMILY.sub(_FONTS, look).replace(INK, "currentColor")
    for name in ("fill", "stroke"):
        if element.attrib.get(name) == INK:
            element.attrib[name] = "currentColor"
    if element.attrib.get("transform", "").startswith("rotate(-0 "):
        del element.attrib["transform"]
    for name in _PLACES:
        if name in element.attrib:
            value = _NUMBER.sub(lambda found: f"{float(found[0]):.2f}", element.attrib[name])
            element.attrib[name] = " ".join(value.split())


def _prefix_ids(root: ET.Element, prefix: str) -> None:
    names: dict[str, str] = {}
    for element in root.iter():
        if "id" in element.attrib:
            name = element.attrib["id"]
            element.attrib["id"] = names[name] = f"{prefix}-{name}"
    _rename_references(root, names)


def _describe(root: ET.Element, prefix: str, title: str, description: str) -> None:
    root.attrib = {
        "xmlns": _SVG,
        "class": "wearstats-figure",
        "role": "img",
        "aria-labelledby": f"{prefix}-title {prefix}-desc",
        # Of matplotlib's own style sheet, which would reach the whole page from in here.
        "style": "stroke-linejoin: round; stroke-linecap: butt",
        **root.attrib,
    }
    for place, (tag, text) in enumerate((("title", title), ("desc", description))):
        alternative = ET.Element(tag, {"id": f"{prefix}-{tag}"})
        alternative.text = text
        root.insert(place, alternative)
