"""Simulated power: it agrees with the exact one, and its numbers do not depend on who draws them."""

import math
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from trialkit.documents.plan import Refusal
from trialkit.domain.errors import WrongCall
from trialkit.domain.progress import watched
from trialkit.planning.assumptions import Assumptions
from trialkit.planning.exact import expected_power
from trialkit.planning.planned_design import PlannedDesign
from trialkit.planning.planned_power import Goal, PlannedPower
from trialkit.planning.refusal import CannotBeJudged
from trialkit.planning.simulated_power import exact_or_simulated_power, monte_carlo_se, simulate_power
from trialkit.planning.simulation import Draws, Task, replicate_generator, simulate

SEED = 20260820
REPLICATES = 4000
# Standard errors by which a simulated power may differ; about 25 are looked at, and one in 30,000 lies further.
BOUND = 4.0
GOALS = {"cultivar": "Larkmoor Butter", "dose_tsp": 4.0}


def simulated(
    design: PlannedDesign, assumptions: Assumptions, goal: Goal, executor: Executor, **options: Any
) -> PlannedPower:
    """Simulate with the seed of these tests."""
    arguments = {"replicates": REPLICATES, "seed": SEED} | options
    return simulate_power(design, assumptions, goal, executor=executor, **arguments)


@pytest.mark.parametrize("name", ["one garden", "gardens", "split-plot", "one head"])
def test_simulation_agrees_with_the_exact_power(
    plans: Any, assumptions: Assumptions, serial: Executor, name: str
) -> None:
    """Wherever both apply every power agrees within 4 Monte-Carlo standard errors, and widths within 2 %."""
    design = {
        "one garden": lambda: plans.blocks(1, 3, 4, plans.factorial),
        "gardens": lambda: plans.blocks(3, 2, 3, plans.factorial),
        "split-plot": lambda: plans.split_plot(3, 2, 2, plans.factorial, "cultivar"),
        "one head": lambda: plans.blocks(1, 4, 1),
    }[name]()
    goal = Goal(18.0, {column: GOALS[column] for column in design.treatment})
    exact, found = expected_power(design, assumptions, goal), simulated(design, assumptions, goal, serial)
    assert exact.method == "exact"
    assert found.method == "simulated"
    assert found.failed == 0
    pairs = [*zip(exact.effects, found.effects, strict=True), *zip(exact.differences, found.differences, strict=True)]
    for one, other in pairs:
        assert other.power == pytest.approx(one.power, abs=BOUND * other.monte_carlo_se)
    for one, other in zip(exact.differences, found.differences, strict=True):
        assert other.half_width_g == pytest.approx(one.half_width_g, rel=0.02)
        assert other.detectable_g == pytest.approx(one.detectable_g, rel=0.03)


def test_no_effect_is_found_as_often_as_the_level_says(plans: Any, assumptions: Assumptions, serial: Executor) -> None:
    """With no true effects every F test rejects 5 % of the time, within 4 standard errors of 5 %."""
    design, goal = plans.blocks(3, 2, 3, plans.factorial), Goal(10.0, GOALS)
    found = simulated(design, assumptions, goal, serial, effects=np.zeros(len(design.heads)))
    limit = BOUND * math.sqrt(0.05 * 0.95 / REPLICATES)
    assert [e.power for e in found.effects] == pytest.approx([0.05] * 3, abs=limit)


def test_small_blocks_of_volunteers(plans: Any, assumptions: Assumptions, serial: Executor) -> None:
    """Not orthogonal: 24 volunteers with three of six treatments each; the quick approximation is within 3 points."""
    design, goal = plans.volunteers(4, 3, 4), Goal(12.0, {"cultivar": "T0"})
    found = simulated(design, assumptions, goal, serial, replicates=2000)
    quick = expected_power(design, assumptions, goal)
    assert design.strata is None
    assert found.failed <= 0.01 * 2000
    assert found.effects[0].power == pytest.approx(quick.effects[0].power, abs=0.03)
    assert found.hardest.power == pytest.approx(quick.hardest.power, abs=0.04)


def test_chunks_and_workers_change_no_number(plans: Any, assumptions: Assumptions, serial: Executor) -> None:
    """One thread or three, chunks of 250 or of 70: the same power to the last digit."""
    design, goal = plans.volunteers(2, 3, 2), Goal(15.0, {"cultivar": "T0"})
    first = simulated(design, assumptions, goal, serial, replicates=600)
    with ThreadPoolExecutor(3) as three:
        assert simulated(design, assumptions, goal, three, replicates=600) == first
        other = simulated(design, assumptions, goal, three, replicates=600, chunk=70)
    assert [e.power for e in other.effects] == [e.power for e in first.effects]
    assert [d.power for d in other.differences] == [d.power for d in first.differences]
    assert other.hardest.half_width_g == pytest.approx(first.hardest.half_width_g, rel=1e-9)


def test_more_replicates_begin_with_the_same(plans: Any, assumptions: Assumptions, serial: Executor) -> None:
    """Each replicate has a seed of its own: asking for more does not change the first."""
    design = plans.blocks(1, 3, 2)
    contrasts = design.comparisons({"cultivar": "Fenleaf"}).rows
    task = Task(design, design.variances(assumptions), np.zeros(len(design.heads)), contrasts, SEED)
    few, many = simulate(task, 30, serial, chunk=10), simulate(task, 50, serial, chunk=25)
    assert few.error == pytest.approx(many.error[:30], rel=1e-9)
    assert few.p[:, 0] == pytest.approx(many.p[:30, 0], rel=1e-9)


