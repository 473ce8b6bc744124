"""Acids that lower pH: their constants, and how many protons a mole gives at a pH."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Annotated, Literal

import numpy as np

from trialkit.domain.arrays import FloatArray
from trialkit.domain.errors import WrongCall
from trialkit.domain.units import TEASPOON_ML

STRONG = -3.0
"""pK of a proton that is always given in water; the exact value does not matter above pH 0."""


@dataclass(frozen=True)
class Acid:
    """An acid."""

    name: str
    pk: Annotated[
        tuple[float, ...],
        "Of each proton in turn, at 25 degrees Celsius and zero ionic strength. They move by less than 0.03 between "
        "10 and 35 degrees for the acids that gardeners use (from memory), and are taken as constant.",
    ]
    molar_mass_g: Annotated[float, "g/mol, without water of crystallisation."]


# Acetic and sulfuric acid: general-chemistry tables at 25 degrees Celsius, after the CRC Handbook and Lange's. Citric
# and phosphoric acid: the digits of critically selected constants (from memory); those tables round citric to 3.13,
# 4.76, 6.40 and have 2.16 and 7.21 for phosphoric. Its third, 12.32 to 12.375 among tables, plays no part below pH 10.
ACIDS: Mapping[str, Acid] = MappingProxyType(
    {
        acid.name: acid
        for acid in (
            Acid("acetic", (4.756,), 60.052),
            Acid("citric", (3.128, 4.761, 6.396), 192.124),
            Acid("phosphoric", (2.148, 7.198, 12.35), 97.994),
            Acid("sulfuric", (STRONG, 1.99), 98.072),
            Acid("nitric", (STRONG,), 63.012),
        )
    }
)


KitchenFault = Literal["not of the kitchen", "too weak", "too strong", "no strength"]
KITCHEN_ACIDS = ("acetic", "citric")
"""Those that are sold as food; nobody here tells amounts of another, which go by their own label."""
VINEGAR_PCT = (4.0, 10.0)
"""g of acetic acid in 100 mL of kitchen vinegar. Vinegar has 4 at least (US FDA Compliance Policy Guide 525.825). Above
10 it irritates skin and eyes, and from 25 on it burns them (specific concentration limits of acetic acid, Regulation
(EC) 1272/2008, Annex VI, from memory)."""


def kitchen_fault(acid: str, pct_w_v: float | None) -> KitchenFault | None:
    """Say why a product is no acid of the kitchen; None where it is one.

    Parameters
    ----------
    acid : str
        Name of the acid.
    pct_w_v : float or None
        Grams of it in 100 mL of a liquid; None of a powder.

    Examples
    --------
    >>> kitchen_fault("acetic", 5.0), kitchen_fault("acetic", 30.0), kitchen_fault("sulfuric", 5.0)
    (None, 'too strong', 'not of the kitchen')
    """
    if acid not in KITCHEN_ACIDS:
        return "not of the kitchen"
    if pct_w_v is None:
        return "no strength" if acid == "acetic" else None
    if pct_w_v > VINEGAR_PCT[1]:
        return "too strong"
    return "too weak" if acid == "acetic" and pct_w_v < VINEGAR_PCT[0] else None


def protons_given(acid: str, scarcity: FloatArray) -> FloatArray:
    """Return how many protons a mole of an acid has given, from 10 to the power of pH (L/mol; slow to work out).

    The mean charge of its anions: with cumulative constants :math:`β_j = Π_{i≤j} K_i / h^j`, it is
    :math:`Σ j β_j / Σ β_j` (charge balance, any text on aqueous equilibria).
    """
    part, weight, charge = np.float64(1.0), np.float64(1.0), np.float64(0.0)
    for j, pk in enumerate(known_acid(acid).pk, 1):
        part = part * (scarcity * 10.0**-pk)
        weight, charge = weight + part, charge + j * part
    return np.asarray(charge / weight)


def ten_to(power: FloatArray) -> FloatArray:
    """Return 10 to a power, several times faster than the general power function."""
    return np.asarray(np.exp(power * np.log(10.0)))


def known_acid(name: str) -> Acid:
    """Return an acid by its name.

    Raises
    ------
    WrongCall
        If there is no such acid; names those that there are.
    """
    if name not in ACIDS:
        raise WrongCall(f'There is no acid "{name}" here; there are {", ".join(ACIDS)}.')
    return ACIDS[name]


@dataclass(frozen=True)
class AcidProduct:
    """An acid of the kitchen: a liquid by its strength, or a powder by what a level teaspoon weighs.

    Raises
    ------
    WrongCall
        If it is neither, or both, or no acid of the kitchen (`kitchen_fault`).
    """

    name: str
    acid: str
    pct_w_v: float | None = None
    grams_per_tsp: float | None = None

    def __post_init__(self) -> None:
        known_acid(self.acid)
        given = [value for value in (self.pct_w_v, self.grams_per_tsp) if value is not None]
        if len(given) != 1 or not 0 < given[0] <= 100:
            raise WrongCall(
                f"{self.name}: give a number above 0 and at most 100. Of a liquid, it is the grams of acid in 100 mL. "
                "Of a powder, it is the grams in a level teaspoon."
            )
        if fault := kitchen_fault(self.acid, self.pct_w_v):
            raise WrongCall(
                f"{self.name} is no acid of the kitchen ({fault}). Amounts are told of citric acid and of vinegar of "
                f"{VINEGAR_PCT[0]:g} to {VINEGAR_PCT[1]:g} g in 100 mL, and of no other acid."
            )

    @property
    def is_powder(self) -> bool:
        """Whether it is dissolved before use."""
        return self.pct_w_v is None

    @property
    def mol_per_tsp(self) -> float:
        """Moles of acid in a level teaspoon."""
        grams = self.grams_per_tsp if self.pct_w_v is None else self.pct_w_v / 100 * TEASPOON_ML
        return (grams or 0.0) / known_acid(self.acid).molar_mass_g
