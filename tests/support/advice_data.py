"""Reference data of the advice: records as its model asks for them, and what was found elsewhere (tests/reference)."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from trialkit.advice.gathering import BucketRecords

FOLDER = Path(__file__).parents[1] / "reference" / "advice"
TEXT = dict.fromkeys(["trial", "site", "block", "whole_plot", "cultivar", "acidifier", "kind"], str)


def expected(name: str) -> dict[str, Any]:
    """What was found of a case."""
    return dict(json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8")))


def records(name: str, head_variance: float = 0.0) -> BucketRecords:
    """Records of a case; water, sun and kind of its gardens stand beside each bucket where they are known."""
    rows = pd.read_csv(FOLDER / f"{name}.csv", dtype=TEXT).fillna(dict.fromkeys(TEXT, ""))
    for column, nothing in (("alkalinity", np.nan), ("sun_hours", np.nan), ("kind", "")):
        rows[column] = rows.get(column, nothing)
    gardens = rows[["trial", "site", "alkalinity", "sun_hours", "kind"]].drop_duplicates()
    return BucketRecords(rows.drop(columns=["alkalinity", "sun_hours", "kind"]), gardens, head_variance)
