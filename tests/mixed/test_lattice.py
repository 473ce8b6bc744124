"""The lattice rule that general correlations are integrated by."""

from math import prod

import numpy as np
import pytest

from trialkit.mixed import lattice
from trialkit.mixed.lattice import PRIMITIVE_ROOTS, WEIGHT, error_kernel, generator, lattice_points


def test_components_are_the_best_of_all(monkeypatch: pytest.MonkeyPatch) -> None:
    """Convolution finds what looking at every choice finds (definition of the construction: Nuyens & Cools 2006)."""
    size, dimensions = 127, 6
    monkeypatch.setattr(lattice, "PRIMITIVE_ROOTS", {size: 3})
    points = np.arange(size)

    def error(z: list[int]) -> float:
        return float(np.prod([1 + WEIGHT * error_kernel(points * one % size / size) for one in z], axis=0).mean())

    best = [1]
    for _ in range(dimensions - 1):
        best.append(min(range(1, size), key=lambda one: round(error([*best, one]), 12)))
    built = [int(z) for z in generator.__wrapped__(size, dimensions)]
    # A component and its mirror image are alike, so the errors are compared and not the numbers.
    assert [error(built[: j + 1]) for j in range(dimensions)] == pytest.approx(
        [error(best[: j + 1]) for j in range(dimensions)], rel=1e-12
    )


@pytest.mark.parametrize("size", PRIMITIVE_ROOTS)
def test_the_same_rule_on_every_processor(monkeypatch: pytest.MonkeyPatch, size: int) -> None:
    """By definition: another rounding in the last figures must not lead to other points."""
    here = generator.__wrapped__(size, 20)
    random = np.random.Generator(np.random.PCG64(7))

    def rounded_otherwise(x: np.ndarray) -> np.ndarray:
        return np.asarray(error_kernel(x) * (1 + random.uniform(-1e-14, 1e-14, len(x))))

    monkeypatch.setattr(lattice, "error_kernel", rounded_otherwise)
    assert [generator.__wrapped__(size, 20).tolist() for _ in range(5)] == [here.tolist()] * 5


@pytest.mark.parametrize("size", PRIMITIVE_ROOTS)
def test_powers_of_the_root_are_all_numbers(size: int) -> None:
    """By definition of a primitive root, here counted."""
    power, seen = 1, set()
    for _ in range(size - 1):
        power = power * PRIMITIVE_ROOTS[size] % size
        seen.add(power)
    assert len(seen) == size - 1


@pytest.mark.parametrize("size", PRIMITIVE_ROOTS)
def test_smooth_integrand(size: int) -> None:
    """The integral of exp of a mean is known in closed form; random points would be off a hundred times as much."""
    dimensions = 10
    exact = prod([dimensions * (np.exp(1 / dimensions) - 1)] * dimensions)
    values = np.exp(lattice_points(size, dimensions).mean(0))
    by_chance = values.std() / np.sqrt(size)
    assert abs(values.mean() - exact) < by_chance / 100
