"""How much alkalinity a water has, from what a gardener can find out, with the uncertainty that entails."""

import math
from dataclasses import dataclass
from typing import Annotated

from trialkit.domain.errors import WrongCall
from trialkit.domain.usual_water import USUAL_TEMPERATURE_C
from trialkit.solution.constants import CO2_IN_AIR_ATM, MG_CACO3_PER_MEQ, pk

# Tap water holds between as much dissolved carbon dioxide as open water and thirty times that (groundwater as it is
# drawn); alkalinity is a third of hardness to a little above it, unless the water was softened. Common practice, no
# source.
MOST_CO2_TIMES_AIR = 30.0
SHARE_OF_HARDNESS = (0.33, 1.2)


@dataclass(frozen=True)
class AlkalinityEstimate:
    """Alkalinity: best guess, and the range that it lies in."""

    value: Annotated[float, "Best guess, mg/L as calcium carbonate."]
    lower: Annotated[float, "Lower end of the range, mg/L as calcium carbonate."]
    upper: Annotated[float, "Upper end of the range, mg/L as calcium carbonate."]
    agrees: Annotated[bool, "Whether the sources that it comes from can be true together."] = True


def alkalinity_from_drops(drops: int, mg_l_per_drop: float) -> AlkalinityEstimate:
    """Return the alkalinity by a drop test: so many drops until the colour turns, each so many mg/L (its leaflet).

    The leaflet's number is drops times what a drop stands for; the colour turned somewhere within the last drop.

    Raises
    ------
    WrongCall
        If there is no drop, or it stands for nothing.

    Examples
    --------
    >>> alkalinity_from_drops(9, 20.0)
    AlkalinityEstimate(value=180.0, lower=160.0, upper=180.0, agrees=True)
    """
    if drops < 1 or not 0 < mg_l_per_drop < math.inf:
        raise WrongCall("A drop test takes at least one drop, which stands for more than 0 mg/L.")
    return AlkalinityEstimate(drops * mg_l_per_drop, (drops - 1) * mg_l_per_drop, drops * mg_l_per_drop)


def alkalinity_from_ph_and_hardness(
    ph: float, hardness_mg_l_caco3: float, temperature_c: float = USUAL_TEMPERATURE_C
) -> AlkalinityEstimate:
    """Guess alkalinity from a strip's pH and hardness: a range, for want of a test of alkalinity itself.

    pH bounds it through the dissolved carbon dioxide that tap water can hold (:math:`[HCO_3^-] = K_1 K_H p / h`, Stumm
    & Morgan, *Aquatic Chemistry*, from memory); hardness bounds it where the water was not softened. The guess is the
    geometric middle of what both allow; where they contradict each other, of hardness's range.

    pH is from 4 to 10; hardness is the total, mg/L as calcium carbonate.

    Raises
    ------
    WrongCall
        If a number is outside its range.

    Examples
    --------
    >>> estimate = alkalinity_from_ph_and_hardness(7.5, 150)
    >>> round(estimate.lower), round(estimate.value), round(estimate.upper)
    (50, 94, 180)
    """
    if not 4 <= ph <= 10 or not 0 <= hardness_mg_l_caco3 <= 2000:
        raise WrongCall("pH must lie between 4 and 10, and hardness between 0 and 2000 mg/L as calcium carbonate.")
    in_air = CO2_IN_AIR_ATM * 10.0 ** (ph - float(pk("carbonic 1", temperature_c)) - float(pk("henry", temperature_c)))
    by_ph = tuple(in_air * times * 1000 * MG_CACO3_PER_MEQ for times in (1.0, MOST_CO2_TIMES_AIR))
    by_hardness = tuple(share * hardness_mg_l_caco3 for share in SHARE_OF_HARDNESS)
    lower, upper = max(by_ph[0], by_hardness[0]), min(by_ph[1], by_hardness[1])
    agrees = lower <= upper
    if not agrees:
        lower, upper = min(by_ph[0], by_hardness[0]), max(by_ph[1], by_hardness[1])
    middle = (lower, upper) if agrees else by_hardness
    return AlkalinityEstimate(math.sqrt(middle[0] * middle[1]), lower, upper, agrees)
