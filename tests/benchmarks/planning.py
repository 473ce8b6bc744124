"""Speed of planning: ``python tests/benchmarks/planning.py [SCHEDULER]`` prints a table. No test: no time is asserted.

A grid of 12 sizes is simulated 10,000 times each, the sizes around a trial of 24 buckets (8 treatments in 3 complete
blocks), on all cores. The start of the worker processes is counted apart.
"""

import sys
import time
from collections.abc import Callable
from concurrent.futures import Executor, wait
from itertools import product
from pathlib import Path

import numpy as np
import pandas as pd

from trialkit.analysis.bucket_records import question_of
from trialkit.planning.assumptions import Assumptions
from trialkit.planning.beliefs import outlook
from trialkit.planning.exact import expected_power
from trialkit.planning.executors import simulation_executor
from trialkit.planning.planned_design import PlannedDesign, planned_design
from trialkit.planning.planned_power import Goal
from trialkit.planning.simulated_power import simulate_power
from trialkit.planning.trial_sizes import TrialSize
from trialkit.planning.trial_value import TrialDesign, valued
from trialkit.protocol.randomise import randomise
from trialkit.rules.trial_folder import read_trial

REPLICATES = 10_000
LEVELS = (["Fenleaf", "Larkmoor Butter"], [2.0, 4.0, 6.0, 8.0])
TREATMENTS = pd.DataFrame(product(*LEVELS), columns=["cultivar", "dose_tsp"])
GOAL = Goal(margin_g=15.0, current={"cultivar": "Fenleaf", "dose_tsp": 4.0})
MANY = 1_000_000
EXAMPLES = Path(__file__).parents[2] / "example_trials"
GRID = [TrialSize(*size) for size in product(range(2, 7), range(1, 6), range(1, 5))]
SIZES = [TrialSize(1, blocks, heads) for blocks, heads in product((2, 3, 4), (2, 3, 4, 6))]


def complete_blocks(size: TrialSize) -> PlannedDesign:
    """One garden of complete blocks."""
    layout = pd.concat([TREATMENTS.assign(site="Fernsedge", block=block) for block in range(size.blocks)])
    layout = layout.reset_index(drop=True).assign(bucket=np.arange(len(layout)))
    model = ("weight_g ~ cultivar * dose_tsp", ("site:block", "bucket"))
    if size.blocks < 3:
        model = ("weight_g ~ block + cultivar * dose_tsp", ("bucket",))
        layout["block"] = layout["block"].astype(str)
    return planned_design(layout, size.heads, list(TREATMENTS), lambda _: model)


def incomplete_blocks(size: TrialSize) -> PlannedDesign:
    """Each block is a volunteer with three of the eight treatments."""
    starts = range(8 * size.blocks)
    rows = [TREATMENTS.assign(volunteer=f"v{i}").iloc[[i % 8, (i + 1) % 8, (i + 3) % 8]] for i in starts]
    layout = pd.concat(rows, ignore_index=True).assign(bucket=lambda frame: np.arange(len(frame)))
    model = ("weight_g ~ cultivar * dose_tsp", ("volunteer", "bucket"))
    return planned_design(layout, size.heads, list(TREATMENTS), lambda _: model)


def value_of_a_grid() -> None:
    """Value designs of a bundled example by common practice."""
    trial = read_trial(EXAMPLES / "autumn_dose", stage="plan")
    thought = outlook(trial, question_of(trial), trial.protocol.treatments(), Assumptions())
    for size in GRID:
        layout = trial.protocol.layout.model_copy(update={"blocks": size.blocks})
        protocol = trial.protocol.model_copy(update={"layout": layout})
        sites = tuple(f"G{i:02d}" for i in range(size.sites))
        buckets = randomise(protocol, pd.DataFrame({"site": sites}))
        valued(thought, TrialDesign("size", protocol, sites, size.heads, buckets))


def simulate_all(designs: list[PlannedDesign], replicates: int, executor: Executor) -> None:
    """Simulate each design."""
    for design in designs:
        simulate_power(design, Assumptions(), GOAL, replicates=replicates, seed=1, executor=executor)


def seconds(function: Callable[[], object]) -> float:
    """How long one call takes."""
    start = time.perf_counter()
    function()
    return time.perf_counter() - start


def main() -> None:
    """Print the table."""
    designs = [complete_blocks(size) for size in SIZES]
    exact = seconds(lambda: [expected_power(design, Assumptions(), GOAL) for design in designs])
    print(f"grid of {len(SIZES)}, exact: {exact:.2f} s")
    start = time.perf_counter()
    with simulation_executor() as executor:
        wait([executor.submit(expected_power, design, Assumptions(), GOAL) for design in designs])
        print(f"worker processes ready, libraries loaded: {time.perf_counter() - start:.2f} s")
        grid = seconds(lambda: simulate_all(designs, REPLICATES, executor))
        print(f"grid of {len(SIZES)} around 24 buckets, orthogonal, {REPLICATES} simulations each: {grid:.2f} s")
        volunteers = seconds(lambda: simulate_all([incomplete_blocks(TrialSize(1, 3, 4))], 1_000, executor))
        print(f"24 volunteers with 3 buckets each, not orthogonal, 1000 simulations: {volunteers:.2f} s")
    print(f"value of {len(GRID)} designs of the autumn example: {seconds(value_of_a_grid):.2f} s")
    if len(sys.argv) > 1:
        with simulation_executor(sys.argv[1]) as executor:
            many = seconds(lambda: simulate_all([complete_blocks(TrialSize(1, 3, 4))], MANY, executor))
        print(f"24 buckets, {MANY:,} simulations by the scheduler {sys.argv[1]}: {many:.0f} s")


if __name__ == "__main__":
    main()
