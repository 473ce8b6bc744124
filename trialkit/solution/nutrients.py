"""What nutrient products bring into a bucket: elements in mg/L, conductivity, gaps against published solutions."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Annotated, Literal

from trialkit.domain.errors import WrongCall
from trialkit.solution.constants import MG_CACO3_PER_MEQ

# Standard atomic weights, abridged (IUPAC 2021).
ATOMIC_WEIGHTS: Mapping[str, float] = MappingProxyType(
    {"H": 1.008, "C": 12.011, "N": 14.007, "O": 15.999, "P": 30.974, "K": 39.098, "Ca": 40.078, "Mg": 24.305,
     "S": 32.06, "Na": 22.990, "Cl": 35.45}
)  # fmt: skip


def _share(atoms: int, element: str, oxygen: int) -> float:
    mass = atoms * ATOMIC_WEIGHTS[element]
    return mass / (mass + oxygen * ATOMIC_WEIGHTS["O"])


OXIDES: Mapping[str, tuple[str, float]] = MappingProxyType(
    {
        "P2O5": ("P", _share(2, "P", 5)),
        "K2O": ("K", _share(2, "K", 1)),
        "CaO": ("Ca", _share(1, "Ca", 1)),
        "MgO": ("Mg", _share(1, "Mg", 1)),
        "SO3": ("S", _share(1, "S", 3)),
    }
)
"""Which element a label's oxide stands for, and its share of the oxide's mass."""
ELEMENTS = ("N", "P", "K", "Ca", "Mg", "S", "Na", "Cl")

USUAL_RECIPE = "modified Sonneveld, lettuce"
RECIPE_MG_L: Mapping[str, float] = MappingProxyType({"N": 150, "P": 31, "K": 210, "Ca": 90, "Mg": 24})
"""The usual recipe: Mattson & Peters 2014, "A Recipe for Hydroponic Success" (figures from memory)."""


@dataclass(frozen=True)
class Product:
    """A nutrient as its label tells it.

    Raises
    ------
    WrongCall
        If the label names something else, or more than 100 % in all.
    """

    name: str
    analysis_pct: Annotated[
        Mapping[str, float],
        'Percent by mass of elements ("N", "P", "K", "Ca", "Mg", "S") or oxides ("P2O5", "K2O", "CaO", "MgO", "SO3").',
    ]
    grams_per_tsp: Annotated[float, "Of a level teaspoon, weighed: ten of them on a kitchen scale, divided by ten."]

    def __post_init__(self) -> None:
        unknown = [key for key in self.analysis_pct if key not in (*ELEMENTS, *OXIDES)]
        if unknown:
            raise WrongCall(f"{', '.join(unknown)} is not known; a label has {', '.join((*ELEMENTS, *OXIDES))}.")
        if any(not 0 <= value <= 100 for value in self.analysis_pct.values()) or sum(self.analysis_pct.values()) > 100:
            raise WrongCall(f"The analysis of {self.name} must be percentages that come to at most 100.")
        if not 0 < self.grams_per_tsp < math.inf:
            raise WrongCall(f"A level teaspoon of {self.name} must weigh more than 0 g: weigh ten and divide by ten.")

    def elements_pct(self) -> dict[str, float]:
        """Return percent by mass of each element, oxides converted.

        Examples
        --------
        >>> blend = Product("Blend L 9-12-30", {"N": 9, "P2O5": 12, "K2O": 30, "Mg": 2}, 5.0)
        >>> {element: round(share, 2) for element, share in blend.elements_pct().items()}
        {'N': 9.0, 'P': 5.24, 'K': 24.9, 'Mg': 2.0}
        """
        found: dict[str, float] = {}
        for key, percent in self.analysis_pct.items():
            element, share = OXIDES.get(key, (key, 1.0))
            found[element] = found.get(element, 0.0) + percent * share
        return {element: found[element] for element in ELEMENTS if element in found}


def elements_mg_l(spoons: Sequence[tuple[Product, float]], volume_l: float) -> dict[str, float]:
    """Return mg/L of each element that level teaspoons of nutrient bring into a bucket.

    Several products may go into one bucket; what dissolves adds too little volume to count.

    Raises
    ------
    WrongCall
        If there is no water, or an amount is negative.

    Examples
    --------
    >>> blend = Product("Blend L 9-12-30", {"N": 9, "P2O5": 12, "K2O": 30, "Mg": 2}, 5.0)
    >>> {key: round(value) for key, value in elements_mg_l([(blend, 5)], 20.0).items()}
    {'N': 112, 'P': 65, 'K': 311, 'Mg': 25}
    """
    if not 0 < volume_l < math.inf:
        raise WrongCall("The bucket must hold more than 0 L.")
    found: dict[str, float] = {}
    for product, teaspoons in spoons:
        if not 0 <= teaspoons < math.inf:
            raise WrongCall(f"{teaspoons} teaspoons of {product.name} cannot be measured.")
        for element, percent in product.elements_pct().items():
            dissolved = 10 * percent * product.grams_per_tsp * teaspoons / volume_l
            found[element] = found.get(element, 0.0) + dissolved
    return {element: found[element] for element in ELEMENTS if element in found}


@dataclass(frozen=True)
class Feed:
    """A nutrient by whose level teaspoons doses are told, and what goes with each of these.

    Examples
    --------
    >>> base = Product("Blend L 9-12-30", {"N": 9, "P2O5": 12, "K2O": 30, "Mg": 2}, 4.0)
    >>> calcium = Product("calcium nitrate 15.5-0-0", {"N": 15.5, "Ca": 19}, 5.0)
    >>> feed = Feed(base, ((calcium, 0.5),))
    >>> feed.name
    'Blend L 9-12-30 with calcium nitrate 15.5-0-0'
    >>> {key: round(value) for key, value in feed.elements_mg_l(4, 20.0).items()}
    {'N': 150, 'P': 42, 'K': 199, 'Ca': 95, 'Mg': 16}
    """

    base: Product
    parts: Annotated[
        tuple[tuple[Product, float], ...],
        "What goes with the base, and its level teaspoons for each of the base, in the order in which they go in.",
    ] = ()

    def __post_init__(self) -> None:
        # Calcium with sulfate or phosphate falls out as a solid where both are strong, so it goes in last, into water
        # that has thinned the others (common practice, no source).
        ordered = sorted(self.parts, key=lambda part: part[0].elements_pct().get("Ca", 0.0) > 0)
        object.__setattr__(self, "parts", tuple(ordered))

    @property
    def name(self) -> str:
        """The names of all that is in it."""
        parts = " and ".join(product.name for product, _ in self.parts)
        return f"{self.base.name} with {parts}" if parts else self.base.name

    def spoons(self, base_tsp: float) -> tuple[tuple[Product, float], ...]:
        """Level teaspoons of each product for so many of the base, in the order in which they go in."""
        return ((self.base, base_tsp), *((product, each * base_tsp) for product, each in self.parts))

    def elements_mg_l(self, base_tsp: float, volume_l: float) -> dict[str, float]:
        """Return mg/L of each element for so many teaspoons of the base in a bucket."""
        return elements_mg_l(self.spoons(base_tsp), volume_l)


def with_water(elements: Mapping[str, float], water_mg_l: Mapping[str, float]) -> dict[str, float]:
    """Add what the water brings of each element to what the feed brings, mg/L.

    Examples
    --------
    >>> with_water({"N": 100.0, "Ca": 20.0}, {"Ca": 30.0, "Mg": 8.0})
    {'N': 100.0, 'Ca': 50.0, 'Mg': 8.0}
    """
    both = {**dict.fromkeys(ELEMENTS, 0.0), **elements}
    return {
        element: both[element] + water_mg_l.get(element, 0.0)
        for element in ELEMENTS
        if element in elements or element in water_mg_l
    }


CALCIUM_SHARE_OF_HARDNESS = 2 / 3
"""Equivalents; the rest is magnesium (common practice, no source: waters differ widely)."""


def elements_of_hardness(hardness_mg_l_caco3: float) -> dict[str, float]:
    """Guess the calcium and magnesium of a water, mg/L, from its hardness, mg/L as calcium carbonate.

    Examples
    --------
    >>> {element: round(mg_l, 1) for element, mg_l in elements_of_hardness(150.0).items()}
    {'Ca': 40.0, 'Mg': 12.1}
    """
    equivalents = hardness_mg_l_caco3 / MG_CACO3_PER_MEQ
    shares = {"Ca": CALCIUM_SHARE_OF_HARDNESS, "Mg": 1 - CALCIUM_SHARE_OF_HARDNESS}
    return {element: equivalents * share * ATOMIC_WEIGHTS[element] / 2 for element, share in shares.items()}


@dataclass(frozen=True)
class Conductivity:
    """Electrical conductivity at 25 degrees Celsius: an estimate and its range."""

    value: Annotated[float, "Best guess, mS/cm."]
    lower: Annotated[float, "Lower end of the range, mS/cm."]
    upper: Annotated[float, "Upper end of the range, mS/cm."]


# Charge, and limiting equivalent conductivity at 25 degrees Celsius, S cm2 per equivalent (CRC Handbook, from memory).
CATIONS = {"K": (1, 73.5), "Ca": (2, 59.5), "Mg": (2, 53.0), "Na": (1, 50.1)}
ANIONS = {"N": (1, 71.4), "P": (1, 36.0), "S": (2, 80.0), "Cl": (1, 76.3), "alkalinity": (1, 44.5)}
MISSING_CATION, MISSING_ANION = "Na", "S"
CONDUCTIVITY_ERROR = 0.15
"""Relative error of an estimate from a label (common practice for estimates from charge; no source)."""


def conductivity(elements: Mapping[str, float], alkalinity_mg_l_caco3: float = 0.0) -> Conductivity:
    r"""Estimate electrical conductivity from the ions that a label tells.

    Onsager's limiting law for each side's mean charge, tempered by :math:`1 + \sqrt{I}` (Robinson & Stokes,
    *Electrolyte Solutions*, ch. 7, from memory): within 2 % of the standards of single salts. Labels tell less than
    that: nitrogen is taken as nitrate, phosphorus as dihydrogen phosphate, and charge that no ion balances as sulfate
    or sodium; hence the stated error of 15 %.

    The alkalinity is what is left, which is bicarbonate.

    Examples
    --------
    >>> round(conductivity({"K": 390.98, "Cl": 354.5}).value, 3)  # 0.01 mol/L potassium chloride: 1.412
    1.412
    """
    cations, anions = _equivalents(elements, alkalinity_mg_l_caco3)
    total = sum(cations.values())
    if total == 0:
        return Conductivity(0.0, 0.0, 0.0)
    z_plus, plus = (sum(meq * CATIONS[ion][i] for ion, meq in cations.items()) / total for i in (0, 1))
    z_minus, minus = (sum(meq * ANIONS[ion][i] for ion, meq in anions.items()) / total for i in (0, 1))
    strength = total * (z_plus + z_minus) / 2000  # mol/L: a half of sum c z^2, with c z in equivalents
    q = z_plus * z_minus / (z_plus + z_minus) * (plus + minus) / (z_plus * minus + z_minus * plus)
    relaxation = 0.785 * z_plus * z_minus * q / (1 + math.sqrt(q)) * (plus + minus)
    electrophoresis = 30.3 * (z_plus + z_minus)
    root = math.sqrt(strength)
    value = total * (plus + minus - (relaxation + electrophoresis) * root / (1 + root)) / 1000
    return Conductivity(value, value * (1 - CONDUCTIVITY_ERROR), value * (1 + CONDUCTIVITY_ERROR))


def _equivalents(elements: Mapping[str, float], alkalinity: float) -> tuple[dict[str, float], dict[str, float]]:
    """Milliequivalents of each ion in a litre, both sides of the same sum."""
    cations = {ion: elements.get(ion, 0.0) / ATOMIC_WEIGHTS[ion] * charge for ion, (charge, _) in CATIONS.items()}
    anions = {
        ion: elements.get(ion, 0.0) / ATOMIC_WEIGHTS[ion] * charge
        for ion, (charge, _) in ANIONS.items()
        if ion != "alkalinity"
    }
    anions["alkalinity"] = alkalinity / MG_CACO3_PER_MEQ
    excess = sum(cations.values()) - sum(anions.values())
    if excess > 0:
        anions[MISSING_ANION] += excess
    else:
        cations[MISSING_CATION] -= excess
    return cations, anions


def shares_of_recipe(elements: Mapping[str, float]) -> dict[str, float]:
    """Return which share of the N, P, K, Ca and Mg (mg/L) of `USUAL_RECIPE` there is.

    Examples
    --------
    >>> shares_of_recipe({"N": 75, "Ca": 0.0})
    {'N': 0.5, 'P': 0.0, 'K': 0.0, 'Ca': 0.0, 'Mg': 0.0}
    """
    return {element: elements.get(element, 0.0) / mg_l for element, mg_l in RECIPE_MG_L.items()}


LITTLE_SHARE = 0.5
"""Of the recipe's calcium or magnesium, beside nitrogen at its full strength: less is too little. Half leaves room for
the feeds that published recipes differ by, and for what labels round (common practice, no source)."""
Scarce = Literal["Ca", "Mg"]


def scarce_elements(elements: Mapping[str, float]) -> tuple[Scarce, ...]:
    """Name which of calcium and magnesium there is too little of beside the nitrogen, in mg/L.

    A weak solution has little of everything, and is told to be weak; a strong one needs no more than the recipe's own.

    Examples
    --------
    >>> scarce_elements({"N": 75.0, "Ca": 40.0, "Mg": 3.0})
    ('Mg',)
    """
    shares, wanted = shares_of_recipe(elements), wanted_share(elements)
    both: tuple[Scarce, ...] = ("Ca", "Mg")
    return tuple(element for element in both if shares[element] < wanted)


def wanted_share(elements: Mapping[str, float]) -> float:
    """Least share of the recipe's calcium and magnesium that goes with the nitrogen, in mg/L.

    Examples
    --------
    >>> wanted_share({"N": 75.0}), wanted_share({"N": 300.0})
    (0.25, 0.5)
    """
    return LITTLE_SHARE * min(shares_of_recipe(elements)["N"], 1.0)
