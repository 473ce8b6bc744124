"""Setting up and looking after a bucket: each figure beside its source, complete, plain, in the measures asked for."""

from __future__ import annotations

import math
import re

import pytest

from trialkit.domain.fill_line import AIR_GAP_CM, FULLEST, PAIL_HIGH_CM
from trialkit.domain.units import GALLON_L, Measures
from trialkit.pages.cross_section import FOOT, HARVEST, RIM, START, cross_section
from trialkit.pages.palette import LIGHT
from trialkit.words import care_words as care
from trialkit.words.care_words import BucketFacts, care_sections, dose_by_volume, drawing_labels
from trialkit.words.cautions import COMMON

IN_TRIAL = BucketFacts(16.0, 4, 18.9, 14, is_trial=True)


def text_of(bucket: BucketFacts, measures: Measures = "both") -> str:
    """Return the page's lines as one text."""
    return " ".join(line for section in care_sections(bucket, measures) for line in section.lines)


def test_figures_are_those_of_their_sources() -> None:
    """As published: see each."""
    assert care.WET_CUP_CM == 3.0  # Kratky 2009, Acta Hort. 843: the lower 3 cm of the pot wet
    assert care.SEEDLING_WEEKS == (2, 3)  # Kratky 2010, CTAHR VC-1: 1-3-week seedlings; true leaves from the second on
    # Harrington & Minges 1954: normal seedlings 99 of 100 at 77 F, 12 at 86 F
    assert {round(c * 9 / 5 + 32): many for c, many in care.NORMAL_SEEDLINGS.items()} == {77: 99, 86: 12}
    # Brechner & Both, Cornell (from memory): root zone at most 25 C; a head of 150 g, 5 oz
    assert (care.ROOTS_AT_MOST_C, care.READY_HEAD_G, care.READY_HEAD_OZ) == (25.0, 150, 5)
    assert pytest.approx(care.READY_HEAD_G, abs=10) == 28.3495 * care.READY_HEAD_OZ
    assert care.BOLTS_FROM_C == 24.0  # home-garden pages only
    assert round(care.REFRIGERATOR_C * 9 / 5 + 32) == 40  # US FDA (from memory): 40 F
    assert any("no primary source" in one for one in care.SOURCES)
    assert COMMON in care.SOURCES[-1]


def test_what_a_pail_of_five_gallons_holds_below_the_gap() -> None:
    """A pail of 18.9 L, 37 cm high inside and taken as straight: 15.1 to 16.4 L stand 7.5 to 5 cm below its brim.

    16 to 17.6 L stand 3 to 2 inches below the brim of one that holds 20.8 L: 28.3 cm wide inside.
    """
    brim = 5 * GALLON_L
    low, most = (brim * (1 - gap / PAIL_HIGH_CM) for gap in reversed(AIR_GAP_CM))
    assert (low, most) == pytest.approx((15.1, 16.4), abs=0.05)
    assert most == pytest.approx(FULLEST * brim)
    wide_cm2 = math.pi * (28.3 / 2) ** 2
    assert [20.8 - wide_cm2 * inches * 2.54 / 1000 for inches in (3, 2)] == pytest.approx([16.0, 17.6], abs=0.05)
    assert BucketFacts(16.0, 4).holds_l == 19  # at least so much is asked for where nobody said what it holds
    for litres in (4.0, 16.0, 20.0):  # what is asked for leaves the gap, so that the check does not warn of it
        assert litres <= FULLEST * BucketFacts(litres, 4).holds_l
    assert BucketFacts(16.0, 4, brim).holds_l == brim


