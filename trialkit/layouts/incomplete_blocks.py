"""Blocks with fewer buckets than treatments: balanced where possible, otherwise near-optimal by search.

The blocks of all sites are chosen together, so that a site may be as small as one volunteer's block; within each site
(or replicate, if resolvable) every treatment comes equally often or once more. A garden that is added later is chosen
given those that stand, which keep theirs: what they tell is part of the criterion of the search. The choice is
randomised as Yates (1936, *Ann. Eugen.* 7:121-140) has it: treatments to their numbers, sets of blocks to sites, blocks
within sites, buckets within blocks.
"""

from collections.abc import Iterator, Sequence

import numpy as np
import pandas as pd

from trialkit.domain.arrays import FloatArray, IntArray
from trialkit.domain.errors import WrongCall
from trialkit.languages import translatable
from trialkit.layouts.balanced import PLANE_OF_ORDER, balanced_blocks, balanced_bound, resolvable_bound, square_lattice
from trialkit.layouts.information import comparable_groups
from trialkit.layouts.interchange import Frame, criterion, information, search
from trialkit.layouts.layout_options import LayoutOptions
from trialkit.layouts.placing import placed_in_blocks

ARRAYS_TRIED = 100


def incomplete_blocks(
    treatments: pd.DataFrame, sites: Sequence[str], blocks: int, rng: np.random.Generator, options: LayoutOptions
) -> Iterator[pd.DataFrame]:
    """Lay out incomplete blocks.

    `block_size` of the options is needed; `resolvable`, `keep_apart` and `bench_columns` count. If resolvable, blocks 1
    to s of a site hold every treatment once, and so on.

    Raises
    ------
    WrongCall
        If such blocks cannot be made or cannot compare all treatments; says what would do.
    """
    size = options.block_size or 0
    chosen = choose_blocks(
        len(treatments), size, len(sites), blocks, rng, resolvable=options.resolvable, standing=options.standing
    )
    # Beside gardens that stand, the numbers are treatments already: they were drawn before the search.
    names = rng.permutation(len(treatments)) if options.standing is None else np.arange(len(treatments))
    named = names[chosen[rng.permutation(len(sites))]]
    sets = blocks * size // len(treatments) if options.resolvable else 1
    for site, held in zip(sites, named, strict=True):

        def draw(held: IntArray = held) -> list[IntArray]:
            shuffled = [chunk[rng.permutation(len(chunk))] for chunk in rng.permutation(held.reshape(sets, -1, size))]
            return [rng.permutation(block) for chunk in shuffled for block in chunk]

        yield placed_in_blocks(treatments, site, options, draw)


def volunteer_blocks(
    treatments: pd.DataFrame, sites: Sequence[str], blocks: int, rng: np.random.Generator, options: LayoutOptions
) -> Iterator[pd.DataFrame]:
    """Lay out one small block for each volunteer, as `incomplete_blocks` does.

    The column volunteer is numbered within the site as its block is.
    """
    for layout in incomplete_blocks(treatments, sites, blocks, rng, options):
        layout.insert(2, "volunteer", layout["block"])
        yield layout


