"""`report_html`: results as one page that needs nothing else."""

from __future__ import annotations

from pathlib import Path

from trialkit.documents.results import Results
from trialkit.pages.safe_text import safe_document
from trialkit.pages.shell import page_script, page_style, render_page
from trialkit.report.answer import answer
from trialkit.report.doubts import doubts
from trialkit.report.figures import pictures
from trialkit.report.figures.treatment_pictures import NAME as CANDIDATES
from trialkit.report.provenance import facts, provenance
from trialkit.report.reading import Reading
from trialkit.report.references import REFERENCES
from trialkit.report.said_cautions import said_cautions, said_in_short
from trialkit.report.tables import candidate_table, response_tables, spread_table
from trialkit.report.water_tables import water_tables

TEMPLATES = Path(__file__).parent / "templates"


def report_html(results: Results) -> str:
    """Write results, every text in which may come from strangers, as one self-contained HTML page.

    It asks for no network, is whole without its script, and is the same text for the same results.
    """
    reading = Reading(safe_document(results))
    drawn, missing = pictures(reading)
    return render_page(
        TEMPLATES,
        "report.html.jinja",
        page_style(),
        page_script(),
        about=reading.results.trial,
        title=reading.results.trial.title or "Trial report",
        facts=facts(reading),
        answer=answer(reading),
        picture=next((one for one in drawn if one.name == CANDIDATES), None),
        pictures=[one for one in drawn if one.name != CANDIDATES],
        missing_picture=missing,
        doubts=doubts(reading),
        candidates=candidate_table(reading),
        spreads=spread_table(reading),
        responses=response_tables(reading),
        water=water_tables(reading),
        provenance=provenance(reading),
        cautions=said_cautions("evidence", reading.design.volume_l, reading.design.measures),
        in_short=said_in_short(reading.design.volume_l, reading.design.measures),
        references=REFERENCES,
    )
