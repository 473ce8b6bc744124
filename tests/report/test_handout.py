"""The handout with its county's block: on paper as a printing library sets it, tagged, in large print, hostile."""

from __future__ import annotations

import base64
import html
import re
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from chromium import Window, complaints
from once import value_once
from printed import ink, type_sizes_pt
from sample_results import HOSTILE
from small_recommended import NEW, bare_recommended, small_recommended, wordy_recommended
from trialkit.pages.palette import LIGHT
from trialkit.pages.spoons import MOST_SPOONS_DRAWN, spoons_drawing
from trialkit.protocol.county import County, CountyBlock
from trialkit.report.care_page import care_html
from trialkit.report.handout import handout_html
from trialkit.report.handout_pdf import handout_pdf

WORD = re.compile(r"[^\W\d_]+(?:['\u2019-][^\W\d_]+)*")
MARGIN_PT = 20.0
BODY_PT = {"a4": (26.0, 816.0), "letter": (26.0, 766.0)}
"""Top and bottom of what the margins leave."""


def logo() -> bytes:
    """Return a small picture."""
    stream = BytesIO()
    Image.new("RGB", (60, 40), "#1c6b3a").save(stream, "PNG")
    return stream.getvalue()


COUNTY = County(
    name="Larkmoor County",
    programme="Garden Advice",
    contact="the horticulture desk, 12 Mill Lane, grow@larkmoor.example",
    sowing="Sow in the middle of March, or late in August.",
)
BLOCK = CountyBlock(Path("county.toml"), COUNTY, logo())


PAGES: dict[str, Callable[[], str]] = {
    "usual": lambda: handout_html(small_recommended(), BLOCK),
    "wordy": lambda: handout_html(wordy_recommended(), BLOCK),
    "bare": lambda: handout_html(bare_recommended()),
    "large": lambda: handout_html(small_recommended(), BLOCK, large=True),
    "usual in Spanish": lambda: handout_html(small_recommended(), BLOCK, "es"),
    "wordy in Spanish": lambda: handout_html(wordy_recommended(), BLOCK, "es"),
    "bare in Spanish": lambda: handout_html(bare_recommended(), BLOCK, "es"),
    "wordy, metric": lambda: handout_html(replace(wordy_recommended(), measures="metric"), BLOCK),
    "care": lambda: care_html(small_recommended(), BLOCK),
    "care in Spanish": lambda: care_html(small_recommended(), BLOCK, "es"),
}
ONE_SIDE = [("bare", "letter"), ("bare in Spanish", "a4"), ("care", "letter"), ("care in Spanish", "letter")]
BOTH_SIDES = [
    ("usual", "a4"),
    ("usual", "letter"),
    ("wordy", "letter"),
    ("usual in Spanish", "letter"),
    ("wordy in Spanish", "a4"),
    ("wordy in Spanish", "letter"),
    ("wordy, metric", "letter"),
]
SHEETS = [*ONE_SIDE, *BOTH_SIDES, ("large", "letter")]


@pytest.fixture(scope="session")
def printed(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str, str], bytes]:
    """A page as PDF on a size of paper, each made once."""
    pytest.importorskip("weasyprint", exc_type=ImportError)
    return cache(
        lambda name, paper: value_once(
            tmp_path_factory, f"handout-{name}-{paper}", lambda: handout_pdf(PAGES[name](), paper)
        )
    )


def opened(data: bytes) -> Any:
    """Open a PDF."""
    return pytest.importorskip("pypdfium2", exc_type=ImportError).PdfDocument(data)


def text_of(page: str) -> str:
    """Return what a page says, drawings included, without titles that are not shown."""
    plain = re.sub(r"<(style|title)\b.*?</\1>", " ", page, flags=re.DOTALL)
    return " ".join(html.unescape(re.sub(r"<[^>]*>", " ", plain)).split())