def fewest_blocks(treatments: int, block_size: int) -> int:
    """Return how many blocks it takes at least to compare all treatments: each adds its size less one comparisons."""
    return -(-(treatments - 1) // (block_size - 1))


def choose_blocks(
    treatments: int,
    block_size: int,
    sites: int,
    blocks: int,
    rng: np.random.Generator,
    *,
    resolvable: bool = False,
    standing: FloatArray | None = None,
) -> IntArray:
    """Choose which treatments, by number, stand together.

    There are `blocks` at each site, so that the shape is (sites, blocks, block size). If they are resolvable, each run
    of treatments / block size blocks holds every treatment once. `standing` is the information matrix of gardens that
    stand already.

    Raises
    ------
    WrongCall
        If there are too few blocks to compare all treatments, or no replicates can be made of them.
    """
    total, needed = sites * blocks, fewest_blocks(treatments, block_size)
    if standing is None and total < needed:
        raise WrongCall(
            translatable(
                "{total} blocks of {block_size} buckets cannot compare {treatments} treatments: it takes {needed}. Add "
                "blocks (layout.blocks), gardens, or buckets to each block (layout.block_size)."
            ),
            total=total,
            block_size=block_size,
            treatments=treatments,
            needed=needed,
        )
    shape = (sites, blocks, block_size)
    if resolvable:
        chosen = _resolvable(treatments, block_size, blocks, total, rng, standing).reshape(total * block_size)
        frame = block_frame(np.arange(len(chosen)) // treatments, block_size, standing)
        return _connected(chosen, treatments, frame).reshape(shape)
    balanced = None if standing is not None else _balanced_over_sites(treatments, block_size, sites, blocks)
    if balanced is not None:
        return balanced
    frame = block_frame(np.repeat(np.arange(sites), blocks * block_size), block_size, standing)
    count = total * block_size
    goal = 0.0 if standing is not None else _goal(treatments, count, balanced_bound(treatments, block_size))
    start = np.arange(count) % treatments
    in_replicate, left = divmod(treatments, block_size)
    if not left and total % in_replicate == 0 and (blocks % in_replicate == 0 or in_replicate % blocks == 0):
        start = _best_alpha(treatments, block_size, total // in_replicate, rng, frame)
    if standing is not None:
        start = rng.permutation(treatments)[start]
    return _connected(search(treatments, frame, rng, start=start, goal=goal), treatments, frame).reshape(shape)


def _connected(chosen: IntArray, treatments: int, frame: Frame) -> IntArray:
    """Refuse blocks that leave treatments without comparison, whatever the search has come to."""
    if len(comparable_groups(information(chosen, treatments, frame))) > 1:
        raise WrongCall(
            translatable(
                "No such blocks were found that compare all {treatments} treatments with each other: add blocks "
                "(layout.blocks), gardens, or buckets to each block (layout.block_size)."
            ),
            treatments=treatments,
        )
    return chosen


def block_frame(groups: IntArray, block_size: int, standing: FloatArray | None = None) -> Frame:
    """Return the frame of a search in blocks of one size, in order, beside what stands already."""
    blocks = np.arange(len(groups)) // block_size
    return Frame(groups, ((blocks, 1 / block_size),), (blocks,), standing)


def _goal(treatments: int, buckets: int, bound: float) -> float:
    """Criterion of a layout that reaches a bound; 0, never reached, with unequal replication."""
    if buckets % treatments:
        return 0.0
    return (treatments - 1) * treatments / (bound * buckets) + 1


def _balanced_over_sites(treatments: int, block_size: int, sites: int, blocks: int) -> IntArray | None:
    """Balanced blocks at each site, or over the sites if every site can be a single block; None if there are none."""
    if (here := balanced_blocks(treatments, block_size, blocks)) is not None:
        return np.array([here] * sites)
    if blocks == 1 and (there := balanced_blocks(treatments, block_size, sites)) is not None:
        return np.array(there)[:, None, :]
    return None


def _resolvable(
    treatments: int,
    block_size: int,
    blocks: int,
    total: int,
    rng: np.random.Generator,
    standing: FloatArray | None,
) -> IntArray:
    in_replicate = treatments // block_size
    if treatments % block_size or blocks % in_replicate:
        raise WrongCall(
            translatable(
                "{blocks} blocks of {block_size} buckets in a garden make no whole replicates of {treatments} "
                "treatments. The block size must divide the number of treatments. The blocks in a garden must be a "
                "multiple of treatments / block size. Change layout.blocks or layout.block_size, or set "
                "layout.resolvable to false."
            ),
            blocks=blocks,
            block_size=block_size,
            treatments=treatments,
        )
    replicates = total // in_replicate
    if standing is None and treatments == block_size**2 and block_size in PLANE_OF_ORDER:
        lattice = square_lattice(block_size)
        return np.array([lattice[number % len(lattice)] for number in range(replicates)])
    frame = block_frame(np.repeat(np.arange(replicates), treatments), block_size, standing)
    start = _best_alpha(treatments, block_size, replicates, rng, frame)
    if standing is not None:
        return search(treatments, frame, rng, start=rng.permutation(treatments)[start])
    goal = _goal(treatments, replicates * treatments, resolvable_bound(treatments, block_size, replicates))
    return search(treatments, frame, rng, start=start, goal=goal)


def _best_alpha(treatments: int, block_size: int, replicates: int, rng: np.random.Generator, frame: Frame) -> IntArray:
    """Draw alpha arrays and return the buckets of the best; shape (buckets,)."""
    in_replicate = treatments // block_size
    arrays = [rng.integers(in_replicate, size=(replicates, block_size)) for _ in range(ARRAYS_TRIED)]
    starts = [alpha_blocks(array, in_replicate).ravel() for array in arrays]
    return min(starts, key=lambda labels: round(criterion(labels, treatments, frame), 9))


def alpha_blocks(array: IntArray, in_replicate: int) -> IntArray:
    """Develop an alpha array into a resolvable layout.

    Parameters
    ----------
    array : array of int
        Residues mod s; one row a replicate, one column a place in the block; shape (replicates, block size).
    in_replicate : int
        s, the blocks of a replicate.

    Returns
    -------
    array of int
        Shape (replicates, s, block size): block j of a replicate holds, at place i, treatment
        ``(array[i] + j) mod s + i s`` (Patterson & Williams 1976, *Biometrika* 63:83-92).
    """
    places = np.arange(array.shape[1])
    turned = (array[:, None, :] + np.arange(in_replicate)[None, :, None]) % in_replicate
    return np.asarray(turned + places * in_replicate)
