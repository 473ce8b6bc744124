"""Elements, conversions and conductivity against extension publications, definitions and standards."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trialkit.domain.errors import WrongCall
from trialkit.domain.units import CUP_ML, GALLON_L, LITRES, OUNCE_G, TABLESPOON_ML, TEASPOON_ML, litres
from trialkit.solution.nutrients import (
    OXIDES,
    RECIPE_MG_L,
    Feed,
    Product,
    conductivity,
    elements_mg_l,
    elements_of_hardness,
    scarce_elements,
    shares_of_recipe,
)

HUNDRED_GALLONS_L = 100 * GALLON_L


def nitrogen_of(percent: float, ounces: float) -> float:
    """Return mg/L of nitrogen from ounces of a fertiliser in 100 US gallons."""
    product = Product("fertiliser", {"N": percent}, OUNCE_G)
    return elements_mg_l([(product, ounces)], HUNDRED_GALLONS_L)["N"]


@pytest.mark.parametrize(("oxide", "share"), [("P2O5", 0.43642), ("K2O", 0.83015), ("CaO", 0.7147), ("MgO", 0.6030)])
def test_oxides(oxide: str, share: float) -> None:
    """Penn State turf fact sheet (0.44 and 0.83 when rounded), and molar masses."""
    assert OXIDES[oxide][1] == pytest.approx(share, abs=1e-4)


def test_a_worked_example_of_a_label() -> None:
    """20 % P2O5 is 8.8 % P and 10 % K2O is 8.3 % K: Penn State's example, with its factors rounded to two digits."""
    elements = Product("label", {"P2O5": 20, "K2O": 10}, 1.0).elements_pct()
    assert elements == {"P": pytest.approx(8.8, rel=0.01), "K": pytest.approx(8.3, rel=0.01)}


def test_an_ounce_in_a_hundred_gallons() -> None:
    """The constant 75: UMass "Fertilizer Calculations for Greenhouse Crops"; 74.9 exactly."""
    assert nitrogen_of(100, 1) == pytest.approx(74.89, abs=0.01)


@pytest.mark.parametrize(
    ("percent", "ounces", "ppm", "tolerance"),
    [
        (20, 13.5, 200, 0.02),  # UMass: 20-20-20 for 200 ppm N
        (15, 18.0, 200, 0.02),  # UMass: 15-15-15
        (15, 22.0, 250, 0.015),  # a state university's greenhouse page: 15 % calcium nitrate
    ],
)
def test_published_doses(percent: float, ounces: float, ppm: float, tolerance: float) -> None:
    """Ounces in 100 gallons for so many ppm of nitrogen."""
    assert nitrogen_of(percent, ounces) == pytest.approx(ppm, rel=tolerance)


def test_a_published_slip_is_not_followed() -> None:
    """One page prints 0.33 x 75 = 29.75; it is 24.75, so 5 ounces do not give 150 ppm."""
    assert nitrogen_of(33, 1) == pytest.approx(24.71, abs=0.05)


def test_salts_by_molar_mass() -> None:
    """Potassium nitrate 13.85 % N and 38.67 % K: what a gram in a litre gives."""
    found = elements_mg_l([(Product("potassium nitrate", {"N": 13.85, "K": 38.67}, 1.0), 1.0)], 1.0)
    assert found == {"N": pytest.approx(138.5), "K": pytest.approx(386.7)}


def test_measures_are_those_of_the_handbook() -> None:
    """NIST Handbook 44, Appendix C: gallon, tablespoon, teaspoon, cup and ounce, exactly."""
    assert (pytest.approx(4.92892159375), pytest.approx(14.78676478125)) == (TEASPOON_ML, TABLESPOON_ML)
    assert pytest.approx(236.5882365) == CUP_ML
    assert litres(1, "gal") == 3.785411784
    assert OUNCE_G == 28.349523125
    assert LITRES["fl oz"] == pytest.approx(0.0295735295625)


