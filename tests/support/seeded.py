"""What tests of layouts begin with: a generator of known state, and so many cultivars."""

import numpy as np
import pandas as pd


def rng(seed: int) -> np.random.Generator:
    """Return a generator of known state."""
    return np.random.Generator(np.random.PCG64(seed))


def named(count: int) -> pd.DataFrame:
    """Return so many cultivars."""
    return pd.DataFrame({"cultivar": [f"c{i:02d}" for i in range(count)]})
