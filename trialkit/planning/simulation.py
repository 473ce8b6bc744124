"""Power by simulation: trials drawn from the assumptions, each analysed as the real one will be."""

from __future__ import annotations

import pickle
from collections.abc import Sequence
from concurrent.futures import Executor, Future, as_completed
from dataclasses import dataclass, fields, replace
from functools import lru_cache
from itertools import pairwise
from typing import Annotated, Any, Literal

import numpy as np
from numpy.typing import NDArray

from trialkit.documents.plan import Refusal
from trialkit.domain.arrays import BoolArray, FloatArray
from trialkit.domain.errors import WrongCall
from trialkit.domain.progress import working_on
from trialkit.mixed import MixedFit, MixedModelError, NotConverged, NoVariation, fit_mixed, refit_many
from trialkit.mixed.coded_factors import cross, encode
from trialkit.planning.planned_design import PlannedDesign
from trialkit.planning.refusal import CannotBeJudged

"""Told how many replicates are done, and of how many."""

# Fixed, whatever the number of workers: the sums of a chunk then come out alike to the last digit.
CHUNK = 250
MOST_FAILED = 0.05
# A first trial that the engine can fit, to hold the design; its response plays no part.
FIRST_TRIES = 100
REPLICATE_STREAM, FIRST_STREAM = 0, 1
Bounds = Literal["strata", "nonnegative"]


@dataclass(frozen=True)
class Task:
    """All that a worker needs."""

    design: PlannedDesign
    variances: Annotated[FloatArray, "Shape (k,). g^2, in the order of the model's names."]
    means: Annotated[FloatArray, "Shape (heads,). True mean of each head, g."]
    contrasts: Annotated[FloatArray, "Shape (c, columns of the model matrix). Differences to estimate."]
    seed: int


@dataclass(frozen=True)
class Draws:
    """Analyses of simulated trials, one a row."""

    p: Annotated[
        FloatArray, "Shape (n, effects). Of the F test of each effect; missing where the analysis did not settle."
    ]
    # Shape (n, c). Estimate less truth of each difference, with its standard error and degrees of freedom.
    error: FloatArray
    se: FloatArray
    df: FloatArray
    settled: Annotated[BoolArray, "Shape (n,)."]

    def filled(self, where: BoolArray, other: Draws) -> Draws:
        """Put another's answers, in order, where `where` is true."""

        def put(name: str) -> NDArray[Any]:
            whole: NDArray[Any] = getattr(self, name).copy()
            whole[where] = getattr(other, name)
            return whole

        return Draws(*(put(field.name) for field in fields(Draws)))

    @property
    def failed(self) -> int:
        """How many analyses did not settle."""
        return int((~self.settled).sum())


def simulate(
    task: Task,
    replicates: int,
    executor: Executor,
    *,
    chunk: int = CHUNK,
) -> Draws:
    """Draw trials and analyse them, in parallel.

    Variances of strata are left free and, where that does not settle, held at zero or above. (The analysis of a real
    trial tries the means of its buckets in between.)

    Replicate i has a generator of its own, seeded by the seed and i (child i of ``SeedSequence``), so that the numbers
    do not depend on how many workers there are or which of them draws it.

    A chunk is as many replicates as one piece of work has.

    Raises
    ------
    CannotBeJudged
        If more than 5 % of the analyses did not settle.
    WrongCall
        If there is nothing to simulate.

    Notes
    -----
    On Ctrl-C, or any error, work that has not begun is cancelled and the exception passes on.
    """
    if replicates < 1 or chunk < 1:
        raise WrongCall(f"{replicates} simulated trials tell nothing: ask for 1000 or more.")
    payload = pickle.dumps(replace(task, design=replace(task.design)))  # a copy without what was worked out
    draws = _joined(_gathered(executor, payload, [*range(0, replicates, chunk), replicates]))
    if draws.failed > MOST_FAILED * replicates:
        raise CannotBeJudged(Refusal("simulations failed", draws.failed, replicates))
    return draws


def _gathered(executor: Executor, payload: bytes, edges: Sequence[int]) -> list[Draws]:
    """Results of the chunks in their order; cancel what has not begun if anything stops the wait."""
    futures: list[Future[Draws]] = []
    done = 0
    try:
        for start, stop in pairwise(edges):
            futures.append(executor.submit(run_chunk, payload, start, stop))
        for future in as_completed(futures):
            done += len(future.result().settled)
            working_on("simulated trials", done, edges[-1])
    except BaseException:
        for future in futures:
            future.cancel()
        raise
    return [future.result() for future in futures]