@pytest.mark.parametrize(("mol_l", "ms_cm"), [(0.001, 0.1469), (0.01, 1.412), (0.1, 12.85)])
def test_conductivity_of_potassium_chloride(mol_l: float, ms_cm: float) -> None:
    """Standards for calibrating meters at 25 degrees (CRC Handbook; 0.1 mol/L from memory); within 2 %."""
    solution = {"K": 39098 * mol_l, "Cl": 35450 * mol_l}
    assert conductivity(solution).value == pytest.approx(ms_cm, rel=0.02)


def test_conductivity_of_calcium_chloride() -> None:
    """0.005 mol/L conducts 1.203 mS/cm (equivalent conductivity 120.3, CRC Handbook, from memory); within 2 %."""
    assert conductivity({"Ca": 200.39, "Cl": 354.5}).value == pytest.approx(1.203, rel=0.02)


def test_conductivity_of_a_recipe() -> None:
    """Sonneveld & Voogt 2009, Plant Nutrition of Greenhouse Crops: 0.095 x meq/L of cations + 0.19; within 15 %."""
    recipe = RECIPE_MG_L
    cations = recipe["K"] / 39.098 + 2 * recipe["Ca"] / 40.078 + 2 * recipe["Mg"] / 24.305
    assert cations == pytest.approx(11.84, abs=0.02)
    found = conductivity(recipe)
    assert found.lower < 0.095 * cations + 0.19 < found.upper


@given(
    n=st.floats(0, 300), p=st.floats(0, 80), k=st.floats(0, 400), ca=st.floats(0, 250), mg=st.floats(0, 80),
    more=st.floats(0.01, 2),
)  # fmt: skip
def test_more_of_everything_conducts_more(n: float, p: float, k: float, ca: float, mg: float, more: float) -> None:
    """Conductivity is finite, not negative, and rises when the whole solution is made stronger."""
    weak = {"N": n, "P": p, "K": k, "Ca": ca, "Mg": mg}
    strong = {element: value * (1 + more) for element, value in weak.items()}
    assert 0 <= conductivity(weak).value <= conductivity(strong).value


def test_several_products_add_up() -> None:
    """Two products in one bucket bring the sum of what each brings."""
    one, two = Product("one", {"N": 10, "K2O": 20}, 5.0), Product("two", {"N": 15, "Ca": 19}, 6.0)
    both = elements_mg_l([(one, 2.0), (two, 1.0)], 20.0)
    assert both["N"] == pytest.approx((10 * 2 * 5 + 15 * 6) * 10 / 20)
    assert both["Ca"] == pytest.approx(19 * 6 * 10 / 20)


def test_gaps_name_what_a_label_lacks() -> None:
    """A product without calcium has none of what the recipe wants."""
    assert shares_of_recipe({"N": 150, "P": 31, "K": 210, "Mg": 24}) == {"N": 1, "P": 1, "K": 1, "Ca": 0, "Mg": 1}


@pytest.mark.parametrize(
    ("analysis", "grams", "words"),
    [
        ({"Unobtainium": 3.0}, 5.0, "Unobtainium is not known"),
        ({"N": 60.0, "K2O": 60.0}, 5.0, "at most 100"),
        ({"N": 9.0}, 0.0, "weigh ten and divide by ten"),
    ],
)
def test_labels_that_cannot_be(analysis: dict[str, float], grams: float, words: str) -> None:
    """A label is told what is wrong with it."""
    with pytest.raises(WrongCall, match=words):
        Product("odd", analysis, grams)


