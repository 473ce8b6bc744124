"""Published pages on paper, as a browser prints them: every sheet rasterised and read."""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from chromium import Window
from once import value_once
from printed import MARGIN_PT, PIXELS_PER_POINT, broken_words, ink

pdfium = pytest.importorskip("pypdfium2", exc_type=ImportError)
REPORTS = Path(__file__).parents[2] / "reports"
OF_TRIALS = ("autumn_dose", "spring_dose", "volunteer_cultivars")
PAGES = (*OF_TRIALS, "evidence", "handout", "handout-es", "care")
Sheets = Callable[..., list[Any]]


@pytest.fixture(params=["A4", "Letter"])
def paper(request: pytest.FixtureRequest) -> str:
    """Name of a size of paper."""
    return str(request.param)


@pytest.fixture(scope="session")
def sheets(window: Window, tmp_path_factory: pytest.TempPathFactory) -> Sheets:
    """Sheets of a published page by its name and paper, as a browser prints it, each printed once."""

    def made(name: str, paper: str, whole: bool) -> bytes:
        page = window.show(REPORTS / f"{name}.html")
        if whole:
            page.check("#whole-in-print")
        data: bytes = page.pdf(format=paper)
        return data

    @cache
    def kept(name: str, paper: str, whole: bool) -> bytes:
        return value_once(tmp_path_factory, f"print-{name}-{paper}-{whole}", lambda: made(name, paper, whole))

    return lambda name, paper, whole=False: list(pdfium.PdfDocument(kept(name, paper, whole)))


@pytest.mark.parametrize("name", OF_TRIALS)
def test_a_report_is_two_pages(sheets: Sheets, name: str, paper: str) -> None:
    """The answer and its doubts on the first, what was tried and where on the second; the rest on request."""
    first, second = (sheet.get_textpage().get_text_range() for sheet in sheets(name, paper))
    assert "How sure" in first
    assert "What could be wrong" in first
    assert "What was tried" in second
    assert "The gardens" in second
    assert "never water" in re.sub(r"\s+", " ", second) or "Never pour water" in re.sub(r"\s+", " ", second)
    assert ("1 / 2" in first, "2 / 2" in second) == (True, True)
    assert "For the statistician" not in first + second


@pytest.mark.parametrize("name", OF_TRIALS)
def test_the_whole_is_printed_on_request(sheets: Sheets, name: str) -> None:
    """With everything that is folded on the screen: tables, checks, methods."""
    printed = [sheet.get_textpage().get_text_range() for sheet in sheets(name, "A4", whole=True)]
    text = " ".join(printed)
    for said in (
        "For the statistician",
        "Every treatment that could be the default",
        "F tests",
        "Checks of the model",
        "SHA-256",
    ):
        assert said in text
    assert 5 <= len(printed) <= 20


@pytest.mark.parametrize("name", PAGES)
def test_nothing_is_cut_off_and_no_sheet_is_nearly_empty(sheets: Sheets, name: str, paper: str) -> None:
    """Margins are clean but for the number of the page, and marks reach a quarter down every sheet."""
    for sheet in sheets(name, paper):
        marks = ink(sheet)
        height, width = marks.shape
        side = int(MARGIN_PT * PIXELS_PER_POINT)
        assert not marks[:, :side].any()
        assert not marks[:, width - side :].any()
        assert not marks[:side].any()
        body = marks[: height - int(40 * PIXELS_PER_POINT)]
        assert np.flatnonzero(body.any(axis=1)).max() > height / 4


@pytest.mark.parametrize("name", PAGES)
def test_no_word_is_broken(sheets: Sheets, window: Window, name: str, paper: str) -> None:
    """What is read on paper are words of the page, or the parts of one that has a hyphen of its own."""
    printed = [sheet.get_textpage().get_text_range() for sheet in sheets(name, paper)]
    assert broken_words(window.show(REPORTS / f"{name}.html"), printed) == set()


@pytest.mark.parametrize("name", OF_TRIALS)
def test_headings_of_tables_repeat(sheets: Sheets, name: str) -> None:
    """A table that goes on over the page has its headings there again."""
    printed = [sheet.get_textpage().get_text_range() for sheet in sheets(name, "A4", whole=True)]
    with_rows = [text for text in printed if re.search(r"\b(V\d\d|[A-Z]{4}), white vinegar", text)]
    assert with_rows
    assert all("pH read" in re.sub(r"\s+", " ", text) for text in with_rows)
