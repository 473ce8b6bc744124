"""The finished reports that the documentation shows are what the bundled trials give."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from PIL import Image

from published import answer_of, differences, published_pages
from trialkit.analysis import Results

ROOT = Path(__file__).parents[2]
REPORTS = ROOT / "reports"
LINK = re.compile(r"\]\(([^)#]+)(?:#([\w-]+))?\)")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory, example_results: Callable[[str], Results]) -> dict[str, str]:
    """Every page, made anew."""
    return published_pages(tmp_path_factory.mktemp("published"), example_results)


def test_published_pages_are_current(made: dict[str, str]) -> None:
    """Python tests/support/published.py reports writes them anew."""
    kept = {path.name: path.read_text("utf-8") for path in REPORTS.glob("*.html")}
    assert set(kept) == set(made)
    assert {name: differences(made[name], kept[name])[:4] for name in made if differences(made[name], kept[name])} == {}


def test_a_page_that_is_out_of_date_is_found_out(made: dict[str, str]) -> None:
    """Another word, another mean; a library's version and the last figure of a number are let pass."""
    page = made["handout.html"]
    assert differences(page, page) == []
    assert differences(page.replace("Fenleaf", "Paleheart", 1), page)
    report = made["autumn_dose.html"]
    mean = re.search(r": (\d+)\u00a0g per transplanted head", report)
    assert mean is not None
    other = f": {int(mean[1]) + 2}\u00a0g per transplanted head"
    assert differences(report.replace(mean[0], other, 1), report)
    assert differences(re.sub(r"(<dt><bdi>numpy</bdi></dt><dd><bdi>)[^<]+", r"\g<1>9.9", report), report) == []


def test_the_picture_shows_the_answer() -> None:
    """The picture in the README keeps the sentence of the page that it was taken of."""
    with Image.open(REPORTS / "autumn_dose.png") as picture:
        kept = picture.info["Description"]
    assert kept == answer_of((REPORTS / "autumn_dose.html").read_text("utf-8"))


@pytest.mark.parametrize(
    "page", [*(p.name for p in ROOT.glob("*.md")), *(f"reports/{p.name}" for p in REPORTS.glob("*.md"))]
)
def test_links_lead_somewhere(page: str) -> None:
    """Every file that a page of the documentation links to is there, and so is the heading."""
    path = ROOT / page
    for target, heading in LINK.findall(path.read_text("utf-8")):
        if target.startswith(("http:", "https:")):
            continue
        found = (path.parent / target).resolve()
        assert found.exists(), (page, target)
        if heading:
            titles = re.findall(r"^#+ (.+)$", found.read_text("utf-8"), re.MULTILINE)
            assert heading in {title.lower().replace(" ", "-") for title in titles}, (page, target, heading)
