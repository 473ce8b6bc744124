"""Spoons, strips and classes of water: what is told is what the chemistry gives for the spoons told."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trialkit.domain.errors import WrongCall
from trialkit.domain.units import quarter_spoons
from trialkit.solution import acid_for_ph, ph_after
from trialkit.solution.acids import AcidProduct
from trialkit.solution.mixing import Water, acid_by_class, mix, nutrient_for, strip_reading
from trialkit.solution.nutrients import Feed, Product
from trialkit.solution.tap_alkalinity import alkalinity_from_ph_and_hardness
from trialkit.words.mix_words import note_words

VINEGAR = AcidProduct("white vinegar 5 %", "acetic", pct_w_v=5.0)
CITRIC = AcidProduct("citric acid", "citric", grams_per_tsp=4.6)
BLEND = Feed(Product("Blend L 9-12-30", {"N": 9, "P2O5": 12, "K2O": 30, "Mg": 2}, 5.0))


def test_vinegar_for_a_bucket() -> None:
    """20 L of 100 mg/L at pH 8 to pH 5.8: by hand from the moles, in teaspoons of 5 g for 100 mL."""
    made = mix(20.0, Water(100.0, 8.0), acid=VINEGAR, ph_target=5.8)
    moles = float(acid_for_ph(acid="acetic", ph_target=5.8, alkalinity_mg_l_caco3=100.0, ph_start=8.0)) * 20
    assert made.acid.exact_tsp == pytest.approx(moles * 60.052 / 5 * 100 / 4.92892159375)
    assert made.acid.tsp == quarter_spoons(made.acid.exact_tsp)
    assert made.acid.millilitres == pytest.approx(made.acid.tsp * 4.92892159375)
    assert made.ph_range[0] < made.ph < made.ph_range[1]
    assert made.ph_standing > 7


@given(
    alkalinity=st.floats(0, 400),
    start=st.floats(6, 9),
    target=st.floats(5, 6.5),
    acid=st.sampled_from([VINEGAR, CITRIC]),
    dose=st.floats(0, 10),
)
def test_what_is_told_is_of_the_spoons_told(
    alkalinity: float, start: float, target: float, acid: AcidProduct, dose: float
) -> None:
    """The pH is that of the rounded spoons, not of the exact amount; rounding is at most an eighth of a teaspoon.

    Of a powder, an eighth of a teaspoon of its solution, of which 48 hold a teaspoon. Where no step is safe there is
    no acid.
    """
    made = mix(20.0, Water(alkalinity, start), BLEND, dose, acid, ph_target=target)
    assert abs(made.acid.tsp - made.acid.exact_tsp) <= 0.125 / (48 if acid is CITRIC else 1) + 1e-9
    assert made.acid_step or made.acid.tsp == 0
    assert abs(made.nutrient.tsp - dose) <= 0.125 + 1e-9
    phosphate = made.elements_mg_l["P"] / 30.974 / 1000
    again = ph_after(
        acid=acid.acid,
        acid_mol_l=made.acid.tsp * acid.mol_per_tsp / 20,
        alkalinity_mg_l_caco3=alkalinity,
        ph_start=start,
        phosphate_mol_l=phosphate,
    )
    assert made.ph == pytest.approx(float(again))
    assert made.strip == strip_reading(made.ph)


def test_nutrient_for_a_strength() -> None:
    """150 mg/L of nitrogen in 20 L takes 3 g of it: 6.67 teaspoons of 5 g at 9 %; for an EC, that EC is reached."""
    assert nutrient_for(BLEND, 20.0, nitrogen_mg_l=150.0, water=Water(90.0)) == pytest.approx(3 / (0.09 * 5))
    teaspoons = nutrient_for(BLEND, 20.0, ec_ms_cm=1.2, water=Water(90.0))
    assert mix(20.0, Water(90.0), BLEND, teaspoons).ec.value == pytest.approx(1.2, rel=0.05)
    assert nutrient_for(BLEND, 20.0, ec_ms_cm=0.1, water=Water(200.0)) == 0.0


def test_water_of_more_alkalinity_takes_more_acid() -> None:
    """Each class takes more than the one below; at its ends the pH lies on either side of the target."""
    rows = acid_by_class(20.0, VINEGAR, 5.8, feed=BLEND, nutrient_tsp=5)
    assert [row.acid.tsp for row in rows] == sorted(row.acid.tsp for row in rows)
    assert all(row.ph_at_lower < 5.8 < row.ph_at_upper for row in rows if row.step)
    assert [row.acid.tsp for row in rows if not row.step] == [0.0]


@pytest.mark.parametrize(
    ("made", "code", "words"),
    [
        (lambda: mix(20.0, Water(10.0), acid=VINEGAR, acid_tsp=20), "ph too low", "use less acid"),
        (lambda: mix(20.0, Water(100.0), acid=VINEGAR, ph_target=5.8), "ph drifts", "In a week or so microbes"),
        (lambda: mix(20.0, Water(30.0), BLEND, 1.0), "weak", "is weak for lettuce"),
        (lambda: mix(20.0, Water(30.0), BLEND, 14.0), "strong", "is strong for lettuce"),
        (lambda: mix(2.0, Water(30.0, 7.5), BLEND, 0.1), "too little for spoons",
         "badly: mix a larger volume, or weigh it"),
        (lambda: mix(20.0, Water(0.0, 7.5), acid=CITRIC, ph_target=5.8), "no safe step of acid", "Add no acid"),
    ],
)  # fmt: skip
def test_notes(made: Any, code: str, words: str) -> None:
    """What lies outside every published range, and what spoons cannot measure, is noted, and said."""
    (note,) = [note for note in made().notes if note.code == code]
    assert words in note_words(note)


@given(ph=st.floats(6.5, 9), hardness=st.floats(1, 400))
def test_alkalinity_from_ph_and_hardness_is_a_range(ph: float, hardness: float) -> None:
    """The guess lies in its range; where the two sources contradict each other, that is said and the range is wide."""
    found = alkalinity_from_ph_and_hardness(ph, hardness)
    assert found.lower <= found.value <= found.upper
    if found.agrees:
        assert found.upper <= 1.2 * hardness + 1e-9


def test_parts_are_measured_for_the_base_as_measured() -> None:
    """4.1 teaspoons are poured as 4; three eighths of these are 1 1/2; what they give is of the spoons.

    20 g of 9 % N and 7.5 g of 15.5 % in 20 L: 148.125 mg/L.
    """
    calcium = Product("calcium nitrate", {"N": 15.5, "Ca": 19}, 5.0)
    made = mix(20.0, Water(60.0, elements_mg_l={"Ca": 20.0}), Feed(BLEND.base, ((calcium, 0.375),)), 4.1)
    assert made.nutrient is not None
    assert made.nutrient.tsp == 4.0
    assert [(part.tsp, part.grams) for part in made.parts] == [(1.5, 7.5)]
    assert made.elements_mg_l["N"] == pytest.approx(148.125)
    assert made.elements_mg_l["Ca"] == pytest.approx(71.25 + 20)


def test_wrong_calls() -> None:
    """A liquid has a strength and a powder a weight; one target at a time."""
    with pytest.raises(WrongCall, match="Of a liquid, it is the grams of acid in 100 mL"):
        AcidProduct("odd", "acetic")
    with pytest.raises(WrongCall, match="more than 0 L"):
        mix(0.0, Water(100.0), BLEND, 3)
