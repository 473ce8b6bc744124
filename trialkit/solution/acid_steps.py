"""How much acid may go in at a time, so that no step takes the water out of what roots and people bear.

Whoever adds acid by the strip stops when it shows the window; what hurts is the step before that. A step is safe if it
leaves the pH at `LOWEST_PH_AFTER_A_STEP` or above even when it was at the top of the window before, and at `LOWEST_PH`
or above in a bucket that has stood, from which all carbon dioxide went that the air does not hold: such water holds the
pH less, and gets acid again when its pH has climbed. Powder is dissolved first: a teaspoon of it turns water of little
alkalinity into something near vinegar at once.
"""

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Annotated, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trialkit.domain.arrays import FloatArray
from trialkit.domain.ph_window import STRIP_STEP, WINDOW_PH
from trialkit.domain.units import CUP_ML, TABLESPOON_ML, TEASPOON_ML
from trialkit.domain.usual_water import USUAL_PH, USUAL_TEMPERATURE_C
from trialkit.solution.acids import AcidProduct
from trialkit.solution.carbonate import acid_for_ph, ph_after

LOWEST_PH = 5.0
"""Below it roots of lettuce suffer (common practice, no source)."""
LOWEST_PH_AFTER_A_STEP = WINDOW_PH[0] - STRIP_STEP / 2
"""A strip still shows the window's lower end."""
POWDER_TSP_PER_CUP = 1.0
"""Level teaspoons of powder dissolved in each US cup of water."""
SOLUTION_TSP_PER_POWDER_TSP = CUP_ML / TEASPOON_ML / POWDER_TSP_PER_CUP
"""Teaspoons of that solution in which one level teaspoon of powder is; the powder's own volume is left out."""
KITCHEN_STEPS_TSP = (CUP_ML / TEASPOON_ML / 4, TABLESPOON_ML / TEASPOON_ML, 1.0, 0.5, 0.25)
"""What a kitchen measures liquids with: a quarter of a cup, a tablespoon, a teaspoon, a half and a quarter of one."""
ALKALINITY_STEP_MG_L = 5.0
HIGHEST_ALKALINITY_MG_L = 300.0
"""mg/L as calcium carbonate: beyond it, water of less alkalinity serves better than acid. To `TARGET_PH` it takes about
half a cup of 5 % vinegar for 20 L, and leaves 300 mg/L of acetate, which microbes eat with more oxygen than thirty
times as much water holds (by charge balance; that it is too much is common practice, no source)."""


@dataclass(frozen=True)
class AcidStep:
    """What is added at a time."""

    tsp: Annotated[float, "Teaspoons of the liquid: of the acid as sold, or of the solution of a powder."]
    millilitres: Annotated[float, "Volume of that, mL."]
    acid_tsp: Annotated[float, "What that holds of the acid as sold, level teaspoons."]


@lru_cache(maxsize=512)  # a trial's buckets ask for the same few gardens and acids over and over
def safe_acid_step(
    acid: AcidProduct,
    volume_l: float,
    alkalinity_mg_l_caco3: float,
    *,
    ph_start: float = USUAL_PH,
    temperature_c: float = USUAL_TEMPERATURE_C,
) -> AcidStep | None:
    """Return the largest kitchen measure of an acid that is safe in a water; None where the smallest is not.

    The alkalinity is the lowest that the water may have; pH and temperature are those of the water as it comes.

    Examples
    --------
    >>> citric = AcidProduct("citric acid", "citric", grams_per_tsp=4.6)
    >>> safe_acid_step(citric, 20.0, 90.0).tsp, safe_acid_step(citric, 20.0, 0.0)
    (3.0, None)
    """
    steps = [_step(acid, tsp) for tsp in KITCHEN_STEPS_TSP]
    amounts = [step.acid_tsp for step in steps]
    safe = _are_safe(amounts, acid, volume_l, alkalinity_mg_l_caco3, ph_start, temperature_c)
    return next((step for step, is_safe in zip(steps, safe, strict=True) if is_safe), None)


def smallest_acid_step(acid: AcidProduct) -> AcidStep:
    """Return the smallest kitchen measure of an acid: for water of which nobody knows the alkalinity."""
    return _step(acid, KITCHEN_STEPS_TSP[-1])


def lowest_alkalinity_for_acid(
    acid: AcidProduct, volume_l: float, *, ph_start: float = USUAL_PH, temperature_c: float = USUAL_TEMPERATURE_C
) -> float:
    """Return the alkalinity, in fives of mg/L, from which on some kitchen measure is safe; infinite beyond 300 mg/L.

    Examples
    --------
    >>> lowest_alkalinity_for_acid(AcidProduct("vinegar", "acetic", pct_w_v=5.0), 20.0)
    5.0
    """
    alkalinities = np.arange(int(HIGHEST_ALKALINITY_MG_L / ALKALINITY_STEP_MG_L) + 1) * ALKALINITY_STEP_MG_L
    safe = _are_safe(smallest_acid_step(acid).acid_tsp, acid, volume_l, alkalinities, ph_start, temperature_c)
    return float(alkalinities[safe][0]) if safe.any() else math.inf


def _step(acid: AcidProduct, tsp: float) -> AcidStep:
    return AcidStep(tsp, tsp * TEASPOON_ML, tsp / (SOLUTION_TSP_PER_POWDER_TSP if acid.is_powder else 1.0))


def _are_safe(
    acid_tsp: ArrayLike,
    acid: AcidProduct,
    volume_l: float,
    alkalinity: ArrayLike,
    ph_start: float,
    temperature_c: float,
) -> NDArray[np.bool_]:
    """Whether water at the top of the window stays above the lowest pH that a step may leave, for each step or water.

    Phosphate of nutrient would hold the pH a little better and is left out.
    """

    def after(*, open_to_air: bool) -> FloatArray:
        about: dict[str, Any] = {
            "acid": acid.acid,
            "alkalinity_mg_l_caco3": alkalinity,
            "ph_start": ph_start,
            "temperature_c": temperature_c,
            "open_to_air": open_to_air,
        }
        before = acid_for_ph(ph_target=WINDOW_PH[1], **about)
        return ph_after(acid_mol_l=before + np.asarray(acid_tsp) * acid.mol_per_tsp / volume_l, **about)

    return np.asarray((after(open_to_air=False) >= LOWEST_PH_AFTER_A_STEP) & (after(open_to_air=True) >= LOWEST_PH))
