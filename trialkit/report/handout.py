"""`handout_html`: one printed sheet for gardeners, in plain words and the measures of the newest trial."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from functools import partial

from trialkit.documents.document import digest_of
from trialkit.documents.ledger_entry import SHOWN_DIGITS
from trialkit.documents.recommended import Recommended
from trialkit.domain.ph_window import WINDOW_PH
from trialkit.languages import Language, speaking, spoken
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
from trialkit.words.phrases import date_words, number

LARGE_PT = 18.0
LEAST_PT = 10.0
"""What would need a smaller type on one side of a sheet is set on both sides."""
GREATEST_PT = 12.0, 14.0
"""On the front and on the back."""
ROOM = {"one": 255_000.0, "care in front": 243_000.0, "care behind": 262_000.0}
"""What stands where, in order of preference: all on one side; what to do and to take care of on the front, the rest
on the back; what to do alone on the front. As found by trying: with so many letters in that size, points squared, the
front of a sheet of Letter is just not full."""
BACK_ROOM = 340_000.0
NO_WORDS = re.compile(r"<(style|title|svg)\b.*?</\1>|<[^>]*>", re.DOTALL)
SIDE = '<div class="side'


def handout_html(
    document: Recommended, block: CountyBlock | None = None, language: Language | None = None, *, large: bool = False
) -> str:
    """Write the handout, every text in which may come from strangers, as one page that prints on one sheet of paper.

    What there is to do stands on the front. What does not fit there, in type that can be read on a wall, stands on the
    back.

    Parameters
    ----------
    document : Recommended
    block : CountyBlock, optional
        The county's: who stands behind it.
    language : str, optional
        Another than the `usual_language`. The county's sowing time is then left out: it is told in that one.
    large : bool
        Whether it is set in large print, on as many sheets as that takes.
    """
    usual = usual_language(document, block)
    with speaking(language or usual):
        render = _filled_in(document, block, sowing=spoken() == usual, large=large)
        if large:
            return render(sides="one", style=sheet_style(LARGE_PT, large=True))
        for sides, room in ROOM.items():
            sizes = sizes_that_fit_pt(render(sides=sides, style=""), (room, BACK_ROOM))
            if sizes[0] >= LEAST_PT:
                break
        return render(sides=sides, style=sheet_style(*sizes))


def usual_language(document: Recommended, block: CountyBlock | None) -> Language:
    """Language of a county's handouts: what it says, else that of the newest trial."""
    return (block.county.language if block else None) or document.language


def _filled_in(document: Recommended, block: CountyBlock | None, *, sowing: bool, large: bool) -> Callable[..., str]:
    """Fill in the template but for its style and its sides."""
    safe, county = safe_document(document), block.county if block else None
    best = safe.recommended
    bucket = BucketFacts(best.volume_l, best.heads)
    nutrient = words.nutrient_words(best, safe.measures)
    dose = 0.0 if safe.measures == "metric" else best.treatment.dose_tsp or 0.0
    return partial(
        render_page,
        TEMPLATES,
        "handout.html.jinja",
        county=county,
        logo=logo_uri(block),
        large=large,
        cultivar=words.cultivar_words(best),
        bucket=volume_words(best.volume_l, safe.measures),
        feed=words.feed_words(best, safe.measures),
        spoons=spoons_drawing(dose, nutrient or "", LIGHT),
        drawing=cross_section(drawing_labels(bucket, safe.measures), LIGHT),
        siting=tuple(siting_lines(county.sowing if county and sowing else "", safe.measures)),
        acid_name=words.acid_name(best),
        acid_compared=words.is_acid_compared(safe),
        acid=tuple(words.acid_line(row, safe.measures) for row in safe.acid),
        learn=words.learn_alkalinity(),
        other_water=words.other_water(),
        window_top=number(WINDOW_PH[1]),
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


def sizes_that_fit_pt(page: str, rooms: Sequence[float]) -> tuple[float, ...]:
    """Sizes of type at which the words of each side of a page fill it: so many letters, so much room for each.

    Parameters
    ----------
    page : str
        Without its style.
    rooms : sequence of float
        Letters that each side has room for, times their size in points squared.
    """
    letters = (len(" ".join(NO_WORDS.sub("", side).split())) for side in page.split(SIDE)[1:])
    sides = zip(letters, rooms, GREATEST_PT, strict=False)
    return tuple(min(math.sqrt(room / number), most) for number, room, most in sides)


def sheet_style(size_pt: float, back_pt: float = 0.0, *, large: bool = False) -> str:
    """Style of a sheet printed in a size of type: paper on every screen, for printing libraries without variables."""
    names = ("handout.css", "handout_large.css") if large else ("handout.css",)
    text = "".join((TEMPLATES / name).read_text(encoding="utf-8") for name in names)
    sizes = {"size": size_pt, "back-size": back_pt or size_pt}
    for role, value in {**LIGHT, **{role: f"{math.floor(4 * size) / 4:g}pt" for role, size in sizes.items()}}.items():
        text = text.replace(f"var(--{role})", value)
    return text