@pytest.mark.parametrize(
    "said",
    [
        "food-grade bucket with a tight lid that holds 18.9 L (5 US gal) to the brim",
        "Light grows green algae",
        "Drill 4 holes in the lid, about 6 inches (15 cm) from middle to middle",
        "Pour in 16 L (4.2 US gal) once",
        "Draw a line where the water ends",
        "Full, it weighs about 37 lb (17 kg)",
        "air gap of 2 to 3 inches (5 to 7.5 cm)",
        "the bottom 1¼ inches (3 cm) of each cup must be wet",
        "plants about 14 days old",
        "At 77 °F (25 °C), 99 seeds of 100 grow well. At 86 °F (30 °C), only 12 do.",
        "Never fill up to the cups again",
        "less than a third is left",
        "For each new crop, fill to that line.",
        "Add plain water, and nothing else, up to half the height of the line at most. Do so in all buckets alike.",
        "Write down the day and how much",
        "From about 75 °F (24 °C) up, lettuce may bolt",
        "A head is ready when",
        "Rinse the leaves under running water",
        "refrigerator, at 40 °F (4 °C) or less",
        "bleach, thinned as its label says",
        "Never let bleach meet acid or vinegar",
        "Pour used water where local rules let you",
    ],
)
def test_the_page_says_it(said: str) -> None:
    """Bucket, light, holes, fill line, gap, cup, seedlings, topping up, heat, ready, washing, cleaning, disposal."""
    assert said in text_of(IN_TRIAL)


def test_gardeners_write_nothing_down_and_more_cups_stand_as_the_lid_lets_them() -> None:
    """A handout is of no trial; six cups do not stand six inches apart in one lid; one cup has no neighbour."""
    assert "Write down" not in text_of(BucketFacts(16.0, 4))
    assert "Add plain water, or plant food at half strength, up to half" in text_of(BucketFacts(16.0, 4))
    assert "half strength" not in text_of(IN_TRIAL)  # a trial's buckets are topped up by one rule
    assert "2 to 3 weeks old, with two to four true leaves" in text_of(BucketFacts(16.0, 4))
    assert "as far apart as the lid lets you" in text_of(BucketFacts(16.0, 6))
    assert "Drill 1 hole in the lid. Each" in text_of(BucketFacts(16.0, 1))


def test_it_reads_at_grade_six() -> None:
    """Flesch and Kincaid's grade and the automated index are six at most, by readability."""
    readability = pytest.importorskip("readability")
    sentences = re.split(r"(?<=[.?!])\s+", text_of(IN_TRIAL, "metric"))
    text = "\n".join(" ".join(re.findall(r"[A-Za-z']+", sentence)) + " ." for sentence in sentences)
    grades = readability.getmeasures(text, lang="en")["readability grades"]
    assert max(grades["Kincaid"], grades["ARI"], grades["Coleman-Liau"]) <= 6.0


def test_the_drawing_names_every_part() -> None:
    """Lid, bucket, cup, gap, both water lines and roots; water sinks; in words for who does not see it."""
    labels = drawing_labels(IN_TRIAL, "kitchen")
    drawn = cross_section(labels)
    for part in ("tight lid", "bucket that", "net cup,", "air gap at", "2 to 3 inches", "fill line:", "4.2 US gal",
                 "water at", "harvest", "roots in water", "later, roots"):  # fmt: skip
        assert f">{part}</text>" in drawn, part
    assert "#" not in drawn  # colours follow the page
    assert LIGHT["teal"] in cross_section(labels, LIGHT)
    assert RIM < START < HARVEST < FOOT
    assert 'role="img"><title>A bucket cut open.' in drawn
    assert "cm" not in drawn


def test_doses_by_volume_by_hand() -> None:
    """8 tsp of 5 g in 20 L: 2 g a litre; 8 x 3.785 / 20 = 1.5 teaspoons a gallon."""
    assert dose_by_volume(8.0, 20.0, 5.0) == "1.5 level teaspoons a US gallon, or 2 g a litre"
    assert dose_by_volume(8.0, 20.0, 5.0, "kitchen") == "1.5 level teaspoons a US gallon"
    assert dose_by_volume(8.0, 20.0, 5.0, "metric") == "2 g a litre"
