"""`care_html`: the sheet that goes with the handout: the bucket cut open, setting it up, looking after it."""

from __future__ import annotations

from functools import partial

from trialkit.documents.recommended import Recommended
from trialkit.languages import Language, speaking
from trialkit.pages.cross_section import cross_section
from trialkit.pages.palette import LIGHT
from trialkit.pages.shell import render_page
from trialkit.protocol.county import CountyBlock
from trialkit.report.handout import sheet_style, sizes_that_fit_pt, usual_language
from trialkit.report.page import TEMPLATES
from trialkit.words.care_words import BucketFacts, care_sections, care_sources, drawing_labels

ROOM = 355_000.0
"""As `trialkit.report.handout.ROOM`: of one side."""


def care_html(document: Recommended, block: CountyBlock | None = None, language: Language | None = None) -> str:
    """Write the sheet, as one page that prints on one sheet; the county, if it is set, stands at its head.

    In the county's usual language where no other is asked for.
    """
    best, measures = document.recommended, document.measures
    bucket = BucketFacts(best.volume_l, best.heads)
    with speaking(language or usual_language(document, block)):
        render = partial(
            render_page,
            TEMPLATES,
            "care.html.jinja",
            drawing=cross_section(drawing_labels(bucket, measures), LIGHT),
            county=block.county if block else None,
            care=care_sections(bucket, measures),
            care_sources=care_sources(),
        )
        return render(style=sheet_style(*sizes_that_fit_pt(render(style=""), (ROOM,))))
