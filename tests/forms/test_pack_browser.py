"""The printed pack in real Chromium: whole on A4 and Letter, readable on a phone, accessible, alone."""

from dataclasses import replace
from pathlib import Path

import pytest

from chromium import Window, complaints_in
from laid_out_trial import laid_out
from printed import split_words
from trialkit.forms.pack import adviser_pack, garden_pack
from trialkit.tables.bucket_ids import MODULUS, garden_bucket_ids

PAPER_PX = {"A4": (794, 1123), "Letter": (816, 1056)}  # at 96 pixels an inch
MARGINS_PX = (2 * 14 * 96 / 25.4, 2 * 12 * 96 / 25.4)  # of the style sheet's @page, both sides
RUNS_OVER = """() => [...document.querySelectorAll(".record th,.record td,.bucket-card,.bench-line li,.days td")]
  .filter(e => e.scrollWidth > e.clientWidth + 1).map(e => e.textContent)"""
UNBROKEN = ".bucket-card,.mixing,.record tr,.bench-line,.cautions li"


@pytest.fixture(scope="module", params=["garden", "adviser", "hostile", "spanish", "own lots", "own lots in Spanish"])
def pack(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A garden's pack, the adviser's pages, a pack whose names a stranger wrote, one in Spanish, and long labels."""
    names = {"site_name": "<img src=x onerror=alert(1)>", "title": "</style><script>alert(1)</script>"}
    folder = tmp_path_factory.mktemp("pack")
    trial = laid_out(folder / "trial", **(names if request.param == "hostile" else {}))
    if request.param.startswith("own lots"):  # identities of nine characters, the longest that there are
        own = trial.layout["site"] == "FERN"
        trial.layout.loc[own, "bucket"] = garden_bucket_ids("FERN", MODULUS**2)[: own.sum()]
    if request.param.lower().endswith("spanish"):
        trial = replace(trial, sites=trial.sites.assign(language="es"))
    path = folder / "pack.html"
    path.write_text(adviser_pack(trial) if request.param == "adviser" else garden_pack(trial, "FERN"), "utf-8")
    return path


@pytest.mark.parametrize("paper", PAPER_PX)
def test_nothing_is_cut_on_paper(window: Window, pack: Path, paper: str) -> None:
    """At the paper's width nothing runs over; what must stay whole fits a page and may not be broken."""
    width, height = (size - margin for size, margin in zip(PAPER_PX[paper], MARGINS_PX, strict=True))
    page = window.show(pack, width=int(width), height=int(height))
    page.emulate_media(media="print")
    assert page.evaluate("document.documentElement.scrollWidth") <= int(width)
    found = page.evaluate(
        "s => [...document.querySelectorAll(s)]"
        ".map(e => [e.offsetHeight, getComputedStyle(e).breakInside, e.className])",
        UNBROKEN,
    )
    assert found
    assert page.evaluate(RUNS_OVER) == []
    assert [one for one in found if one[0] > height or one[1] != "avoid"] == []
    assert page.pdf(format=paper, prefer_css_page_size=False).startswith(b"%PDF")


def test_no_table_is_cut_on_a_screen(window: Window, pack: Path) -> None:
    """On a screen as wide as a laptop's every table is whole beside or under the others; none has to be scrolled."""
    page = window.show(pack, width=1280, height=900)
    frames = "[...document.querySelectorAll('.table-frame')].map(one => [one.clientWidth, one.scrollWidth])"
    assert [one for one in page.evaluate(frames) if one[1] > one[0]] == []


def test_axe_finds_nothing(window: Window, pack: Path) -> None:
    """In light, in the dark and on paper; at 360 pixels only tables run over, and scroll."""
    page = window.show(pack, width=360, height=740)
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    assert split_words(page) == []
    assert complaints_in(page, [("print", 360), ("dark", 360)]) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= 360


def test_quiet_and_alone(window: Window, pack: Path) -> None:
    """No console message, no dialog, no request beyond the file; hostile names are text."""
    window.show(pack)
    assert window.said == []
    assert window.elsewhere() == []
