"""No step of acid that anything here tells takes water below pH 5, worked out apart from the steps themselves."""

import math

import pytest

from trialkit.solution import acid_for_ph, ph_after
from trialkit.solution.acid_steps import safe_acid_step, smallest_acid_step
from trialkit.solution.acids import AcidProduct
from trialkit.solution.mixing import TARGET_PH, Water, acid_by_class, mix
from trialkit.words.mix_words import note_words

# Vinegar is sold at 4 g in 100 mL and more (US FDA Compliance Policy Guide 525.825), kitchen vinegar up to 10. A level
# teaspoon of citric acid weighs 4.6 g, by a quarter more or less (common practice, no source).
KITCHEN = [AcidProduct(f"vinegar {strength} %", "acetic", pct_w_v=strength) for strength in (4, 5, 6, 8, 10)]
KITCHEN += [AcidProduct(f"citric {grams} g", "citric", grams_per_tsp=grams) for grams in (3.4, 4.6, 5.8)]
VOLUMES_L = (1.0, 3.785, 10.0, 18.9, 20.0, 60.0)
LOWEST_PH = 5.0
POWDER_G_PER_TSP_OF_SOLUTION = 1 / 48  # a US cup is 48 teaspoons (NIST Handbook 44, Appendix C)


def ph_after_a_step(acid: AcidProduct, liquid_tsp: float, litres: float, alkalinity: float, start: float) -> float:
    """Water brought to pH 6 with an acid, and one step more of it: vinegar as sold, or a powder's solution."""
    mass = (acid.grams_per_tsp or 0) / 48 if acid.pct_w_v is None else acid.pct_w_v / 100 * 4.92892159375
    molar = {"acetic": 60.052, "citric": 192.124}[acid.acid]
    water = {"acid": acid.acid, "alkalinity_mg_l_caco3": alkalinity, "ph_start": start}
    before = float(acid_for_ph(ph_target=6.0, **water))
    return float(ph_after(acid_mol_l=before + liquid_tsp * mass / molar / litres, **water))


@pytest.mark.parametrize("acid", KITCHEN, ids=lambda acid: acid.name)
@pytest.mark.parametrize("litres", VOLUMES_L)
def test_every_class_in_steps_that_soft_water_bears(acid: AcidProduct, litres: float) -> None:
    """The softest water of every row stays above pH 5; where there is no step there is no acid."""
    for row in acid_by_class(litres, acid, TARGET_PH):
        if row.step is None:
            assert row.acid.tsp == 0.0
        else:
            assert ph_after_a_step(acid, row.step.tsp, litres, row.lower, 7.5) > LOWEST_PH


@pytest.mark.parametrize("acid", KITCHEN, ids=lambda acid: acid.name)
@pytest.mark.parametrize("alkalinity", [0, 2, 5, 10, 15, 20, 35, 60, 90, 150, 250, 400])
@pytest.mark.parametrize("start", [6.2, 7.5, 9.0])
def test_every_mix_in_steps_that_its_water_bears(acid: AcidProduct, alkalinity: float, start: float) -> None:
    """For each volume a step that stays above pH 5, or no acid and a word about it."""
    for litres in VOLUMES_L:
        made = mix(litres, Water(alkalinity, start), acid=acid, ph_target=TARGET_PH)
        assert made.acid is not None
        if made.acid_step is None:
            assert made.acid.tsp == 0.0
            assert any("Add no acid" in note_words(note) for note in made.notes)
            assert ph_after_a_step(acid, 0.25, litres, alkalinity, start) < 5.25  # nothing smaller is at hand
        else:
            assert ph_after_a_step(acid, made.acid_step.tsp, litres, alkalinity, start) > LOWEST_PH
            assert (made.acid.solution_tsp is None) == (acid.pct_w_v is not None)


def test_a_spoon_of_powder_is_what_must_not_be() -> None:
    """A teaspoon of citric acid brings 20 L of soft water to pH 3.3, and 35, 60 and 90 mg/L to 3.6, 4.1 and 4.7."""
    citric = AcidProduct("citric acid", "citric", grams_per_tsp=4.6)
    for alkalinity, ph in ((15, 3.3), (35, 3.6), (60, 4.1), (90, 4.7)):
        assert mix(20.0, Water(alkalinity), acid=citric, acid_tsp=1.0).ph == pytest.approx(ph, abs=0.06)
        step = safe_acid_step(citric, 20.0, alkalinity)
        assert step.acid_tsp <= 1 / 4


def test_the_solution_is_a_spoon_in_a_cup() -> None:
    """What a step holds as powder: a quarter of a teaspoon of solution is 1/192 of a teaspoon."""
    citric = AcidProduct("citric acid", "citric", grams_per_tsp=4.6)
    smallest = smallest_acid_step(citric)
    assert smallest.acid_tsp == pytest.approx(0.25 * POWDER_G_PER_TSP_OF_SOLUTION)
    assert math.isclose(smallest.millilitres, 1.23223, rel_tol=1e-5)
