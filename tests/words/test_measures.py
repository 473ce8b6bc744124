"""Amounts in kitchen and metric measures, against the exact measures of NIST Handbook 44, Appendix C."""

import pytest

from trialkit.documents.water import DoseStrength, RecordedWater
from trialkit.domain.treatment import Treatment
from trialkit.words.measures import (
    Measures,
    MeasureSystem,
    acid_range,
    liquid_words,
    nutrient_g_per_tsp,
    teaspoons,
    volume_words,
)
from trialkit.words.treatment_names import treatment_words


@pytest.mark.parametrize(
    ("measures", "volume"), [("kitchen", "5 US gal"), ("metric", "18.9 L"), ("both", "18.9 L (5 US gal)")]
)
def test_volumes(measures: Measures, volume: str) -> None:
    """A gallon holds 3.785411784 L."""
    assert volume_words(5 * 3.785411784, measures) == volume


def test_doses_are_weighed_where_a_spoonful_was() -> None:
    """5 g a teaspoon: six are 30 g; without it a dose is said in spoons, whatever was asked for."""
    assert teaspoons(6.0, MeasureSystem("metric", 5.0)) == "30 g"
    assert teaspoons(6.0, MeasureSystem("metric")) == "6 level teaspoons"
    assert teaspoons(0.0, MeasureSystem("metric", 5.0)) == "no nutrient"
    mixed = Treatment("Fenleaf", 6.0, "none")
    assert treatment_words(mixed, MeasureSystem("both", 5.0)) == (
        "Fenleaf with 6 level teaspoons (30 g) of nutrient a bucket and no acid"
    )


def test_the_spoonful_is_that_of_the_trial() -> None:
    """It is read off the doses that were weighed."""
    doses = tuple(DoseStrength(tsp, 5 * tsp, 0.0, {}, 0.0) for tsp in (0.0, 4.0))
    assert nutrient_g_per_tsp(RecordedWater("Blend L", doses, (), (), ())) == 5.0
    assert nutrient_g_per_tsp(RecordedWater(None, (), (), (), ())) is None


def test_a_powder_acid_is_never_said_in_spoons() -> None:
    """By weight in every system, and that it is dissolved first; a liquid by spoons or 4.92892 mL each."""
    for measures in ("kitchen", "metric", "both"):
        assert acid_range(0.25, 0.5, 4.0, MeasureSystem(measures)) == "1 to 2 g, dissolved first,"
    assert acid_range(2.0, 4.0, None) == "2 to 4 teaspoons"
    assert acid_range(2.0, 4.0, None, MeasureSystem("metric")) == "9.9 to 20 mL"
    assert acid_range(4.0, 4.0, None, MeasureSystem("both")) == "4 teaspoons (20 mL)"
    assert acid_range(1.0, 24.0, None, MeasureSystem("metric")) == "4.9 to 118 mL"
    assert acid_range(1.0, 24.75, None) == "1 teaspoon to ½ cup"


@pytest.mark.parametrize(
    ("tsp", "said"),
    [(12.0, "12 teaspoons"), (12.25, "¼ cup"), (24.75, "½ cup"), (32.75, "½ cup and 3 tablespoons"), (48.0, "1 cup")],
)
def test_liquids_beyond_twelve_teaspoons_go_by_the_cup(tsp: float, said: str) -> None:
    """A US cup is 48 teaspoons or 16 tablespoons."""
    assert liquid_words(tsp) == said