def test_a_published_recipe_from_salts() -> None:
    """Modified Sonneveld for lettuce (Mattson & Peters 2014, figures from memory), by hand from salts.

    Ca 90 is 0.5303 g/L of calcium nitrate tetrahydrate (16.97 % Ca, 11.86 % N: 62.9 N); Mg 24 is 0.2434 g/L of Epsom
    salt (9.86 %); P 31 is 0.1362 g/L of monopotassium phosphate (22.76 % P, 28.73 % K: 39.1 K); the other 170.9 of K is
    0.4419 g/L of potassium nitrate (38.67 % K, 13.85 % N: 61.2 N). That is 124 N; the recipe's rest is ammonium.
    """
    feed = Feed(
        Product("potassium nitrate", {"N": 13.85, "K": 38.67}, 1.0),
        (
            (Product("calcium nitrate", {"N": 11.86, "Ca": 16.97}, 1.0), 0.5303 / 0.4419),
            (Product("monopotassium phosphate", {"P": 22.76, "K": 28.73}, 1.0), 0.1362 / 0.4419),
            (Product("Epsom salt", {"Mg": 9.86, "S": 13.01}, 1.0), 0.2434 / 0.4419),
        ),
    )
    found = feed.elements_mg_l(0.4419, 1.0)
    for element in ("P", "K", "Ca", "Mg"):
        assert found[element] == pytest.approx(RECIPE_MG_L[element], rel=0.002)
    assert found["N"] == pytest.approx(62.9 + 61.2, rel=0.002)
    assert scarce_elements(found) == ()


def test_calcium_nitrate_as_sold() -> None:
    """15.5 % N and 19 % Ca of the label are 5 Ca(NO3)2, NH4NO3 and 10 H2O by molar mass, within half a point.

    5 x 40.078 = 200.39 g Ca and 12 x 14.007 = 168.08 g N in 5 x 164.086 + 80.043 + 10 x 18.015 = 1080.62 g.
    """
    by_mass = Product(
        "calcium nitrate", {"N": 100 * 168.08 / 1080.62, "Ca": 100 * 200.39 / 1080.62}, 5.0
    ).elements_pct()
    assert by_mass == pytest.approx({"N": 15.5, "Ca": 19.0}, abs=0.5)


def test_calcium_goes_in_last() -> None:
    """However parts are written, those with calcium come after those without, and the base first of all."""
    calcium = Product("calcium nitrate", {"N": 15.5, "Ca": 19}, 5.0)
    epsom = Product("Epsom salt", {"Mg": 9.8}, 5.0)
    base = Product("base", {"N": 9, "P2O5": 12, "K2O": 30}, 4.0)
    feed = Feed(base, ((calcium, 0.5), (epsom, 0.125)))
    assert feed == Feed(base, ((epsom, 0.125), (calcium, 0.5)))
    assert [(product.name, tsp) for product, tsp in feed.spoons(4.0)] == [
        ("base", 4.0),
        ("Epsom salt", 0.5),
        ("calcium nitrate", 2.0),
    ]


def test_hardness_is_calcium_and_magnesium() -> None:
    """100 mg/L as calcium carbonate is 2 meq/L: two thirds of calcium, 26.7 mg/L, the rest of magnesium, 8.1."""
    found = elements_of_hardness(100.087)
    assert found == {"Ca": pytest.approx(2 * 2 / 3 * 40.078 / 2), "Mg": pytest.approx(2 / 3 * 24.305 / 2)}
    assert found["Ca"] / 40.078 + found["Mg"] / 24.305 == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("nitrogen", "calcium", "scarce"),
    [(150, 45.1, False), (150, 44.9, True), (300, 45.1, False), (75, 22.6, False), (75, 22.4, True), (0, 0, False)],
)
def test_scarce_is_less_than_half_beside_the_nitrogen(nitrogen: float, calcium: float, scarce: bool) -> None:
    """Half of the recipe's 90 mg/L of calcium at its 150 of nitrogen or more; of a weaker solution as much less."""
    assert ("Ca" in scarce_elements({"N": nitrogen, "Ca": calcium, "Mg": 24})) == scarce


@given(dose=st.floats(0, 50), volume=st.floats(1, 200))
def test_a_feed_of_one_product_is_that_product(dose: float, volume: float) -> None:
    """To the last bit: what older trials say does not move."""
    blend = Product("Blend L 9-12-30", {"N": 9, "P2O5": 12, "K2O": 30, "Mg": 2}, 5.2)
    assert Feed(blend).elements_mg_l(dose, volume) == elements_mg_l([(blend, dose)], volume)
    assert Feed(blend).name == blend.name
