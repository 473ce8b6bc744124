"""No step of acid that anything here tells takes water below pH 5, worked out apart from the steps themselves."""

import math

import pytest

from trialkit.domain.errors import WrongCall
from trialkit.domain.ph_window import SET_POINTS_PH, TARGET_PH, WINDOW_PH
from trialkit.solution import acid_for_ph, ph_after
from trialkit.solution.acid_steps import (
    HIGHEST_ALKALINITY_MG_L,
    LOWEST_PH_AFTER_A_STEP,
    safe_acid_step,
    smallest_acid_step,
)
from trialkit.solution.acids import AcidProduct, kitchen_fault
from trialkit.solution.mixing import Water, acid_by_class, mix, rain_share_for
from trialkit.solution.nutrients import Feed, Product
from trialkit.words.mix_words import note_words

# Vinegar is sold at 4 g in 100 mL and more (US FDA Compliance Policy Guide 525.825), kitchen vinegar up to 10. A level
# teaspoon of citric acid weighs 4.6 g, by a quarter more or less (common practice, no source).
KITCHEN = [AcidProduct(f"vinegar {strength} %", "acetic", pct_w_v=strength) for strength in (4, 5, 6, 8, 10)]
KITCHEN += [AcidProduct(f"citric {grams} g", "citric", grams_per_tsp=grams) for grams in (3.4, 4.6, 5.8)]
VOLUMES_L = (4.0, 10.0, 18.9, 20.0, 40.0)
LOWEST_PH = 5.0
PHOSPHATE = Feed(Product("Blend L 9-12-30", {"N": 9, "P2O5": 12, "K2O": 30}, 5.0))
POWDER_G_PER_TSP_OF_SOLUTION = 1 / 48  # a US cup is 48 teaspoons (NIST Handbook 44, Appendix C)


def ph_after_a_step(acid: AcidProduct, liquid_tsp: float, litres: float, alkalinity: float, start: float) -> float:
    """Water brought to pH 6 with an acid, and one step more of it: vinegar as sold, or a powder's solution.

    The lowest of closed and open buckets, from which all the carbon dioxide went that air does not hold, and of taps
    of 10 and 25 degrees Celsius.
    """
    mass = (acid.grams_per_tsp or 0) / 48 if acid.pct_w_v is None else acid.pct_w_v / 100 * 4.92892159375
    molar = {"acetic": 60.052, "citric": 192.124}[acid.acid]
    water = {"acid": acid.acid, "alkalinity_mg_l_caco3": alkalinity, "ph_start": start, "temperature_c": (10.0, 25.0)}
    found = []
    for is_open in (False, True):
        before = acid_for_ph(ph_target=6.0, open_to_air=is_open, **water)
        after = ph_after(acid_mol_l=before + liquid_tsp * mass / molar / litres, open_to_air=is_open, **water)
        found += after.tolist()
    assert len(found) == 4
    return float(min(found))


@pytest.mark.parametrize("acid", KITCHEN, ids=lambda acid: acid.name)
@pytest.mark.parametrize("litres", VOLUMES_L)
def test_every_class_in_steps_that_its_lowest_water_bears(acid: AcidProduct, litres: float) -> None:
    """The lowest water of every row stays above pH 5; where there is no step there is no acid."""
    for row in acid_by_class(litres, acid, TARGET_PH):
        if row.step is None:
            assert row.acid.tsp == 0.0
        else:
            assert ph_after_a_step(acid, row.step.tsp, litres, row.lower, 7.5) > LOWEST_PH


@pytest.mark.parametrize("acid", KITCHEN, ids=lambda acid: acid.name)
@pytest.mark.parametrize("litres", VOLUMES_L)
def test_all_the_acid_of_a_class_leaves_its_lowest_water_above_5(acid: AcidProduct, litres: float) -> None:
    """Whatever waters were found to take beside chemistry, with and without the phosphate of a feed; as poured."""
    dose_tsp = round(litres) / 2
    for ratio in (1.0, 3.0):
        for feed in (None, PHOSPHATE):
            rows = acid_by_class(litres, acid, TARGET_PH, ratio=ratio, feed=feed, nutrient_tsp=dose_tsp)
            assert sum(row.step is not None for row in rows) >= 3
            for row in rows:
                assert bool(row.acid.tsp) == (row.step is not None)
                mol_l = row.acid.tsp * acid.mol_per_tsp / litres
                fed = 0.0 if feed is None else feed.elements_mg_l(dose_tsp, litres)["P"] / 30.974 / 1000
                water = {"acid": acid.acid, "alkalinity_mg_l_caco3": row.lower, "ph_start": 7.5}
                left = float(ph_after(acid_mol_l=mol_l, phosphate_mol_l=fed, **water))
                assert left >= LOWEST_PH - 1e-9 or not row.acid.tsp
                assert left == pytest.approx(row.ph_at_lower)


@pytest.mark.parametrize("acid", KITCHEN, ids=lambda acid: acid.name)
@pytest.mark.parametrize("alkalinity", [0, 2, 5, 10, 15, 20, 35, 60, 75, 90, 110, 130, 150, 200, 250, 300, 301, 400])
@pytest.mark.parametrize("start", [6.2, 9.0])
def test_every_mix_in_steps_that_its_water_bears(acid: AcidProduct, alkalinity: float, start: float) -> None:
    """For each volume a step that stays above pH 5, or no acid and a word about it."""
    for litres in (4.0, 18.9, 40.0):
        made = mix(litres, Water(alkalinity, start), acid=acid, ph_target=TARGET_PH)
        assert made.acid is not None
        if alkalinity > 300:
            assert (made.acid_step, made.acid.tsp) == (None, 0.0)
            assert any("too much for acid" in note_words(note) for note in made.notes)
        elif made.acid_step is None:
            assert made.acid.tsp == 0.0
            assert any("Add no acid" in note_words(note) for note in made.notes)
            assert ph_after_a_step(acid, 0.25, litres, alkalinity, start) < 5.25  # nothing smaller is at hand
        else:
            assert ph_after_a_step(acid, made.acid_step.tsp, litres, alkalinity, start) > LOWEST_PH
            assert (made.acid.solution_tsp is None) == (acid.pct_w_v is not None)


