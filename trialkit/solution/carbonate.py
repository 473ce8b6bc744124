"""pH of water with alkalinity, acid and nutrient: charge balance with the carbonate system.

Stumm & Morgan, *Aquatic Chemistry*, ch. 3-4 (from memory); Whipker, Bailey, Nelson, Fonteno & Hammer 1996, *Commun.
Soil Sci. Plant Anal.* 27:959-976, for the calculation of acid for irrigation water from alkalinity and starting pH.

The water is known by its alkalinity and its pH. Alkalinity is the charge of the strong cations that strong anions do
not balance; it stays while acid is added. Together with the pH it tells how much carbonate there is, which stays too as
long as the bucket is closed. In a bucket open to the air carbon dioxide leaves until it is in equilibrium.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from trialkit.domain.arrays import FloatArray
from trialkit.domain.errors import WrongCall
from trialkit.domain.usual_water import USUAL_TEMPERATURE_C
from trialkit.solution.acids import protons_given, ten_to
from trialkit.solution.constants import CO2_IN_AIR_ATM, MG_CACO3_PER_MEQ, pk

LOWEST_PH, HIGHEST_PH = -2.0, 16.0
HALVINGS = 7
"""Of the 18 units of pH: over what is left, charges are smooth."""
MOST_POSITIONS, SETTLED = 60, 1e-13
MOST_CO2_ATM = 1.0
"""Water out of a tap holds no more dissolved carbon dioxide than under an atmosphere of it: it would fizz."""


def ph_after(
    *,
    acid: str,
    acid_mol_l: ArrayLike,
    alkalinity_mg_l_caco3: ArrayLike,
    ph_start: ArrayLike,
    temperature_c: ArrayLike = USUAL_TEMPERATURE_C,
    open_to_air: bool = False,
    phosphate_mol_l: ArrayLike = 0.0,
) -> FloatArray:
    """Return the pH of water after acid was added.

    All numbers may be arrays and are broadcast against each other. The volume that the acid itself adds is left out.

    Parameters
    ----------
    acid : {"acetic", "citric", "phosphoric", "sulfuric", "nitric"}
    acid_mol_l : float or array
        Moles of the acid added to a litre of water, not negative.
    alkalinity_mg_l_caco3 : float or array
        Alkalinity of the water, mg/L as calcium carbonate.
    ph_start : float or array
        pH of the water as it came. Where it contradicts the alkalinity (a pH of 4 with any, a pH of 10 with none) the
        pH is believed.
    temperature_c : float or array
        Degrees Celsius.
    open_to_air : bool
        Whether carbon dioxide has come to equilibrium with the air, as in a bucket that stands.
    phosphate_mol_l : float or array
        Moles of dihydrogen phosphate that nutrient adds to a litre: it gives protons too, above pH 6.

    Returns
    -------
    numpy.ndarray
        pH, in the shape that all arguments have together.

    Raises
    ------
    WrongCall
        If there is no such acid, or an amount is negative or not a number.

    Examples
    --------
    >>> round(float(ph_after(acid="acetic", acid_mol_l=0.0017, alkalinity_mg_l_caco3=100, ph_start=8.0)), 2)
    5.8
    """
    water = _Water(alkalinity_mg_l_caco3, ph_start, temperature_c, open_to_air=open_to_air)
    moles, phosphate = _amount(acid_mol_l, "acid_mol_l"), _amount(phosphate_mol_l, "phosphate_mol_l")
    shape = np.broadcast_shapes(water.shape, moles.shape, phosphate.shape)
    is_fed = bool(phosphate.any())

    def surplus(ph: FloatArray) -> FloatArray:
        """Cations less anions: falls as the pH rises."""
        scarcity = ten_to(ph)
        needed = water.acid_needed(scarcity)
        if is_fed:
            needed = needed + phosphate * _phosphate(scarcity)
        return np.asarray(needed - moles * protons_given(acid, scarcity))

    return _where_nil(surplus, np.full(shape, LOWEST_PH), np.full(shape, HIGHEST_PH))


def _where_nil(of: Callable[[FloatArray], FloatArray], low: FloatArray, high: FloatArray) -> FloatArray:
    """Find where a falling function is nil: by halves until it is smooth, then by false position (Illinois).

    Dowell & Jarratt 1971, BIT 11, 168-174.
    """
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        above = of(middle) < 0
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    at_low, at_high, last = of(low), of(high), np.zeros(low.shape)
    middle, settled = (low + high) / 2, np.zeros(low.shape, bool)
    for _ in range(MOST_POSITIONS):
        # What has settled stays, so that no number hangs on which others are asked for with it.
        found = np.where(settled, middle, np.clip(high - at_high * (high - low) / (at_high - at_low), low, high))
        settled |= np.abs(found - middle) < SETTLED
        middle = found
        if settled.all():
            break
        value = of(middle)
        side = np.sign(value)
        # An end that stays twice counts for half.
        at_low, at_high = (
            np.where(side > 0, value, np.where(last < 0, at_low / 2, at_low)),
            np.where(side < 0, value, np.where(last > 0, at_high / 2, at_high)),
        )
        low, high, last = np.where(side >= 0, middle, low), np.where(side <= 0, middle, high), side
    return np.asarray(middle)


def acid_for_ph(
    *,
    acid: str,
    ph_target: ArrayLike,
    alkalinity_mg_l_caco3: ArrayLike,
    ph_start: ArrayLike,
    temperature_c: ArrayLike = USUAL_TEMPERATURE_C,
    open_to_air: bool = False,
    phosphate_mol_l: ArrayLike = 0.0,
) -> FloatArray:
    """Return the acid that brings water to a pH: the inverse of `ph_after`, which has a closed form.

    Parameters
    ----------
    acid, alkalinity_mg_l_caco3, ph_start, temperature_c, open_to_air, phosphate_mol_l
        As for `ph_after`.
    ph_target : float or array
        pH wanted.

    Returns
    -------
    numpy.ndarray
        Moles of the acid for a litre of water. Zero where the water is at that pH, or below it,
        already.

    Raises
    ------
    WrongCall
        As `ph_after`.

    Examples
    --------
    >>> moles = acid_for_ph(acid="citric", ph_target=5.8, alkalinity_mg_l_caco3=100, ph_start=8.0)
    >>> round(float(moles) * 192.124 * 3.785411784 * 1000)  # mg for a US gallon
    533
    """
    water = _Water(alkalinity_mg_l_caco3, ph_start, temperature_c, open_to_air=open_to_air)
    target = ten_to(_finite(ph_target, "ph_target"))
    needed = water.acid_needed(target) + _amount(phosphate_mol_l, "phosphate_mol_l") * _phosphate(target)
    return np.asarray(np.maximum(needed, 0.0) / protons_given(acid, target))


class _Water:
    """Water by its strong charge and its carbonate."""

    def __init__(
        self, alkalinity_mg_l_caco3: ArrayLike, ph_start: ArrayLike, temperature_c: ArrayLike, *, open_to_air: bool
    ) -> None:
        alkalinity = _amount(alkalinity_mg_l_caco3, "alkalinity_mg_l_caco3") / MG_CACO3_PER_MEQ / 1000
        start, temperature = _finite(ph_start, "ph_start"), _finite(temperature_c, "temperature_c")
        self._first, self._second = 10.0 ** -pk("carbonic 1", temperature), 10.0 ** -pk("carbonic 2", temperature)
        self._water, self._henry = 10.0 ** -pk("water", temperature), 10.0 ** -pk("henry", temperature)
        self._open = open_to_air
        start = ten_to(start)
        charge, free = self._carbonate_charge(start), self._free_co2(start)
        carbonate = (alkalinity - self._hydroxide_less_hydrogen(start)) / charge
        self._carbonate = np.clip(carbonate, 0.0, MOST_CO2_ATM * self._henry / free)
        # What the pH says and carbonate cannot carry is a strong ion's: without it, this is the alkalinity.
        self._strong = self._carbonate * charge + self._hydroxide_less_hydrogen(start)
        self.shape = np.broadcast_shapes(self._strong.shape, temperature.shape)

    def acid_needed(self, scarcity: FloatArray) -> FloatArray:
        """Return the protons, mol/L, that bring the water to a scarcity of hydrogen ions; falls as that rises."""
        if self._open:
            charge = CO2_IN_AIR_ATM * self._henry * self._carbonate_charge(scarcity) / self._free_co2(scarcity)
        else:
            charge = self._carbonate * self._carbonate_charge(scarcity)
        return np.asarray(self._strong - charge - self._hydroxide_less_hydrogen(scarcity))

    def _hydroxide_less_hydrogen(self, scarcity: FloatArray) -> FloatArray:
        return np.asarray(scarcity * self._water - 1 / scarcity)

    def _carbonate_charge(self, scarcity: FloatArray) -> FloatArray:
        """Charge of a mole of carbonate in all its forms."""
        first = scarcity * self._first
        second = first * scarcity * self._second
        return np.asarray((first + 2 * second) / (1 + first + second))

    def _free_co2(self, scarcity: FloatArray) -> FloatArray:
        """Share of carbonate that is dissolved carbon dioxide."""
        first = scarcity * self._first
        return np.asarray(1 / (1 + first * (1 + scarcity * self._second)))


def _phosphate(scarcity: FloatArray) -> FloatArray:
    """Charge that a mole of dihydrogen phosphate's own cation brings, less that of the phosphate itself."""
    return np.asarray(1.0 - protons_given("phosphoric", scarcity))


def _finite(value: ArrayLike, name: str) -> FloatArray:
    array = np.asarray(value, dtype=float)
    if not np.isfinite(array).all():
        raise WrongCall(f"{name} holds something that is not a finite number.")
    return array


def _amount(value: ArrayLike, name: str) -> FloatArray:
    array = _finite(value, name)
    if (array < 0).any():
        raise WrongCall(f"{name} is below 0; it is an amount.")
    return array
