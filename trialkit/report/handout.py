"""`handout_html`: one printed page for gardeners, in plain words and the measures of the newest trial."""

from __future__ import annotations

from trialkit.documents.document import digest_of
from trialkit.documents.ledger_entry import SHOWN_DIGITS
from trialkit.documents.recommended import Recommended
from trialkit.domain.ph_window import WINDOW_PH
from trialkit.pages.palette import LIGHT
from trialkit.pages.safe_text import safe_document
from trialkit.pages.shell import render_page
from trialkit.report.answer import MOST_SPOONS_DRAWN
from trialkit.report.page import TEMPLATES
from trialkit.words import handout_words as words
from trialkit.words.cautions import short_cautions
from trialkit.words.measures import volume_words
from trialkit.words.phrases import date_words


def handout_html(document: Recommended) -> str:
    """Write the handout, every text in which may come from strangers, as one page that prints on one sheet."""
    safe = safe_document(document)
    best, treatment = safe.recommended, safe.recommended.treatment
    return render_page(
        TEMPLATES,
        "handout.html.jinja",
        handout_style(),
        cultivar=treatment.cultivar or "lettuce",
        bucket=volume_words(best.volume_l, safe.measures),
        heads=best.heads,
        feed=words.feed_words(best, safe.measures),
        nutrient=words.nutrient_words(best, safe.measures),
        spoons_drawn=0 if safe.measures == "metric" else min(int(treatment.dose_tsp or 0), MOST_SPOONS_DRAWN),
        acid_name=words.acid_name(best),
        acid_compared=words.is_acid_compared(safe),
        acid=tuple(words.acid_line(row, safe.measures) for row in safe.acid),
        learn=words.LEARN_ALKALINITY,
        other_water=words.OTHER_WATER,
        window_top=f"{WINDOW_PH[1]:g}",
        acid_seen=words.acid_seen(safe),
        acid_dissolved=words.is_dissolved(safe),
        steps=tuple(words.steps(safe)),
        climb=words.climb(safe),
        expect=tuple(words.expectations(safe)),
        evidence=words.evidence(safe),
        cautions=short_cautions(best.volume_l, safe.measures),
        version=safe.version,
        date=date_words(safe.date),
        digest=digest_of(document)[:SHOWN_DIGITS],
        colour=LIGHT,
    )


def handout_style() -> str:
    """Style of the sheets of a handout: paper on every screen, the light palette written out for printing libraries."""
    text = (TEMPLATES / "handout.css").read_text(encoding="utf-8")
    for role, value in LIGHT.items():
        text = text.replace(f"var(--{role})", value)
    return text
