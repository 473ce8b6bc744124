"""The handout as PDF, from the same HTML."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from trialkit.domain.errors import NotComputed
from trialkit.languages import translatable

PAPERS = {"a4": "A4", "letter": "Letter"}
FILLED_MM = {"a4": 278, "letter": 260}
"""Height of a sheet of each within the margins, a millimetre less: what is on one is spread over it."""


def handout_pdf(page: str, paper: str) -> bytes:
    """Set a handout on paper.

    WeasyPrint lays out the very page that browsers show: one source, no browser to start, nothing fetched, and the same
    page gives the same bytes. They are tagged for who has it read aloud, as PDF/UA (ISO 14289-1) asks.

    Parameters
    ----------
    page : str
        As from `trialkit.report.handout_html`.
    paper : {"a4", "letter"}

    Raises
    ------
    NotComputed
        If WeasyPrint, or a library that it stands on, is not installed.
    """
    try:
        from weasyprint import CSS, HTML
        from weasyprint.urls import URLFetcher
    except (ImportError, OSError):  # OSError: it is there, but not the text library (Pango) that it stands on
        raise NotComputed(
            translatable(
                "No PDF was made: WeasyPrint is not installed (pip install weasyprint). Or open handout.html in a "
                "browser and print it."
            )
        ) from None
    height = f".filled {{ min-height: {FILLED_MM[paper]}mm !important }}"
    sheet = CSS(string=f"@page {{ size: {PAPERS[paper]} }} {height}")
    within = URLFetcher(allowed_protocols=("data",), fail_on_errors=True)
    made = HTML(string=page, url_fetcher=within).write_pdf(
        stylesheets=[sheet],
        pdf_identifier=b"trialkit handout",
        pdf_variant="pdf/ua-1",
        finisher=lambda _, pdf: _finish_tags(pdf),
    )
    assert isinstance(made, bytes)
    return made


def _finish_tags(pdf: Any) -> None:
    """Do what WeasyPrint leaves undone of the structure tree: an index of cells, and numbers of pages as artifacts.

    ISO 32000-1, 14.7.2, asks for the index wherever elements have names; ISO 14289-1, 7.8, wants what runs along the
    margins to be no part of what is read aloud.
    """
    import pydyf

    parts = [one for one in pdf.objects if isinstance(one, pydyf.Dictionary)]
    elements = {one.reference: one for one in parts if one.get("Type") == "/StructElem"}
    (root,) = (one for one in parts if one.get("Type") == "/StructTreeRoot")
    if named := {one["ID"].string: one for one in elements.values() if "ID" in one}:
        names = [part for name in sorted(named) for part in (named[name]["ID"], named[name].reference)]
        index = pydyf.Dictionary({"Names": pydyf.Array(names)})
        pdf.add_object(index)
        root["IDTree"] = index.reference
    for reference in elements.keys() - set(_reached(root, elements)):
        element = elements[reference]
        contents = _object(pdf, _object(pdf, element["Pg"])["Contents"]).stream
        for kid in element["K"]:
            at = next(
                (i for i, part in enumerate(contents) if isinstance(part, dict) and part.get("MCID") == kid), None
            )
            if at is not None:
                contents[at - 1 : at + 1] = "/Artifact", pydyf.Dictionary({"Type": "/Pagination"})
        for numbers in _object(pdf, root["ParentTree"])["Nums"][1::2]:
            numbers[:] = ["null" if one == reference else one for one in numbers]


def _reached(element: Any, elements: dict[bytes, Any]) -> Iterator[bytes]:
    for kid in element["K"]:
        if kid in elements:
            yield kid
            yield from _reached(elements[kid], elements)


def _object(pdf: Any, reference: bytes) -> Any:
    return pdf.objects[int(reference.split()[0])]
