"""Balanced incomplete blocks: every two treatments meet in equally many blocks.

Constructed from all combinations, from base blocks that are turned round a circle of treatments (Bose 1939, *Ann.
Eugen.* 9:353-399), from what a projective plane leaves when a line is taken out, and as complements. The base blocks
were found by exhaustive search for this package; tests verify the identities ``b k = v r`` and
``lambda (v - 1) = r (k - 1)`` for each.
"""

from collections.abc import Iterator, Mapping
from functools import lru_cache
from itertools import combinations
from math import comb

Blocks = tuple[tuple[int, ...], ...]

MOST_COMBINATIONS = 300

BASE_BLOCKS: Mapping[tuple[int, int], Blocks] = {
    (7, 3): ((0, 1, 3),),
    (9, 4): ((0, 1, 2, 4), (0, 1, 4, 6)),
    (10, 4): ((0, 1, 2, 4), (0, 1, 3, 6), (0, 1, 4, 6)),
    (11, 3): ((0, 1, 2), (0, 1, 4), (0, 2, 6), (0, 2, 6), (0, 3, 6)),
    (11, 4): ((0, 1, 2, 3), (0, 1, 3, 6), (0, 1, 4, 7), (0, 1, 5, 7), (0, 2, 4, 7)),
    (11, 5): ((0, 1, 2, 4, 7),),
    (13, 3): ((0, 1, 4), (0, 2, 7)),
    (13, 4): ((0, 1, 3, 9),),
    (13, 5): ((0, 1, 2, 3, 6), (0, 1, 3, 6, 9), (0, 1, 5, 7, 9)),
    (13, 6): ((0, 1, 2, 3, 5, 9), (0, 1, 3, 6, 7, 11)),
    (15, 7): ((0, 1, 2, 4, 5, 8, 10),),
    (16, 3): ((0, 1, 2), (0, 2, 6), (0, 3, 8), (0, 3, 9), (0, 4, 9)),
    (16, 5): ((0, 1, 2, 3, 7), (0, 1, 4, 8, 11), (0, 2, 5, 10, 12)),
    (16, 6): ((0, 1, 2, 3, 6, 10), (0, 1, 3, 6, 8, 12)),
    (17, 4): ((0, 1, 2, 4), (0, 1, 7, 10), (0, 2, 6, 11), (0, 3, 7, 12)),
    (17, 5): ((0, 1, 2, 3, 6), (0, 1, 3, 8, 11), (0, 1, 5, 9, 12), (0, 2, 6, 10, 12)),
    (19, 3): ((0, 1, 4), (0, 2, 9), (0, 5, 11)),
    (19, 4): ((0, 1, 2, 6), (0, 2, 8, 11), (0, 3, 7, 12)),
    (19, 6): ((0, 1, 2, 3, 5, 10), (0, 1, 3, 7, 11, 14), (0, 1, 5, 7, 11, 14)),
    (19, 9): ((0, 1, 2, 3, 5, 7, 12, 13, 16),),
    (21, 5): ((0, 1, 4, 14, 16),),
    (21, 6): ((0, 1, 2, 4, 9, 14), (0, 1, 3, 7, 13, 18)),
    (25, 3): ((0, 1, 3), (0, 4, 11), (0, 5, 13), (0, 6, 15)),
    (25, 4): ((0, 1, 2, 5), (0, 2, 9, 15), (0, 3, 11, 16), (0, 4, 10, 18)),
    (31, 5): ((0, 1, 2, 5, 14), (0, 2, 8, 19, 24), (0, 3, 7, 13, 23)),
    (31, 6): ((0, 1, 3, 8, 12, 18),),
    (37, 9): ((0, 1, 3, 7, 17, 24, 25, 29, 35),),
    (57, 8): ((0, 1, 3, 13, 32, 36, 43, 52),),
    (73, 9): ((0, 1, 3, 7, 15, 31, 36, 54, 63),),
}
"""Base blocks by treatments and block size: their differences, mod the treatments, are each number equally often."""

