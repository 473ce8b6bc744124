"""The part of the report about nutrient, acid and water."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from trialkit.report import report_html

WATER = {
    "product": "Blend L 9-12-30",
    "doses": [
        {"dose_tsp": 4.0, "grams": 20.0, "n_mg_l": 90.0, "elements_mg_l": {"P": 52.4, "K": 249.0}, "ec_ms_cm": 1.2}
    ],
    "sites": [
        {
            "site": "FERN",
            "stated": 35.0,
            "effective": 38.0,
            "lower": 33.0,
            "upper": 42.0,
            "readings": 48,
            "bounded": False,
        },
        {
            "site": "HARB",
            "stated": 80.0,
            "effective": 243.0,
            "lower": 228.0,
            "upper": 600.0,
            "readings": 9,
            "bounded": True,
        },
        {
            "site": "MILL",
            "stated": None,
            "effective": None,
            "lower": None,
            "upper": None,
            "readings": 0,
            "reason": "few",
        },
    ],
    "readings": [
        {"site": "FERN", "acidifier": "none", "buckets": 12, "recorded": 7.04, "foreseen": 7.0, "fitted": None},
    ],
}


def page(make: Mapping[str, Callable[[], dict[str, Any]]], water: Any) -> str:
    """Return the page of results with this water, blanks of every kind as one."""
    return report_html(make["full"]() | {"water": water}).replace("\u00a0", " ").replace("\u202f", " ")


def test_prediction_stands_beside_record(make: Mapping[str, Callable[[], dict[str, Any]]]) -> None:
    """Doses in mg/L, alkalinity stated and found, pH read and foreseen; what is not known is a dash."""
    text = page(make, WATER)
    assert "What a dose is in the bucket" in text
    assert "pH after mixing, prediction beside record" in text
    for cell in ("33 to 42", "228 to 600 or beyond", "FERN, no acid"):
        assert cell in text
    assert text.index("<bdi>90</bdi>") < text.index("Each garden") < text.index("<bdi>7.0</bdi>")


def test_a_water_that_is_not_as_stated_is_said(make: Mapping[str, Callable[[], dict[str, Any]]]) -> None:
    """Beyond the interval and a quarter off: only then a sentence, naming the garden."""
    text = page(make, WATER)
    assert "At HARB the acid acted as in water of about 243 mg/L, not the 80 mg/L stated" in text
    assert "At FERN the acid" not in text


def test_results_without_water_have_no_such_part(make: Mapping[str, Callable[[], dict[str, Any]]]) -> None:
    """Results of a trial without records of solution, or made before there was chemistry, are shown as before."""
    for water in (None, {}, {"product": None, "doses": [], "sites": [], "readings": []}):
        assert "Nutrient, acid and water" not in page(make, water)
