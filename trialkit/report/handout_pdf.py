"""The handout as PDF, from the same HTML."""

from __future__ import annotations

from trialkit.domain.errors import NotComputed

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
            "No PDF was made: WeasyPrint is not installed (pip install weasyprint). Or open handout.html in a "
            "browser and print it."
        ) from None
    height = f".filled {{ min-height: {FILLED_MM[paper]}mm !important }}"
    sheet = CSS(string=f"@page {{ size: {PAPERS[paper]} }} {height}")
    within = URLFetcher(allowed_protocols=("data",), fail_on_errors=True)
    made = HTML(string=page, url_fetcher=within).write_pdf(
        stylesheets=[sheet], pdf_identifier=b"trialkit handout", pdf_variant="pdf/ua-1"
    )
    assert isinstance(made, bytes)
    return made
