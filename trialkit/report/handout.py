"""`handout_html`: one printed page for gardeners, in plain words and the measures of the newest trial."""

from __future__ import annotations

import math
import re
from functools import partial

from trialkit.documents.document import digest_of
from trialkit.documents.ledger_entry import SHOWN_DIGITS
from trialkit.documents.recommended import Recommended
from trialkit.domain.ph_window import WINDOW_PH
from trialkit.pages.county_logo import logo_uri
from trialkit.pages.cross_section import cross_section
from trialkit.pages.palette import LIGHT
from trialkit.pages.safe_text import safe_document
from trialkit.pages.shell import render_page
from trialkit.pages.spoons import spoons_drawing
from trialkit.protocol.county import CountyBlock
from trialkit.report.page import TEMPLATES
from trialkit.words import handout_words as words
from trialkit.words.care_words import BucketFacts, drawing_labels, siting_lines
from trialkit.words.cautions import short_cautions
from trialkit.words.measures import volume_words
from trialkit.words.phrases import date_words

LARGE_PT = 18.0
SIZES_PT = 8.0, 11.5
"""Least and greatest size of type of the handout on one sheet."""
LETTERS_TIMES_SIZE_SQUARED = 280_000.0
"""As found by trying: with so many letters in that size, points squared, one sheet of Letter is just not full."""
NO_WORDS = re.compile(r"<(style|title|svg)\b.*?</\1>|<[^>]*>", re.DOTALL)


def handout_html(document: Recommended, block: CountyBlock | None = None, *, large: bool = False) -> str:
    """Write the handout, every text in which may come from strangers, as one page that prints on one sheet.

    Parameters
    ----------
    document : Recommended
    block : CountyBlock, optional
        The county's: who stands behind it.
    large : bool
        Whether it is set in large print, on as many sheets as that takes.
    """
    safe, county = safe_document(document), block.county if block else None
    best, treatment = safe.recommended, safe.recommended.treatment
    bucket = BucketFacts(best.volume_l, best.heads)
    nutrient = words.nutrient_words(best, safe.measures)
    dose = 0.0 if safe.measures == "metric" else treatment.dose_tsp or 0.0
    render = partial(
        render_page,
        TEMPLATES,
        "handout.html.jinja",
        county=county,
        logo=logo_uri(block),
        large=large,
        cultivar=treatment.cultivar or "lettuce",
        bucket=volume_words(best.volume_l, safe.measures),
        feed=words.feed_words(best, safe.measures),
        spoons=spoons_drawing(dose, nutrient or "", LIGHT),
        drawing=cross_section(drawing_labels(bucket, safe.measures), LIGHT),
        siting=tuple(siting_lines(county.sowing if county else "", safe.measures)),
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
    return render(style=sheet_style(LARGE_PT if large else _size_that_fits_pt(render(style="")), large=large))


def _size_that_fits_pt(page: str) -> float:
    """Size of type at which the words of a page fill one sheet: so many letters, so much room for each."""
    letters = len(" ".join(NO_WORDS.sub("", page).split()))
    return min(max(math.sqrt(LETTERS_TIMES_SIZE_SQUARED / letters), SIZES_PT[0]), SIZES_PT[1])


def sheet_style(size_pt: float, *, large: bool = False) -> str:
    """Style of a sheet printed in a size of type: paper on every screen, for printing libraries without variables."""
    names = ("handout.css", "handout_large.css") if large else ("handout.css",)
    text = "".join((TEMPLATES / name).read_text(encoding="utf-8") for name in names)
    for role, value in {**LIGHT, "size": f"{math.floor(4 * size_pt) / 4:g}pt"}.items():
        text = text.replace(f"var(--{role})", value)
    return text