PLANE_OF_ORDER: Mapping[int, tuple[int, ...]] = {
    order: BASE_BLOCKS[order**2 + order + 1, order + 1][0] for order in (2, 3, 4, 5, 7, 8)
}
"""A line of a projective plane by its order: turned round, it gives all lines (Singer 1938)."""


def developed(base_blocks: Blocks, treatments: int) -> Blocks:
    """Turn base blocks round the circle: add 0, 1, … to each treatment."""
    return tuple(
        tuple(sorted((place + shift) % treatments for place in block))
        for block in base_blocks
        for shift in range(treatments)
    )


@lru_cache
def square_lattice(order: int) -> tuple[Blocks, ...]:
    """Return order + 1 replicates of order² treatments in blocks of `order`, any two treatments meeting once.

    The affine plane that is left of a projective plane without one of its lines (Yates 1936, *Ann. Eugen.* 7:319-332,
    for its use as a lattice; from memory). The first r replicates are a square lattice.

    Raises
    ------
    KeyError
        If no plane of that order is kept here.
    """
    points = order * order + order + 1
    removed, *lines = developed((PLANE_OF_ORDER[order],), points)
    kept = {point: number for number, point in enumerate(p for p in range(points) if p not in removed)}
    return tuple(
        tuple(tuple(kept[p] for p in line if p != corner) for line in lines if corner in line) for corner in removed
    )


def balanced_blocks(treatments: int, block_size: int, blocks: int) -> Blocks | None:
    """Construct balanced incomplete blocks.

    Smaller designs are repeated. None if no construction kept here gives so many blocks (others may exist:
    `trialkit.layouts.interchange` finds small ones).
    """
    fitting = [design for design in _designs(treatments, block_size) if blocks % len(design) == 0]
    if not fitting:
        return None
    largest = max(fitting, key=len)  # fewer blocks that are the same
    return largest * (blocks // len(largest))


def _designs(treatments: int, block_size: int) -> Iterator[Blocks]:
    if comb(treatments, block_size) <= MOST_COMBINATIONS:
        yield tuple(combinations(range(treatments), block_size))
    yield from _small_designs(treatments, block_size)
    everything = set(range(treatments))
    for design in _small_designs(treatments, treatments - block_size):
        yield tuple(tuple(sorted(everything.difference(block))) for block in design)


def _small_designs(treatments: int, block_size: int) -> Iterator[Blocks]:
    if (treatments, block_size) in BASE_BLOCKS:
        yield developed(BASE_BLOCKS[treatments, block_size], treatments)
    if block_size in PLANE_OF_ORDER and treatments == block_size**2:
        yield tuple(block for replicate in square_lattice(block_size) for block in replicate)


def balanced_bound(treatments: int, block_size: int) -> float:
    """Return the efficiency factor of balanced incomplete blocks, which no layout in such blocks exceeds.

    ``E = v (k - 1) / (k (v - 1))`` (Yates 1936, *Ann. Eugen.* 7:121-140; Cochran & Cox 1957, ch. 11; from memory).

    Examples
    --------
    >>> round(balanced_bound(7, 3), 4)
    0.7778
    """
    return treatments * (block_size - 1) / (block_size * (treatments - 1))


def resolvable_bound(treatments: int, block_size: int, replicates: int) -> float:
    """Return the upper bound of a resolvable layout.

    ``U = (v - 1)(r - 1) / [(v - 1)(r - 1) + r (s - 1)]`` with s blocks a replicate (Patterson & Williams 1976,
    *Biometrika* 63:83-92). With many replicates it passes the bound of `balanced_bound`; the smaller one counts.

    Examples
    --------
    >>> round(resolvable_bound(12, 4, 2), 4)
    0.7333
    """
    freedom = (treatments - 1) * (replicates - 1)
    bound = freedom / (freedom + replicates * (treatments // block_size - 1)) if freedom else 0.0
    return min(bound, balanced_bound(treatments, block_size))
