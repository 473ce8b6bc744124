"""From tap water, spoons and acid to pH and nutrient strength, and back. Pure: numbers in, numbers out."""

from trialkit.solution.acids import ACIDS, Acid
from trialkit.solution.carbonate import acid_for_ph, ph_after

__all__ = ["ACIDS", "Acid", "acid_for_ph", "ph_after"]
