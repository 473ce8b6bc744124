"""The reference cases as the engine fits them."""

from typing import Any

import pytest

from trialkit.mixed import MixedFit


@pytest.fixture(scope="session")
def fit(mixed_case: Any) -> MixedFit:
    """Each case is fitted once."""
    return mixed_case.fit()
