"""A figure as SVG inside an HTML page: no styles, no colours, no addresses, the same bytes every time."""

from __future__ import annotations

import io
import json
import re
from dataclasses import asdict
from typing import TYPE_CHECKING
from xml.etree import ElementTree

from trialkit.pages.palette import LIGHT
from trialkit.words.measures import Sentence

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SVG = "{http://www.w3.org/2000/svg}"
LINK = "{http://www.w3.org/1999/xlink}href"
ROLES = {colour: role for role, colour in LIGHT.items()}
DROPPED = {"font-family", "font", "stroke-linejoin", "stroke-linecap"}
LONG_FRACTION = re.compile(r"(\d+\.\d{2})\d+")
SPACES = re.compile(r"\s+")


def inline_svg(figure: Figure, name: str) -> str:
    """Write a figure as an ``svg`` element for the page.

    A page whose Content-Security-Policy allows no inline style ignores ``style`` attributes, so they become
    presentation attributes, and colours become classes named after their role in the palette.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
        Drawn in the light palette's colours only.
    name : str
        Salt of the ids, unique on the page: two figures' ids must not collide.

    Returns
    -------
    str

    Raises
    ------
    KeyError
        If the figure has a colour that is not in the palette.
    """
    import matplotlib as mpl

    buffer = io.BytesIO()
    with mpl.rc_context({"svg.fonttype": "none", "svg.hashsalt": name}):
        figure.savefig(buffer, format="svg", transparent=True, metadata={"Date": None})
    root = ElementTree.fromstring(buffer.getvalue())
    for parent in list(root.iter()):
        for child in list(parent):
            if child.tag == f"{SVG}metadata" or child.find(f"{SVG}style") is not None:
                parent.remove(child)
    for element in root.iter():
        _plain_element(element)
    for group in root.findall(".//g[@id]"):
        if group.attrib["id"].startswith("{"):
            _say_in_every_measure(group)
    root.attrib.clear()
    width, height = figure.get_size_inches() * 72
    root.attrib |= {"viewBox": f"0 0 {width:.0f} {height:.0f}", "aria-hidden": "true", "focusable": "false"}
    _unwrap(root)
    return ElementTree.tostring(root, encoding="unicode")


def gid_of(sentence: Sentence) -> str | None:
    """Identity for a drawn text by which `inline_svg` says it in every measure system; none where all are the same."""
    said = asdict(sentence)
    return json.dumps(said) if len(set(said.values())) > 1 else None


def _say_in_every_measure(group: ElementTree.Element) -> None:
    """Put what a drawn text is in each measure system into it; the style sheet shows one."""
    said, text = json.loads(group.attrib["id"]), group.find("text")
    if text is None:
        return
    text.text = None
    for way in ("both", "kitchen", "metric"):
        ElementTree.SubElement(text, "tspan", {"class": f"said {way}"}).text = said[way]


def _plain_element(element: ElementTree.Element) -> None:
    element.tag = element.tag.removeprefix(SVG)
    if LINK in element.attrib:
        element.set("href", element.attrib.pop(LINK))
    if element.get("transform", "").startswith("rotate(-0 "):
        del element.attrib["transform"]
    declarations = dict(part.split(": ", 1) for part in element.attrib.pop("style", "").split("; ") if ": " in part)
    classes = [_attribute(element, name, value) for name, value in declarations.items() if name not in DROPPED]
    if any(classes):
        element.set("class", " ".join(c for c in classes if c))
    for name in ("x", "y", "d", "width", "height", "transform"):
        if name in element.attrib:
            element.set(name, SPACES.sub(" ", LONG_FRACTION.sub(r"\1", element.attrib[name])).strip())
    if not (element.text or "").strip():
        element.text = None
    element.tail = None


def _attribute(element: ElementTree.Element, name: str, value: str) -> str:
    """Set a presentation attribute, or return the class that stands for a colour."""
    if name in ("fill", "stroke") and value != "none":
        return f"{name[0]}-{ROLES[value]}"
    element.set(name, value)
    return ""


def _unwrap(element: ElementTree.Element) -> None:
    """Drop ids that nothing refers to, and groups that only carry one."""
    for child in list(element):
        _unwrap(child)
    if element.tag == "g":
        element.attrib.pop("id", None)
    children = []
    for child in element:
        bare = child.tag == "g" and not child.attrib
        children += list(child) if bare else [child]
    element[:] = children
