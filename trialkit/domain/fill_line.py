"""How far up a bucket is filled: every share of a brim comes from the gap of air above the water and one pail."""

AIR_GAP_CM = (5.0, 7.5)
"""Between the fill line and the lid: two to three inches (common practice, no source)."""
PAIL_HIGH_CM = 37.0
"""Inside, of a pail that holds 5 US gallons (18.9 L) to the brim, taken as straight (common practice, no source). The
gap leaves it 15.1 to 16.4 L. A wider pail that is sold as one of 5 gallons, and holds 20.8 L to the very brim, takes 16
to 17.6 L below the same gap."""
USUAL_FILL_L = 16.0
"""Of a 5-gallon pail, where nobody says how much water goes into the bucket."""
FULLEST = 1.0 - AIR_GAP_CM[0] / PAIL_HIGH_CM
"""Share of the brim beyond which less than the gap is left, 0.86."""
