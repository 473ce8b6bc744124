"""The page of a check that a garden gets, on paper and on a phone: read at once, answered by hand."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from chromium import Window, complaints_in
from honest_records import Records, write_records
from printed import MARGIN_PT, PIXELS_PER_POINT, broken_words, ink, split_words
from trialkit.report.check_page import check_html
from trialkit.rules.trial_folder import check_trial

pdfium = pytest.importorskip("pypdfium2", exc_type=ImportError)

SENT_BACK = {
    "en": ("Send back to", "county horticulture adviser"),
    "es": ("Devolver a", "asesor de horticultura del condado"),
}
HOW_MUCH = {"en": "We have 10 questions about 7 buckets", "es": "Tenemos 10 preguntas sobre 7 baldes"}


def spoil(records: Records) -> None:
    """Slips of several kinds, of which some wait for an answer."""
    records.heads.loc[3, "weight_g"] = 1600.0
    records.heads.loc[7, ["outcome", "weight_g"]] = ["not_ready", 80.0]
    records.heads = records.heads.drop(index=20).astype({"outcome": object})
    records.heads.loc[40, "outcome"] = "harvestet"
    records.heads.loc[44, "harvested_on"] = records.heads.loc[44, "transplanted_on"] - pd.Timedelta(days=3)
    records.solution.loc[2, "ph_after"] = records.solution.loc[2, "ph_before"] + 1
    records.mix(3, volume_l=60.0)


@pytest.fixture(scope="module", params=["en", "es"])
def language(request: pytest.FixtureRequest) -> str:
    """Language of the garden where the slips are."""
    return str(request.param)


@pytest.fixture(scope="module")
def asked(tmp_path_factory: pytest.TempPathFactory, language: str) -> Path:
    """The page of that garden."""
    folder = tmp_path_factory.mktemp("asked")
    write_records(folder, spoil)
    protocol = folder / "trial.toml"
    protocol.write_text(protocol.read_text("utf-8").replace("[trial]", f'[trial]\nlanguage = "{language}"', 1), "utf-8")
    result = check_trial(folder)
    path = folder / "check-FERN.html"
    path.write_text(check_html(result, result.title, "FERN"), "utf-8")
    return path


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_it_prints_whole_and_says_where_it_goes(window: Window, asked: Path, language: str, paper: str) -> None:
    """Two sheets for eleven questions; nothing in the margins but whose it is, and no broken word."""
    sent_back, contact = SENT_BACK[language]
    sheets = list(pdfium.PdfDocument(window.show(asked).pdf(format=paper)))
    printed = [sheet.get_textpage().get_text_range() for sheet in sheets]
    assert len(sheets) <= 2
    for number, text in enumerate(printed, 1):
        assert "Fernsedge School" in text
        assert "Which dose?" in text
        assert f"{sent_back}: {contact}" in text
        assert f"{number} / {len(sheets)}" in text
    assert broken_words(window.page, [text.replace(sent_back, " ") for text in printed]) == set()
    for sheet in sheets:
        marks, side = ink(sheet), int(MARGIN_PT * PIXELS_PER_POINT)
        assert not marks[:, :side].any()
        assert not marks[:, -side:].any()


def test_the_first_screen_of_a_phone_says_how_much_there_is(window: Window, asked: Path, language: str) -> None:
    """The number of questions, and to whom the answers go; every question whole, and accessible."""
    page = window.show(asked, width=390, height=844)
    told = page.locator(".sentence")
    assert HOW_MUCH[language] in told.inner_text()
    assert told.bounding_box()["y"] + told.bounding_box()["height"] < 844
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert page.locator(".answer .line").count() == 10
    assert split_words(page) == []
    assert complaints_in(page, [("print", 390), ("dark", 320)]) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= 320
    assert split_words(page) == []