def test_a_spoon_of_powder_is_what_must_not_be() -> None:
    """A teaspoon of citric acid brings 20 L at 15 mg/L to pH 3.3, and at 35, 60 and 90 mg/L to 3.6, 4.1 and 4.7."""
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


def test_a_bucket_that_has_stood_bears_less() -> None:
    """A quarter of a cup of citric solution leaves 20 L at 90 mg/L above 5.25 when just mixed, and below 5 later."""
    step = 12 * 4.6 / 48 / 192.124 / 20
    water = {"acid": "citric", "alkalinity_mg_l_caco3": 90.0, "ph_start": 7.5}
    fresh, stood = (
        float(
            ph_after(
                acid_mol_l=float(acid_for_ph(ph_target=6.0, open_to_air=o, **water)) + step, open_to_air=o, **water
            )
        )
        for o in (False, True)
    )
    assert fresh > 5.25
    assert stood < 5.0
    assert safe_acid_step(AcidProduct("citric acid", "citric", grams_per_tsp=4.6), 20.0, 90.0).tsp == 3.0


def test_one_window() -> None:
    """Set points of 5.6 to 6.0 (Rutgers 5.8 +/- 0.2; Cornell): their middle is aimed at, a strip shows 5.5 to 6."""
    assert SET_POINTS_PH == (5.8 - 0.2, 5.8 + 0.2)
    assert pytest.approx(5.8) == TARGET_PH
    assert WINDOW_PH == (5.5, 6.0)
    assert LOWEST_PH_AFTER_A_STEP == 5.25


@pytest.mark.parametrize(
    ("acid", "pct", "fault"),
    [
        ("acetic", 3.9, "too weak"),
        ("acetic", 4.0, None),
        ("acetic", 10.0, None),
        ("acetic", 10.1, "too strong"),
        ("acetic", 30.0, "too strong"),
        ("acetic", None, "no strength"),
        ("citric", None, None),
        ("citric", 50.0, "too strong"),
        ("sulfuric", 5.0, "not of the kitchen"),
        ("phosphoric", 75.0, "not of the kitchen"),
    ],
)
def test_acids_of_the_kitchen(acid: str, pct: float | None, fault: str | None) -> None:
    """Vinegar has 4 g in 100 mL at least (US FDA CPG 525.825); above 10 it irritates (EC 1272/2008, from memory)."""
    assert kitchen_fault(acid, pct) == fault
    if fault:
        with pytest.raises(WrongCall, match="no acid of the kitchen"):
            AcidProduct("bottle", acid, pct_w_v=pct, grams_per_tsp=4.6 if pct is None else None)


def test_where_acid_serves_no_more() -> None:
    """At 300 mg/L, 20 L take half a cup (118 mL) of 5 % vinegar within 5 %, which leaves 300 mg/L of acetate.

    That takes 2 moles of oxygen a mole to eat (CH3COO- + 2 O2 = HCO3- + CO2 + H2O), over thirty times the 9.1 mg/L
    that water holds at 20 degrees Celsius (from memory).
    """
    about = {"alkalinity_mg_l_caco3": HIGHEST_ALKALINITY_MG_L, "ph_start": 7.5}
    moles = float(acid_for_ph(acid="acetic", ph_target=TARGET_PH, **about))
    assert moles * 20 * 60.052 / 0.05 == pytest.approx(118.3, rel=0.05)
    assert moles * 59.044 * 1000 == pytest.approx(300, rel=0.02)
    assert moles * 2 * 31.998 * 1000 > 30 * 9.1


@pytest.mark.parametrize(("tap", "share", "blend"), [(200.0, 0.5, 100.0), (200.0, 0.0, 200.0), (400.0, 0.75, 100.0)])
def test_a_blend_has_the_mean_of_its_parts(tap: float, share: float, blend: float) -> None:
    """Half rain water, which has none: alkalinity 200 falls to 100, and so does the lowest that it may be."""
    thinned = Water(tap, 7.9, 12.0, lowest_alkalinity_mg_l_caco3=tap / 2).blended(share)
    assert thinned.alkalinity_mg_l_caco3 == pytest.approx(blend)
    assert thinned.safe_for_mg_l_caco3 == pytest.approx(blend / 2)
    assert (thinned.ph, thinned.temperature_c) == (7.9, 12.0)
    assert Water(tap).blended(rain_share_for(tap)).alkalinity_mg_l_caco3 <= 180


def test_eaten_acid_gives_the_alkalinity_back() -> None:
    """Left alone, water comes to pK1 + pKH + log10 [HCO3-] - log10 pCO2 (facts: 1 and 2 meq/L come to 8.20 and 8.50).

    All acid eaten, that is the water's own alkalinity; none eaten, the pH lies well below it.
    """
    vinegar = AcidProduct("vinegar 5 %", "acetic", pct_w_v=5.0)
    for meq, ph in ((1.0, 8.20), (2.0, 8.50)):
        made = mix(20.0, Water(meq * 50.04), acid=vinegar, ph_target=TARGET_PH)
        assert made.ph_acid_eaten == pytest.approx(ph, abs=0.03)
        assert made.ph < made.ph_standing < made.ph_acid_eaten - 0.5
