"""What a plan foresees, against trials drawn from what it thinks and judged by the real analysis.

The page reports/foreseen.md has 200 trials of each example; here are few, with their Monte-Carlo errors.
"""

import foreseen
import numpy as np
import pytest

TRIALS, SEED = 20, 5


def test_intervals_and_chances_are_those_that_trials_find() -> None:
    """Within 10 % and three standard errors; a value too, of which few trials tell little."""
    name = "volunteer_cultivars"
    bringing, left = foreseen.DrawnDesign.of(name).foreseen()
    expected = {**vars(bringing), **vars(left)}
    every = [foreseen.found((name, SEED + i)) for i in range(TRIALS)]
    for one in ("half_width", "change", "gain"):
        values = np.array([each[one] for each in every])
        error = 3 * values.std(ddof=1) / np.sqrt(TRIALS)
        assert values.mean() == pytest.approx(expected[one], abs=0.1 * expected[one] + error), one
