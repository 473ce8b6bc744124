"""What is taken of a tap's water where nobody measured it: on cards, handout, shopping list and terminal alike."""

USUAL_PH = 7.5
"""Of most taps (common practice, no source)."""
USUAL_TEMPERATURE_C = 25.0
"""At which acids' constants are tabled, and near to a bucket's in the growing season (common practice, no source)."""
