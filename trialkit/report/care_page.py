"""`care_html`: the sheet that goes with the handout: the bucket cut open, setting it up, looking after it."""

from __future__ import annotations

from trialkit.documents.recommended import Recommended
from trialkit.pages.cross_section import cross_section
from trialkit.pages.palette import LIGHT
from trialkit.pages.shell import render_page
from trialkit.report.handout import handout_style
from trialkit.report.page import TEMPLATES
from trialkit.words.care_words import SOURCES, BucketFacts, care_sections, drawing_labels


def care_html(document: Recommended) -> str:
    """Write the sheet, every text of which is ours, as one page that prints on one sheet."""
    best, measures = document.recommended, document.measures
    bucket = BucketFacts(best.volume_l, best.heads)
    return render_page(
        TEMPLATES,
        "care.html.jinja",
        handout_style(),
        drawing=cross_section(drawing_labels(bucket, measures), LIGHT),
        care=care_sections(bucket, measures),
        care_sources=SOURCES,
    )
