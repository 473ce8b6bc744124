"""The page of pooled evidence and the gardeners' handout, without a browser."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from html.parser import HTMLParser
from typing import get_args

import pytest

from small_recommended import OLD, small_recommended, wordy_recommended
from trialkit.documents.decision import Verdict
from trialkit.documents.recommended import PracticePart, Recommended
from trialkit.domain.treatment import Treatment
from trialkit.domain.units import Measures
from trialkit.report.care_page import care_html
from trialkit.report.evidence_page import evidence_html
from trialkit.report.figures.evidence import evidence_pictures
from trialkit.report.handout import handout_html
from trialkit.report.handout_pdf import PAPERS, handout_pdf
from trialkit.words.care_words import wet_cups
from trialkit.words.measures import joined

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


@pytest.mark.parametrize("measures", get_args(Measures))
@pytest.mark.parametrize("made", [small_recommended, wordy_recommended])
def test_the_handout_reads_at_grade_six(made: Callable[[], Recommended], measures: Measures) -> None:
    """Flesch and Kincaid's grade, the automated index and Coleman and Liau's are six at most, by readability."""
    readability = pytest.importorskip("readability")
    page = handout_html(replace(made(), measures=measures))
    sentences = [re.sub(r"[^\w\s'.]", " ", sentence) for sentence in words_of(page)]
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
        "8 level teaspoons of Blend L 9-12-30 (40 g)",
        "Fill it to the line with 20 L (5.3 US gal) of tap water.",
        "use 1.5 level teaspoons a US gallon, or 2 g a litre",
        f"Set four plants in net cups: {wet_cups('both')}.",  # as on the care sheet
        "Keep untreated roof water off the leaves.",
        "6¾ teaspoons",
        "about 39 days",
        "(in your garden 34 to 44)",
        "165 g (6 oz)",
        "140 to 190 g (5 to 7 oz)",
        "We grew just this in 24 buckets in 4 gardens and 2 trials.",
        "In all we filled 288 buckets in 12 gardens and 3 trials, autumn 2026 to summer 2027.",
        "We expect about 27 g (1 oz) more from each plant than with our old advice.",
        "97 in 100",
        "not a promise",
        "Never pour water into acid",
    ):
        assert said in text, said
    assert re.search(r"Version 2 \([0-9a-f]{12}\), 1 September 2027\.", page)


def test_the_handout_of_a_feed_says_every_part_in_order() -> None:
    """Base, then calcium nitrate; level spoons with grams; nothing of calcium where there is enough of it."""
    usual = small_recommended()
    fed = {"N": 224.0, "Ca": 142.0, "Mg": 24.0}
    best = replace(usual.recommended, parts=(PracticePart("calcium nitrate", 3.0, 5.0),), elements_mg_l=fed)
    text = " ".join(words_of(handout_html(replace(usual, recommended=best))))
    said = "Stir in 8 level teaspoons of Blend L 9-12-30", "Then stir in 3 level teaspoons of calcium nitrate (15 g)."
    assert text.index(said[0]) < text.index(said[1]) < text.index("Keep this order. Never mix the powders in a cup.")
    assert (
        "in 20 L (5.3 US gal) of water with: 8 level teaspoons of Blend L 9-12-30 (40 g) 3 level teaspoons of" in text
    )
    assert "little calcium" not in text


def test_the_handout_of_a_feed_without_calcium_or_magnesium_says_what_may_follow() -> None:
    """Only where the label tells so."""
    usual = small_recommended()
    best = replace(usual.recommended, elements_mg_l={"N": 180.0, "P": 105.0, "K": 498.0, "Mg": 40.0})
    text = " ".join(words_of(handout_html(replace(usual, recommended=best))))
    assert "has little calcium. If your water has little too, leaves may turn brown at the edges." in text
    assert "has little magnesium" not in text
    assert "little calcium" not in handout_html(usual)
    neither = replace(best, elements_mg_l={"N": 180.0, "P": 105.0, "K": 498.0})
    text = " ".join(words_of(handout_html(replace(usual, recommended=neither))))
    assert "has little magnesium. If your water has little too, old leaves may turn yellow." in text


def test_water_that_nobody_tried_is_marked() -> None:
    """A class of water without a garden has a star, and what the star means is said."""
    page = handout_html(small_recommended())
    assert page.count('<span aria-hidden="true"> *</span>') == 1
    assert "No garden of our trials had such water yet" in page


def test_a_default_without_acid_or_dose() -> None:
    """What was not tried is not spoken of."""
    usual = small_recommended()
    best = replace(usual.recommended, treatment=Treatment("Fenleaf", None, "none"))
    document = replace(usual, recommended=best, current=best, acid=(), days=None)
    page = handout_html(document)
    assert "Our trials did not test acid." in page  # every bucket had the same
    assert "No acid" not in page
    assert "teaspoon" not in page
    decision = document.decision
    without_acid = replace(decision.candidates[0], treatment=Treatment("Larkmoor Butter", 6.0, "none"))
    compared = replace(decision, candidates=(without_acid, *decision.candidates[1:]))
    assert "Our trials did best with no acid added." in handout_html(replace(document, decision=compared))


def test_a_default_that_stays() -> None:
    """It claims no gain, and says where it is to be tested again."""
    usual = small_recommended()
    old, near, new = usual.decision.candidates
    kept = replace(
        usual.decision,
        verdict=Verdict.KEEP_AND_TEST,
        recommended=OLD,
        candidates=(replace(old, is_recommended=True), near, replace(new, is_recommended=False)),
    )
    page = handout_html(replace(usual, recommended=usual.current, decision=kept))
    assert "We grew just this in 48 buckets in 12 gardens and 3 trials." in page
    assert "Nothing that we tried was better by enough to change it." in page
    assert "We will test it again." in page
    assert "We expect" not in page


def test_a_dose_between_those_tried() -> None:
    """The two doses that it lies between are named with their buckets; a mix of parts never tried is said to be one."""
    document = wordy_recommended()
    said = (
        "We did not try just this dose. We tried 6 spoons in 24 buckets in 4 gardens and 2 trials. We tried 8 spoons "
        "in 24 buckets in 4 gardens and 2 trials."
    )
    assert said in handout_html(document)
    old, *_, between = document.decision.candidates
    alone = replace(document.decision, candidates=(old, between))
    assert "We did not try just this mix." in handout_html(replace(document, decision=alone))


def test_losses_are_said() -> None:
    """Where fewer than nine in ten plants become fit to eat, gardeners are told how many do."""
    usual = small_recommended()
    assert "Some plants fail" not in handout_html(usual)
    old, near, new = usual.decision.candidates
    losing = replace(usual.decision, candidates=(old, near, replace(new, share_usable=0.78)))
    assert "Some plants fail. About eight in 10 grow fit to eat." in handout_html(replace(usual, decision=losing))


@pytest.mark.parametrize("paper", PAPERS)
def test_the_pdf_is_one_sheet(paper: str) -> None:
    """On A4 and Letter one sheet of paper, however much there is to say, the same bytes again; nothing is fetched."""
    pytest.importorskip("weasyprint", exc_type=ImportError)
    pdfium = pytest.importorskip("pypdfium2", exc_type=ImportError)
    page, care = handout_html(wordy_recommended()), care_html(wordy_recommended())
    made = handout_pdf(page, paper)
    assert [len(pdfium.PdfDocument(one)) for one in (made, handout_pdf(care, paper))] == [2, 1]
    assert handout_pdf(page, paper) == made


def test_the_evidence_page_holds_its_tables() -> None:
    """Every treatment, every trial with its digest, the gain by garden, what changed, and what comes next."""
    page = evidence_html(small_recommended())
    for said in (
        "Every treatment that could be the default",
        "0ba40f9d3f61",
        "never both in one garden",
        "The gain trial by trial, as recorded",
        "The gain by what gardens are like",
        "high (not yet tried)",
        "This is the next trial worth most.",
        "How much things vary",
        "New evidence",
    ):
        assert said in page, said  # fmt: skip
    assert page == evidence_html(small_recommended())


def test_what_was_recorded_is_hollow_and_the_answer_filled() -> None:
    """The picture has the trials' own gains, and the one gain that every other place tells."""
    (trials, gardens) = evidence_pictures(small_recommended())
    assert trials.wide.count("as recorded") >= 2
    assert "we expect a gain of 27 g." in trials.alternative.both
    assert "trial-0, autumn 2026: +31 g (+16 to +47)" in trials.alternative.metric
    assert "trial-0, autumn 2026: +1.1 oz (+0.6 to +1.7)" in trials.alternative.kitchen
    assert "trial-2" not in trials.alternative.both
    assert [joined(row.cells[0]).both for row in trials.tables[0].rows] == ["+31", "+24", "never both in one garden"]
    assert [row.cells[1] for row in gardens.tables[0].rows] == ["yes", "not yet", "not yet", "yes"]
    bare = replace(small_recommended(), by_garden=())
    assert len(evidence_pictures(bare)) == 1


def test_a_long_ledger_shows_its_newest_trials() -> None:
    """More trials than can be read are counted, and the table has them all."""
    document = small_recommended()
    many = tuple(replace(document.evidence[0], id=f"{i}", trial=f"trial-{i}") for i in range(30))
    picture = evidence_pictures(replace(document, evidence=many))[0]
    assert "Shown are the newest 20 of 30 trials" in picture.reading.both
    assert "trial-9," not in picture.alternative.both
    assert "trial-29," in picture.alternative.both
    assert len(picture.tables[0].rows) == 30
