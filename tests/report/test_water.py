"""The part of the report about nutrient, acid and water."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from trialkit.documents.water import AcidReading, DoseStrength, PhClimb, RecordedWater, SiteWater
from trialkit.report.page import report_html

WATER = RecordedWater(
    product="Blend L 9-12-30",
    doses=(DoseStrength(4.0, 20.0, 90.0, {"P": 52.4, "K": 249.0}, 1.2),),
    sites=(
        SiteWater("FERN", 35.0, 38.0, 33.0, 42.0, 0.1, 48, False, None),
        SiteWater("HARB", 80.0, 243.0, 228.0, 600.0, 0.1, 9, True, None),
        SiteWater("MILL", None, None, None, None, None, 0, False, "few"),
    ),
    readings=(AcidReading("FERN", "none", 12, 7.04, 7.0, None),),
    climbs=(PhClimb("FERN", 4, 8, 5.5, 0.21, 0.15, 0.27), PhClimb("HARB", 1, 1, 2.0, 0.5, None, None)),
)


def page(pages: Any, water: RecordedWater) -> str:
    """Return the page of results with this water, blanks of every kind as one."""
    text = report_html(replace(pages.results("variety"), water=water))
    return text.replace("\u00a0", " ").replace("\u202f", " ")


def test_prediction_stands_beside_record(pages: Any) -> None:
    """Doses in mg/L, alkalinity stated and found, pH read and foreseen; what is not known is a dash."""
    text = page(pages, WATER)
    assert "What a dose is in the bucket" in text
    assert "pH after mixing, prediction beside record" in text
    assert "How fast the pH came back" in text
    for cell in ("33 to 42", "228 to 600 or beyond", "FERN, no acid", "0.15 to 0.27"):
        assert cell in text
    assert text.index("<bdi>90</bdi>") < text.index("Each garden&#39;s water") < text.index("<bdi>7.0</bdi>")


def test_a_water_that_is_not_as_stated_is_said(pages: Any) -> None:
    """Beyond the interval and a quarter off: only then a sentence, naming the garden."""
    text = page(pages, WATER)
    assert "At HARB the acid acted as in water of about 243 mg/L, not the 80 mg/L stated" in text
    assert "At FERN the acid" not in text


def test_a_feed_that_lacks_calcium_is_said(pages: Any) -> None:
    """All doses of a feed lack it alike: said once, the water's own left aside, with the target below the doses."""
    said = "The water's own left aside: Calcium 0 % of the published target for lettuce: young leaves may turn brown"
    assert said not in page(pages, replace(WATER, doses=()))
    without = {"N": 90.0, "P": 52.4, "K": 249.0, "Mg": 20.0}
    text = page(pages, replace(WATER, doses=(DoseStrength(4.0, 20.0, 90.0, without, 1.2),))).replace("&#39;", "'")
    assert text.count(said) == 1
    assert "has N 150, P 31, K 210, Ca 90, Mg 24 mg/L" in text
    enough = DoseStrength(4.0, 20.0, 90.0, {**without, "Ca": 71.0}, 1.2)
    assert said not in page(pages, replace(WATER, doses=(enough,))).replace("&#39;", "'")


def test_results_without_water_have_no_such_part(pages: Any) -> None:
    """Results of a trial without records of solution have nothing to show."""
    assert "Nutrient, acid and water" not in page(pages, RecordedWater(None, (), (), (), ()))
