"""Equilibrium constants of water and carbonate, by temperature, at zero ionic strength.

Tap water and bucket solutions are dilute: activity coefficients are left out, which moves pH by less than a tenth (a
strip is read to a half).
"""

from collections.abc import Mapping
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from trialkit.domain.arrays import FloatArray

Equilibrium = Literal["carbonic 1", "carbonic 2", "henry", "water"]
KELVIN = 273.15
MG_CACO3_PER_MEQ = 100.087 / 2
"""Milligrams of calcium carbonate that a milliequivalent of alkalinity stands for: half its molar mass."""
CO2_IN_AIR_ATM = 420e-6
"""Partial pressure of carbon dioxide in open air, about 2024."""


# Coefficients of a + b T + c / T + d log10 T + e / T^2, T in kelvin. Plummer & Busenberg 1982, Geochim. Cosmochim. Acta
# 46:1011-1040; of water, as used beside these in geochemical data bases.
_LOG_K: Mapping[Equilibrium, tuple[float, float, float, float, float]] = {
    "carbonic 1": (-356.3094, -0.06091964, 21834.37, 126.8339, -1684915.0),
    "carbonic 2": (-107.8871, -0.03252849, 5151.79, 38.92561, -563713.9),
    "henry": (108.3865, 0.01985076, -6919.53, -40.45154, 669365.0),
    "water": (-283.971, -0.05069842, 13323.0, 102.24447, -1119669.0),
}


def pk(equilibrium: Equilibrium, temperature_c: ArrayLike) -> FloatArray:
    """Return pK of an equilibrium at a temperature.

    Parameters
    ----------
    equilibrium : {"carbonic 1", "carbonic 2", "henry", "water"}
        CO2(aq) + H2O = H+ + HCO3-; HCO3- = H+ + CO3-2; CO2(gas) = CO2(aq), mol/L for an atmosphere; H2O = H+ + OH-.
    temperature_c : float or array
        Degrees Celsius, 0 to 90.

    Examples
    --------
    >>> [round(float(pk(name, 25.0)), 2) for name in ("carbonic 1", "carbonic 2", "henry", "water")]
    [6.35, 10.33, 1.47, 14.0]
    """
    a, b, c, d, e = _LOG_K[equilibrium]
    kelvin = np.asarray(temperature_c, dtype=float) + KELVIN
    return -np.asarray(a + b * kelvin + c / kelvin + d * np.log10(kelvin) + e / kelvin**2)
