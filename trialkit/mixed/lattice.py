"""Points to average over in many dimensions: a lattice rule of rank one, built component by component.

The rule's point i is the fractional part of ``i z / n``, with n prime. The components of z are chosen one after the
other, each the best for integrands with square-integrable mixed first derivatives, by convolution (Nuyens & Cools
2006, Math. Comput. 75, 903-920). Points are shifted, and folded at a half to spare the integrand a jump at its edge
(Hickernell 2002, Monte Carlo and Quasi-Monte Carlo Methods 2000, 274-289). Nothing is random: the same dimensions give
the same points.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from trialkit.domain.arrays import FloatArray

PRIMITIVE_ROOTS = {32401: 7, 2017: 5, 257: 3}
"""Sizes of rules, and a number whose powers are all numbers below each. One less than the size has small factors only,
which convolutions are fast for."""
WEIGHT = 0.05
"""Of each dimension beside the whole: that of integrands which vary little with any one."""
TIED = 1e-8
"""Errors that differ by less are equal but for rounding; unequal ones differ by 1e-6 and more."""
SHIFT_SEED = 20


@cache
def generator(size: int, dimensions: int) -> NDArray[np.int64]:
    """Build a rule's vector z, shape (dimensions,)."""
    powers = np.ones(size - 1, np.int64)
    for i in range(1, size - 1):
        powers[i] = powers[i - 1] * PRIMITIVE_ROOTS[size] % size
    values = error_kernel(powers / size)
    # In the order of the powers, to multiply by one is to rotate: the errors of all choices are one convolution.
    spectrum, product = np.fft.rfft(values), np.ones(size - 1)
    chosen = [0]
    while len(chosen) < dimensions:
        product *= 1 + WEIGHT * np.roll(values, -chosen[-1])
        errors = np.fft.irfft(spectrum * np.conj(np.fft.rfft(product)), size - 1)
        half = errors[: (size - 1) // 2]  # the other half are their mirror images
        # A number and its inverse make the same points, their first two coordinates exchanged: which of equals is taken
        # must not hang on the last figure, which is another on another processor.
        chosen.append(int(np.flatnonzero(half <= half.min() + TIED)[0]))
    return powers[chosen]


def error_kernel(x: FloatArray) -> FloatArray:
    """Kernel of the worst-case error: the mean over points of ``prod(1 + WEIGHT kernel)`` is one for a perfect rule."""
    return np.asarray(2 * np.pi**2 * (x * x - x + 1 / 6))


@cache
def lattice_points(size: int, dimensions: int) -> FloatArray:
    """Points in the unit cube, shape (dimensions, size)."""
    shift = np.random.Generator(np.random.PCG64(SHIFT_SEED)).random(dimensions)
    unfolded = np.outer(generator(size, dimensions), np.arange(size)) % size / size + shift[:, None]
    points = np.abs(2 * (unfolded % 1) - 1)
    points.flags.writeable = False  # what is remembered is nobody's to change
    return points