def run_chunk(payload: bytes, start: int, stop: int) -> Draws:
    """Draw and analyse replicates `start` to `stop` of a pickled `Task`; runs in a worker."""
    task, spread = _prepared(payload)
    responses = spread.responses(task, range(start, stop))
    draws = _analysed(payload, "strata", responses)
    left = ~draws.settled
    return draws.filled(left, _analysed(payload, "nonnegative", responses[left])) if left.any() else draws


def _analysed(payload: bytes, bounds: Bounds, responses: FloatArray) -> Draws:
    """Analyse responses with the variances of strata free, or held at zero or above."""
    task, _ = _prepared(payload)
    true = task.contrasts @ _model_coefficients(task)
    fit = _fitted(payload, bounds)
    refits = refit_many(fit, responses, terms=task.design.effects, contrasts=task.contrasts)
    p = np.column_stack([refits.tests[effect].p for effect in task.design.effects])
    return Draws(p, refits.estimate - true, refits.se, refits.df, refits.converged)


@dataclass(frozen=True)
class DrawnTerms:
    """Random terms coded by head, for drawing."""

    codes: Annotated[tuple[NDArray[np.intp], ...], "Shape (heads,)."]
    levels: tuple[int, ...]

    def responses(self, task: Task, replicates: range) -> FloatArray:
        """Responses, shape (replicates, heads), g; each replicate from its own generator."""
        heads, width = len(task.means), len(task.means) + sum(self.levels)
        normal = np.stack([replicate_generator(task.seed, i).standard_normal(width) for i in replicates])
        sd = np.sqrt(task.variances)
        responses: FloatArray = task.means + sd[-1] * normal[:, :heads]
        at = heads
        for codes, levels, spread in zip(self.codes, self.levels, sd, strict=False):
            responses += spread * normal[:, at : at + levels][:, codes]
            at += levels
        return responses


def replicate_generator(seed: int, replicate: int) -> np.random.Generator:
    """Generator of one replicate: child `replicate` of the seed's ``SeedSequence``."""
    return _generator(seed, REPLICATE_STREAM, replicate)


def _generator(seed: int, stream: int, number: int) -> np.random.Generator:
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence(seed, spawn_key=(stream, number))))


@lru_cache(maxsize=4)
def _prepared(payload: bytes) -> tuple[Task, DrawnTerms]:
    """Set a design up once in each worker, however many chunks it gets."""
    task: Task = pickle.loads(payload)
    terms = [cross([encode(task.design.heads[c]) for c in term.split(":")]) for term in task.design.random]
    return task, DrawnTerms(tuple(t.codes for t in terms), tuple(len(t.levels) for t in terms))


@lru_cache(maxsize=8)
def _fitted(payload: bytes, bounds: Bounds) -> MixedFit:
    """Fit a drawn trial, the first that settles: refits share its design and nothing else."""
    task, spread = _prepared(payload)
    name = task.design.model.fixed.formula.response
    for attempt in range(FIRST_TRIES):
        seed = int(_generator(task.seed, FIRST_STREAM, attempt).integers(2**62))
        response = spread.responses(replace(task, seed=seed), range(1))[0]
        data = task.design.heads.assign(**{name: response})
        try:
            return fit_mixed(data, task.design.formula, task.design.random, bounds=bounds)
        except (NotConverged, NoVariation):
            continue
        except MixedModelError as error:
            raise CannotBeJudged(Refusal("not analysable", detail=str(error))) from error
    raise CannotBeJudged(Refusal("nothing fitted", FIRST_TRIES, FIRST_TRIES))


def _model_coefficients(task: Task) -> FloatArray:
    """Coefficients of the model matrix that give the true means (the least squares solution where columns repeat)."""
    fixed = task.design.model.fixed
    basis = fixed.to_orthogonal(np.eye(len(fixed.names))[fixed.kept])
    full = np.zeros(len(fixed.names))
    full[fixed.kept] = basis @ task.design.coefficients(task.means)
    return full


def _joined(parts: Sequence[Draws]) -> Draws:
    return Draws(*(np.concatenate([getattr(part, field.name) for part in parts]) for field in fields(Draws)))