@pytest.mark.parametrize(("name", "paper"), SHEETS)
def test_nothing_overlaps_or_is_cut_off_and_no_word_is_broken(
    printed: Callable[[str, str], bytes], name: str, paper: str
) -> None:
    """Margins are clean, no text lies on another, and what is read on paper are words of the page."""
    known = set(WORD.findall(text_of(PAGES[name]()).lower()))
    known |= {part for word in known for part in re.split("[-\u2019']", word)}
    for sheet in opened(printed(name, paper)):
        marks = ink(sheet)
        side = int(MARGIN_PT)
        assert not marks[:side].any()
        assert not marks[-side:].any()
        assert not marks[:, :side].any()
        assert not marks[:, -side:].any()
        texts = sheet.get_textpage()
        left, low, right, high = np.array([texts.get_rect(place) for place in range(texts.count_rects())]).T
        across = np.minimum.outer(right, right) - np.maximum.outer(left, left)
        down = np.minimum.outer(high, high) - np.maximum.outer(low, low)
        assert not np.triu((across >= 1) & (down >= 1.5), 1).any()
        assert set(WORD.findall(texts.get_text_range().lower())) - known == set()


@pytest.mark.parametrize(("name", "paper"), SHEETS[:-1])
def test_one_sheet_of_paper_that_is_filled(printed: Callable[[str, str], bytes], name: str, paper: str) -> None:
    """However much or little there is to say: last marks lie in the lowest eighth, and no gap is a seventh high."""
    document = opened(printed(name, paper))
    assert len(document) == (1 if (name, paper) in ONE_SIDE else 2)
    top, bottom = BODY_PT[paper]
    for side in document:
        rows = np.flatnonzero(ink(side).any(axis=1))
        assert rows.max() > bottom - (bottom - top) / 8
        assert np.diff(rows).max() < (bottom - top) / 7


@pytest.mark.parametrize(("name", "paper"), SHEETS)
def test_type_that_is_read_on_a_wall(printed: Callable[[str, str], bytes], name: str, paper: str) -> None:
    """Ten points and more of a usual handout; no letter under nine, be it in a drawing."""
    found = [size for side in opened(printed(name, paper)) for size in type_sizes_pt(side)]
    assert min(found) >= 9.0
    (body,) = re.findall(r"font-size:([0-9.]+)pt;line-height:1\.2", PAGES[name]())
    assert float(body) >= (18.0 if name == "large" else 9.0 if name.startswith("wordy") else 10.0)
    assert any(abs(size - float(body)) < 0.01 for size in found)


@pytest.mark.parametrize(("name", "paper"), BOTH_SIDES)
def test_what_to_do_stands_on_the_front(printed: Callable[[str, str], bytes], name: str, paper: str) -> None:
    """All steps, the table of acid and whom to ask; also what to take care of where there is room; the rest behind."""
    front, back = (" ".join(side.get_textpage().get_text_range().split()) for side in opened(printed(name, paper)))
    do, ask, care, expect, over = {
        True: ("Qué hacer", "¿Preguntas?", "Tenga cuidado", "Qué esperar", "dé vuelta a la hoja"),
        False: ("What to do", "Questions?", "Take care", "What to expect", "Turn over"),
    }["Spanish" in name]
    for said in (do, ask, over, "mg/L"):
        assert said.lower() in front.lower()
    assert (care in front) == (care not in back) == (name == "usual")
    assert expect in back
    assert do not in back


def test_a_browser_fills_the_sheet_too(window: Window, tmp_path: Path) -> None:
    """The same page, printed on either paper."""
    (tmp_path / "handout.html").write_text(PAGES["usual"](), "utf-8")
    page = window.show(tmp_path / "handout.html")
    for paper, (top, bottom) in zip(("A4", "Letter"), BODY_PT.values(), strict=True):
        sides = opened(page.pdf(format=paper))
        assert len(sides) == 2
        for side in sides:
            assert np.flatnonzero(ink(side).any(axis=1)).max() > bottom - (bottom - top) / 8


