"""The page of pooled evidence and the gardeners' handout, without a browser."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from small_recommended import small_recommended
from trialkit.domain.treatment import Treatment
from trialkit.report.evidence_page import evidence_html
from trialkit.report.handout import handout_html
from trialkit.report.handout_pdf import PAPERS, handout_pdf
from trialkit.words.handout_words import kitchen_measure

GRADE = 6.0


class Sentences(HTMLParser):
    """The texts of a page, block by block."""

    def __init__(self) -> None:
        super().__init__()
        self.blocks: list[str] = [""]
        self.skipped = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:  # noqa: ARG002
        """Begin a block, or something that is not read."""
        self.skipped += tag in {"style", "svg", "title"}
        if tag in {"p", "li", "h1", "h2", "tr"}:
            self.blocks.append("")

    def handle_endtag(self, tag: str) -> None:
        """Read again."""
        self.skipped -= tag in {"style", "svg", "title"}

    def handle_data(self, data: str) -> None:
        """Add to the block."""
        if not self.skipped:
            self.blocks[-1] += data


def words_of(page: str) -> list[str]:
    """Sentences that a gardener reads: blocks of three words or more, without names of products and figures."""
    parser = Sentences()
    parser.feed(page)
    blocks = [" ".join(block.split()) for block in parser.blocks]
    sentences = [part for block in blocks for part in re.split(r"(?<=[.?!])\s+", block)]
    return [sentence for sentence in sentences if len(sentence.split()) >= 3 and not sentence.startswith("Version")]


def test_the_handout_reads_at_grade_six() -> None:
    """Flesch and Kincaid's grade, the automated index and Coleman and Liau's are six at most, by readability."""
    readability = pytest.importorskip("readability")
    sentences = [re.sub(r"[^\w\s'.]", " ", sentence) for sentence in words_of(handout_html(small_recommended()))]
    assert len(sentences) > 20
    text = "\n".join(" ".join(re.findall(r"[A-Za-z']+", sentence)) + " ." for sentence in sentences)
    grades = readability.getmeasures(text, lang="en")["readability grades"]
    assert max(grades["Kincaid"], grades["ARI"], grades["Coleman-Liau"]) <= GRADE


def test_the_handout_says_what_to_do() -> None:
    """Cultivar, level spoons, acid by water in kitchen measures, days, weight, evidence, cautions, date and version."""
    page = handout_html(small_recommended())
    text = " ".join(words_of(page))
    for said in (
        "Fenleaf",
        "8 level teaspoons of Blend L 9-12-30",
        "2 tablespoons and ¾ teaspoon",
        "about 39 days",
        "165 g (6 oz)",
        "140 to 190 g",
        "3 trials with 288 buckets in 12 gardens, autumn 2026 to summer 2027",
        "97 in 100",
        "not a promise",
        "Never pour water into acid",
    ):
        assert said in text, said
    assert "Version 2, 1 September 2027" in " ".join(page.split())
    assert page.count('<ellipse fill="none"') == 8  # spoons


def test_water_that_nobody_tried_is_marked() -> None:
    """A class of water without a garden has a star, and what the star means is said."""
    page = handout_html(small_recommended())
    assert page.count('<span aria-hidden="true"> *</span>') == 1
    assert "No garden of our trials had such water yet" in page


def test_a_default_without_acid_or_dose() -> None:
    """What was not tried is not spoken of, and an unchanged default does not claim to beat itself."""
    usual = small_recommended()
    best = replace(usual.recommended, treatment=Treatment("Fenleaf", None, "none"))
    document = replace(usual, recommended=best, current=best, acid=(), days=None)
    page = handout_html(document)
    assert "Our trials did not test acid." in page  # every bucket had the same
    assert "No acid" not in page
    assert "teaspoon" not in page
    without_acid = replace(document.compared[0], treatment=Treatment("Larkmoor Butter", 6.0, "none"))
    compared = (without_acid, *document.compared[1:])
    assert "Our trials did best with no acid added." in handout_html(replace(document, compared=compared))
    assert "Nothing that we tried was surely better" in page


@pytest.mark.parametrize("paper", PAPERS)
def test_the_pdf_is_one_sheet(paper: str) -> None:
    """On A4 and Letter one page, the same bytes again, and nothing is fetched."""
    weasyprint = pytest.importorskip("weasyprint", exc_type=ImportError)
    page = handout_html(small_recommended())
    sheet = weasyprint.CSS(string=f"@page {{ size: {PAPERS[paper]} }}")
    assert len(weasyprint.HTML(string=page).render(stylesheets=[sheet]).pages) == 1
    made = handout_pdf(page, paper)
    assert made.startswith(b"%PDF")
    assert handout_pdf(page, paper) == made


def test_the_evidence_page_holds_its_tables() -> None:
    """Every treatment, every trial with its digest, what is not compared, and what comes next."""
    page = evidence_html(small_recommended())
    for said in (
        "Every treatment beside the current practice",
        "0ba40f9d3f61f",
        "cannot be compared with Larkmoor Butter",
        "23 gardens with 3 blocks",
        "borrowed",
        "Without each trial",
        "2 of 3",
        "New evidence",
    ):
        assert said in page, said  # fmt: skip
    assert page == evidence_html(small_recommended())


def test_without_a_gain_the_evidence_page_says_so() -> None:
    """Where no trial set an alternative beside the practice there is no picture, and the page says why."""
    page = evidence_html(replace(small_recommended(), trial_gains=None, classes=None, alternative=None))
    assert "<figure" not in page
    assert "so there is nothing to draw" in page


@pytest.mark.parametrize(
    ("teaspoons", "said"),
    [
        (0.25, "¼ teaspoon"),
        (1, "1 teaspoon"),
        (5.75, "5¾ teaspoons"),
        (6, "2 tablespoons"),
        (7, "2 tablespoons and 1 teaspoon"),
    ],
)
def test_kitchen_measures(teaspoons: float, said: str) -> None:
    """Tablespoons of three teaspoons from two up, quarters as a cook writes them (US customary units)."""
    assert kitchen_measure(teaspoons) == said
