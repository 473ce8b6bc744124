"""The handout as PDF, from the same HTML."""

from __future__ import annotations

from typing import Any, NoReturn

from trialkit.domain.errors import NotComputed

PAPERS = {"a4": "A4", "letter": "Letter"}


def handout_pdf(page: str, paper: str) -> bytes:
    """Set a handout on paper.

    WeasyPrint lays out the very page that browsers show: one source, no browser to start, nothing fetched, and the same
    page gives the same bytes.

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
    except (ImportError, OSError):  # OSError: it is there, but not the text library (Pango) that it stands on
        raise NotComputed(
            "No PDF was made: WeasyPrint is not installed (pip install weasyprint). Or open handout.html in a "
            "browser and print it."
        ) from None
    sheet = CSS(string=f"@page {{ size: {PAPERS[paper]} }}")
    made = HTML(string=page, url_fetcher=_refuse).write_pdf(stylesheets=[sheet], pdf_identifier=b"trialkit handout")
    assert isinstance(made, bytes)
    return made


def _refuse(url: str, *_: Any, **__: Any) -> NoReturn:
    raise ValueError(f"A handout loads nothing from elsewhere: {url}")
