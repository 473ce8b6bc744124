"""`report_html`: results as one page that needs nothing else."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from trialkit.report.answer import answer
from trialkit.report.cautions import CAUTIONS
from trialkit.report.doubts import doubts
from trialkit.report.figures import pictures
from trialkit.report.numerals import tie
from trialkit.report.palette import custom_properties
from trialkit.report.provenance import about, facts, provenance
from trialkit.report.reading import read
from trialkit.report.references import REFERENCES
from trialkit.report.safe_text import safe_results
from trialkit.report.tables import candidate_table, response_tables

if TYPE_CHECKING:
    from jinja2 import Environment

TEMPLATES = Path(__file__).parent / "templates"


def report_html(results: Mapping[str, Any]) -> str:
    """Write results as one self-contained HTML page.

    Parameters
    ----------
    results : Mapping
        Content of ``results.json``. Values may be null; every text in it may come from strangers. A list of texts
        ``departures`` (from the protocol) is shown where it is given.

    Returns
    -------
    str
        The page: no script, no network, the same text for the same results.
    """
    reading = read(safe_results(results))
    drawn, missing = pictures(reading)
    style = page_style()
    page = environment().get_template("report.html.jinja")
    return page.render(
        about=about(reading),
        facts=facts(reading),
        answer=answer(reading),
        pictures=drawn,
        missing_picture=missing,
        doubts=doubts(reading),
        candidates=candidate_table(reading),
        responses=response_tables(reading),
        provenance=provenance(reading),
        cautions=CAUTIONS,
        references=REFERENCES,
        style=style,
        policy=content_security_policy(style),
    )


def content_security_policy(style: str) -> str:
    """Policy under which the page loads nothing, runs nothing, and is dressed by its own style sheet alone."""
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    return f"default-src 'none'; style-src 'sha256-{digest}'; img-src data:; base-uri 'none'; form-action 'none'"


@cache
def page_style() -> str:
    """Style sheet of the page: the palette, then the rules."""
    return custom_properties() + (TEMPLATES / "report.css").read_text(encoding="utf-8")


def _tied(value: Any) -> Any:
    """Tie numbers to their units in plain text; markup is left as it is."""
    return tie(value) if type(value) is str else value


@cache
def environment() -> Environment:
    """Templates, escaped by default; an unknown name in one is an error."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    return Environment(
        loader=FileSystemLoader(TEMPLATES, encoding="utf-8"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_tied,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
