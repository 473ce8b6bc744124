"""Designs planned as the command plans them: a layout, and the model that the analysis derives from it."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Executor, ThreadPoolExecutor
from itertools import product
from typing import Any

import numpy as np
import pandas as pd
import pytest

from trialkit.analysis.derived_model import derive_model
from trialkit.planning.assumptions import Assumptions
from trialkit.planning.planned_design import PlannedDesign, planned_design
from trialkit.planning.trial_sizes import TrialSize

Levels = Mapping[str, Sequence[Any]]
FACTORIAL: Levels = {"cultivar": ["Fenleaf", "Larkmoor Butter"], "dose_tsp": [2.0, 4.0, 6.0, 8.0]}
CULTIVARS: Levels = {"cultivar": ["Copperfrill", "Fenleaf", "Larkmoor Butter", "Mossridge"]}


class Plans:
    """Makers of designs."""

    factorial, cultivars = FACTORIAL, CULTIVARS

    def blocks(self, sites: int, blocks: int, heads: int, levels: Levels = CULTIVARS) -> PlannedDesign:
        """Randomised complete blocks in each garden."""
        return self._planned(self._copies(sites, blocks, levels), heads, levels, ("site:block",))

    def of_size(self, levels: Levels) -> Callable[[TrialSize], PlannedDesign]:
        """Complete blocks of any size."""
        return lambda size: self.blocks(size.sites, size.blocks, size.heads, levels)

    def split_plot(self, sites: int, blocks: int, heads: int, levels: Levels, whole_plot: str) -> PlannedDesign:
        """One factor on whole plots."""
        layout = self._copies(sites, blocks, levels)
        layout["whole_plot"] = layout[whole_plot].map({level: i for i, level in enumerate(levels[whole_plot])})
        return self._planned(layout, heads, levels, ("site:block", "site:block:whole_plot"))

    def volunteers(self, rounds: int, size: int, heads: int, treatments: int = 6) -> PlannedDesign:
        """Small blocks, one a volunteer: treatments i, i + 1, i + 3 ... of a cycle."""
        steps = [0, 1, 3, 4][:size]
        rows = [
            {"volunteer": f"v{i}", "cultivar": f"T{(i + step) % treatments}"}
            for i in range(rounds * treatments)
            for step in steps
        ]
        layout = pd.DataFrame(rows).assign(bucket=lambda frame: np.arange(len(frame)))
        return planned_design(layout, heads, ["cultivar"], lambda _: ("weight_g ~ cultivar", ("volunteer", "bucket")))

    def _copies(self, sites: int, blocks: int, levels: Levels) -> pd.DataFrame:
        treatments = pd.DataFrame(list(product(*levels.values())), columns=list(levels))
        places = [(f"garden {s}", b) for s in range(sites) for b in range(blocks)]
        layout = pd.concat([treatments.assign(site=s, block=b) for s, b in places], ignore_index=True)
        return layout.assign(bucket=np.arange(len(layout)))

    def _planned(self, layout: pd.DataFrame, heads: int, levels: Levels, strata: tuple[str, ...]) -> PlannedDesign:
        def model_of(rows: pd.DataFrame) -> tuple[str, tuple[str, ...]]:
            model = derive_model(rows, list(levels), strata)
            return model.formula("weight_g"), model.random

        return planned_design(layout, heads, list(levels), model_of)


@pytest.fixture(scope="session")
def plans() -> Plans:
    """Makers of designs."""
    return Plans()


@pytest.fixture(scope="session")
def assumptions() -> Assumptions:
    """Round numbers, so that closed forms can be written out."""
    return Assumptions(site=200.0, block=40.0, whole_plot=30.0, site_by_factor=10.0, bucket=80.0, head=200.0)


@pytest.fixture(scope="session")
def serial() -> Iterator[Executor]:
    """One thread: the plainest executor there is."""
    with ThreadPoolExecutor(1) as executor:
        yield executor
