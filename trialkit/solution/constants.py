"""Equilibrium constants of water and carbonate, by temperature, at zero ionic strength.

Tap water and bucket solutions are dilute: activity coefficients are left out, which moves pH by less than a tenth (a
strip is read to a half).
"""

import numpy as np
from numpy.typing import ArrayLike

from trialkit.domain.arrays import FloatArray

KELVIN = 273.15
MG_CACO3_PER_MEQ = 100.087 / 2
"""Milligrams of calcium carbonate that a milliequivalent of alkalinity stands for: half its molar mass."""
CO2_IN_AIR_ATM = 420e-6
"""Partial pressure of carbon dioxide in open air, about 2024."""


def _form(temperature_c: ArrayLike, a: float, b: float, c: float, d: float, e: float) -> FloatArray:
    kelvin = np.asarray(temperature_c, dtype=float) + KELVIN
    return np.asarray(a + b * kelvin + c / kelvin + d * np.log10(kelvin) + e / kelvin**2)


def pk_carbonic_1(temperature_c: ArrayLike) -> FloatArray:
    """Return pK of CO2(aq) + H2O = H+ + HCO3- (Plummer & Busenberg 1982, Geochim. Cosmochim. Acta 46:1011-1040).

    Parameters
    ----------
    temperature_c : float or array
        Degrees Celsius, 0 to 90.

    Examples
    --------
    >>> round(float(pk_carbonic_1(25.0)), 3)
    6.352
    """
    return -_form(temperature_c, -356.3094, -0.06091964, 21834.37, 126.8339, -1684915.0)


def pk_carbonic_2(temperature_c: ArrayLike) -> FloatArray:
    """Return pK of HCO3- = H+ + CO3-2, as `pk_carbonic_1`.

    Examples
    --------
    >>> round(float(pk_carbonic_2(25.0)), 3)
    10.329
    """
    return -_form(temperature_c, -107.8871, -0.03252849, 5151.79, 38.92561, -563713.9)


def pk_henry(temperature_c: ArrayLike) -> FloatArray:
    """Return pK of CO2(gas) = CO2(aq), mol/L for an atmosphere, as `pk_carbonic_1`.

    Examples
    --------
    >>> round(float(pk_henry(25.0)), 3)
    1.468
    """
    return -_form(temperature_c, 108.3865, 0.01985076, -6919.53, -40.45154, 669365.0)


def pk_water(temperature_c: ArrayLike) -> FloatArray:
    """Return pK of H2O = H+ + OH-, as used beside the above in geochemical data bases.

    Examples
    --------
    >>> round(float(pk_water(25.0)), 2)
    14.0
    """
    return -_form(temperature_c, -283.971, -0.05069842, 13323.0, 102.24447, -1119669.0)
