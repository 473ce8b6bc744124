"""What gardeners get, in English and in Spanish: nothing left in the other, easily read, with every caution."""

from __future__ import annotations

import html
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from english_left import english_left, texts_of
from small_recommended import bare_recommended, small_recommended, wordy_recommended
from spanish_reading import QUITE_EASY, perspicuity
from trialkit.documents.recommended import Recommended
from trialkit.languages import LANGUAGES, speaking
from trialkit.protocol.county import County, CountyBlock
from trialkit.report.care_page import care_html
from trialkit.report.handout import handout_html
from trialkit.words.cautions import short_cautions

COUNTY = County(
    name="Larkmoor County",
    programme="Garden Advice",
    contact="the horticulture desk, 12 Mill Lane",
    sowing="Sow in the middle of March, or late in August.",
)
BLOCK = CountyBlock(Path("county.toml"), COUNTY, None)
DOCUMENTS: dict[str, Callable[[], Recommended]] = {
    "usual": small_recommended,
    "wordy": wordy_recommended,
    "bare": bare_recommended,
    "metric": lambda: replace(small_recommended(), measures="metric"),
    "kitchen": lambda: replace(small_recommended(), measures="kitchen"),
    "wordy, metric": lambda: replace(wordy_recommended(), measures="metric"),
}
NAMES = (
    "Fenleaf", "Larkmoor Butter", "white vinegar 5 %", "Blend L 9-12-30", "calcium nitrate 15.5-0-0",
    "magnesium sulfate 0-0-0", COUNTY.name, COUNTY.programme, COUNTY.contact,
)  # fmt: skip
MOST_WORDS = {"handout": 20, "care": 24}


@pytest.fixture(params=DOCUMENTS)
def document(request: pytest.FixtureRequest) -> Recommended:
    """Recommended defaults of which there is more or less to say."""
    return DOCUMENTS[request.param]()


def pages(document: Recommended, language: str) -> dict[str, str]:
    """What gardeners get."""
    return {
        "handout": handout_html(document, BLOCK, language),
        "large": handout_html(document, BLOCK, language, large=True),
        "care": care_html(document, BLOCK, language),
    }


def sentences(page: str) -> list[str]:
    """Sentences of a page, each block of it by itself; names count as one word."""
    without = re.sub(r"<style.*?</style>", "", page, flags=re.DOTALL)
    blocks = re.split(r"</?(?:p|li|h\d|th|td|tr|div|section|text)\b[^>]*>", without)
    texts = [" ".join(html.unescape(re.sub(r"<[^>]*>", "", block)).split()) for block in blocks]
    for name in NAMES:
        texts = [text.replace(name, "Name") for text in texts]
    return [part for text in texts for part in re.split(r"(?<=[.?!:])\s+", text) if part]


def test_no_english_is_left(document: Recommended) -> None:
    """Nor an attribute that is read aloud; the page says its language, and that nobody checked the translation."""
    for kind, page in pages(document, "es").items():
        assert english_left(page, NAMES) == [], kind
        assert '<html lang="es-US">' in page
        assert page.count("Ningún asesor de habla hispana la ha revisado todavía.") == 1
        assert "{" not in "".join(texts_of(page))
    assert all('<html lang="en">' in page and "translation" not in page for page in pages(document, "en").values())


def test_spanish_reads_easily(document: Recommended) -> None:
    """Handout and care sheet are quite easy on the INFLESZ scale; sentences are as short as the English ones may be."""
    for kind, page in pages(document, "es").items():
        if kind != "large":
            told = [one for one in sentences(page) if len(one.split()) >= 3 and ";" not in one]
            assert perspicuity(told) >= QUITE_EASY
            assert [one for one in told if len(one.split()) > 24] == []


def test_english_sentences_are_short(document: Recommended) -> None:
    """At most twenty words on the handout, twenty-four on the care sheet; where figures come from is a list."""
    for kind, most in MOST_WORDS.items():
        told = [one for one in sentences(pages(document, "en")[kind]) if ";" not in one]
        assert len(told) > 20
        assert [one for one in told if len(one.split()) > most] == []


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_caution_is_said_in_every_language(document: Recommended, language: str) -> None:
    """On the handout and in large print, in the few plain words for gardeners."""
    with speaking(language):
        wanted = short_cautions(document.recommended.volume_l, document.measures)
    assert len(set(wanted)) == 12
    for kind in ("handout", "large"):
        text = " ".join(html.unescape(re.sub(r"<[^>]*>", " ", pages(document, language)[kind])).split())
        for caution in wanted:
            assert caution in text


def test_the_language_is_the_countys_else_the_trials() -> None:
    """And the county's sentence about sowing is said in its own language alone."""
    english, spanish = small_recommended(), replace(small_recommended(), language="es")
    told = replace(BLOCK, county=COUNTY.model_copy(update={"language": "es"}))
    assert 'lang="en"' in handout_html(english, BLOCK)
    assert 'lang="es-US"' in handout_html(spanish, BLOCK)
    for page in (handout_html(english, told), care_html(english, told)):
        assert 'lang="es-US"' in page
    assert COUNTY.sowing in handout_html(english, told)
    assert COUNTY.sowing not in handout_html(english, told, "en")
    assert "Grow in a cool time of year." in handout_html(english, told, "en")
