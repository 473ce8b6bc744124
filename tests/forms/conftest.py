"""The trial that every form is made of."""

from pathlib import Path

import pytest

from laid_out_trial import laid_out
from trialkit.rules.trial_folder import CheckedTrial


@pytest.fixture
def trial(tmp_path: Path) -> CheckedTrial:
    """A small trial as it stands before its season: laid out, nothing recorded."""
    return laid_out(tmp_path / "trial")