def test_replicates_are_children_of_the_seed() -> None:
    """Replicate 7 draws from the child that numpy's own spawning gives."""
    child = np.random.SeedSequence(SEED).spawn(1)[0].spawn(8)[7]
    own = np.random.Generator(np.random.PCG64(child)).standard_normal(3)
    assert replicate_generator(SEED, 7).standard_normal(3).tolist() == own.tolist()


def test_progress_is_told_to_the_end(plans: Any, assumptions: Assumptions, serial: Executor) -> None:
    """Progress rises to the number asked for."""
    told: list[tuple[str, int, int]] = []
    goal = Goal(15.0, {"cultivar": "Fenleaf"})
    with watched(lambda *now: told.append(now)):
        simulated(plans.blocks(1, 3, 2), assumptions, goal, serial, replicates=55, chunk=20)
    assert sorted(told) == told
    assert told[-1] == ("simulated trials", 55, 55)


class Broken(Executor):
    """Every piece of work comes back with some fits that did not settle."""

    def __init__(self, share: float) -> None:
        self.share = share

    def submit(self, fn: Any, /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Run at once, and lose some."""
        draws: Draws = fn(*args, **kwargs)
        lost = np.arange(len(draws.settled)) < self.share * len(draws.settled)
        future: Future[Any] = Future()
        future.set_result(replace(draws, p=np.where(lost[:, None], np.nan, draws.p), settled=~lost))
        return future


def test_a_few_failed_fits_are_told(plans: Any, assumptions: Assumptions) -> None:
    """Four in a hundred fits that did not settle stand beside the power, and found nothing."""
    goal = Goal(500.0, {"cultivar": "Fenleaf"})
    found = simulated(plans.blocks(1, 3, 2), assumptions, goal, Broken(0.04), replicates=100, chunk=100)
    assert found.failed == 4
    assert found.effects[0].power == 0.96
    assert found.hardest.power == 0.96


def test_many_failed_fits_refuse_the_answer(plans: Any, assumptions: Assumptions) -> None:
    """More than 5 % of fits that did not settle: no power, but the reason."""
    goal = Goal(15.0, {"cultivar": "Fenleaf"})
    with pytest.raises(CannotBeJudged) as refused:
        simulated(plans.blocks(1, 3, 2), assumptions, goal, Broken(0.06), replicates=100, chunk=100)
    assert refused.value.refusal == Refusal("simulations failed", failed=6, replicates=100)


def test_an_interrupt_cancels_the_rest(plans: Any, assumptions: Assumptions) -> None:
    """Ctrl-C while waiting: it passes on, and what has not begun never runs."""
    design, goal = plans.blocks(1, 3, 2), Goal(15.0, {"cultivar": "Fenleaf"})

    def interrupt(*_: object) -> None:
        raise KeyboardInterrupt

    begun: list[Future[Any]] = []

    class Counting(ThreadPoolExecutor):
        def submit(self, fn: Any, /, *args: Any, **kwargs: Any) -> Future[Any]:
            future = super().submit(fn, *args, **kwargs)
            begun.append(future)
            return future

    with Counting(1) as executor, watched(interrupt), pytest.raises(KeyboardInterrupt):
        simulated(design, assumptions, goal, executor, replicates=2000, chunk=10)
    assert len(begun) == 200
    assert sum(future.cancelled() for future in begun) > 100


def test_nothing_to_simulate_is_refused(plans: Any, assumptions: Assumptions, serial: Executor) -> None:
    """No replicates, or means of other heads than are planned, are a wrong call."""
    design, goal = plans.blocks(1, 3, 2), Goal(15.0, {"cultivar": "Fenleaf"})
    with pytest.raises(WrongCall):
        simulated(design, assumptions, goal, serial, replicates=0)
    with pytest.raises(WrongCall):
        simulated(design, assumptions, goal, serial, effects=np.zeros(3))


def test_only_what_is_not_orthogonal_is_simulated(plans: Any, assumptions: Assumptions, serial: Executor) -> None:
    """Complete blocks are answered exactly, small blocks of volunteers by simulation; each says which."""
    how = {"replicates": 200, "seed": SEED, "executor": serial}
    blocks = exact_or_simulated_power(plans.blocks(1, 3, 2), assumptions, Goal(15.0, {"cultivar": "Fenleaf"}), **how)
    volunteers = exact_or_simulated_power(plans.volunteers(2, 3, 2), assumptions, Goal(15.0, {"cultivar": "T0"}), **how)
    assert (blocks.method, blocks.replicates) == ("exact", 0)
    assert (volunteers.method, volunteers.replicates) == ("simulated", 200)


def test_monte_carlo_error_is_never_nil() -> None:
    """A power of 1 in a simulation is not known for certain."""
    assert 0 < monte_carlo_se(1000, 1000) < monte_carlo_se(500, 1000) == pytest.approx(0.0158, abs=1e-4)