def test_large_print(printed: Callable[[str, str], bytes], window: Window, tmp_path: Path) -> None:
    """All but the drawing's letters and page numbers is of 18 points, on two to four sheets; axe has no complaint."""
    document = opened(printed("large", "letter"))
    assert 2 <= len(document) <= 4
    page = PAGES["large"]()
    assert "font-size:18pt" in page
    assert "(large print)</title>" in page
    small, large = (text_of(PAGES[name]()) for name in ("usual", "large"))
    for said in ("Don't know your", "Questions?", "6¾ teaspoons", "Take care", "Sow in the middle of March"):
        assert said in small
        assert said in large
    (tmp_path / "large.html").write_text(page, "utf-8")
    shown = window.show(tmp_path / "large.html", width=320)
    assert shown.evaluate("document.documentElement.scrollWidth") <= 320
    assert complaints(shown) == []


def test_the_countys_block() -> None:
    """County, programme, date, contact, sowing time and logo; on the care sheet its name; without it as ever."""
    page, care = handout_html(small_recommended(), BLOCK), care_html(small_recommended(), BLOCK)
    text = text_of(page)
    assert "Larkmoor County · Garden Advice · 1 September 2027" in text
    assert f"Questions? Ask {COUNTY.contact}" in text
    assert COUNTY.sowing in text
    assert f'src="data:image/png;base64,{base64.b64encode(logo()).decode()}" alt="Larkmoor County"' in page
    assert "Larkmoor County · Garden Advice" in text_of(care)
    without = handout_html(small_recommended())
    assert "For the home garden · 1 September 2027" in text_of(without)
    cool = "Grow in a cool time of year. From about 75 °F (24 °C) up, lettuce may bolt and turn bitter."
    assert cool in text_of(without).replace("\u00a0", " ")
    assert "<img" not in without
    assert "Questions?" not in without


def test_a_hostile_county_is_text(window: Window, tmp_path: Path) -> None:
    """What an attacker writes under each key is shown as it was typed, and nothing runs."""
    for number, attack in enumerate(HOSTILE):
        typed = re.sub(r"[\x00-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff]", "", attack)
        county = County(name=(typed[:59] or "x").strip() or "x", programme=typed[:80], contact=typed[:160])
        (tmp_path / f"{number}.html").write_text(
            handout_html(small_recommended(), replace(BLOCK, county=county)), "utf-8"
        )
        page = window.show(tmp_path / f"{number}.html", width=320)
        assert (window.said, window.elsewhere()) == ([], [])
        assert page.locator("script, iframe, object, [onload], [onerror], img:not(.mark)").count() == 0
        assert page.evaluate("document.documentElement.scrollWidth") <= 320


@pytest.mark.parametrize(
    ("dose", "full", "part"), [(8.0, 8, 0), (6.5, 6, 1), (0.25, 0, 1), (12.0, 12, 0), (12.25, 0, 0), (0.0, 0, 0)]
)
def test_spoons_are_drawn_as_many_as_they_are(dose: float, full: int, part: int) -> None:
    """Six and a half as six full bowls and one that is half full; what cannot be counted at a glance is not drawn."""
    drawn = spoons_drawing(dose, "so many", LIGHT)
    assert drawn.count('<ellipse fill="#') == full
    assert drawn.count("<path") == part
    assert drawn.count("<rect") == full + part
    assert (drawn == "") == (dose > MOST_SPOONS_DRAWN or dose == 0)


def test_half_a_spoon_is_half_a_bowl() -> None:
    """The level goes through the middle of the bowl, from its top to its bottom."""
    assert "M9.0 0.5A8 10.5 0 0 0 9.0 21.5z" in spoons_drawing(0.5, "half", LIGHT)
    half = replace(
        small_recommended(), recommended=replace(small_recommended().recommended, treatment=replace(NEW, dose_tsp=6.5))
    )
    assert "<title>6½ level teaspoons of Blend L 9-12-30 (32.5 g)</title>" in handout_html(half).replace("\u00a0", " ")


def test_the_evidence_is_of_this_choice_first() -> None:
    """Buckets and gardens of just this choice, then of all trials, as the decision counts them."""
    page = text_of(handout_html(small_recommended()))
    decision = small_recommended().decision
    mine, everything = decision.chosen.stood, decision.evidence
    assert f"We grew just this in {mine.buckets} buckets in {mine.gardens} gardens and {mine.trials} trials." in page
    assert f"In all we filled {everything.buckets} buckets in {everything.gardens} gardens" in page
