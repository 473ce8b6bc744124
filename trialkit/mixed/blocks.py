"""Step 3: independent blocks, the connected components of the random levels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

import numpy as np

from trialkit.domain.arrays import IntArray
from trialkit.mixed.coded_factors import CodedFactor


@dataclass(frozen=True)
class Blocks:
    """Where each cell and each random level stands in the block-diagonal arrays."""

    count: Annotated[int, "Number of blocks."]
    # Shape (cells,). Block of each cell and its row there.
    cell_block: IntArray
    cell_row: IntArray
    rows: Annotated[int, "Cells in the largest block."]
    # For each term, block of each level and its column among the term's columns there.
    level_block: tuple[IntArray, ...]
    level_column: tuple[IntArray, ...]
    widths: Annotated[tuple[int, ...], "For each term, the most levels that any block holds."]


def independent_blocks(terms: Sequence[CodedFactor], cells: int) -> Blocks:
    """Split the cells into blocks that share no level of any of `terms` (coded by cell)."""
    cell_block = _components(terms, cells)
    level_block, level_column, widths = [], [], []
    for term in terms:
        block = np.empty(len(term.levels), np.intp)
        block[term.codes] = cell_block
        level_block.append(block)
        level_column.append(_rank_within(block))
        widths.append(int(level_column[-1].max()) + 1)
    cell_row = _rank_within(cell_block)
    return Blocks(
        count=int(cell_block.max()) + 1,
        cell_block=cell_block,
        cell_row=cell_row,
        rows=int(cell_row.max()) + 1,
        level_block=tuple(level_block),
        level_column=tuple(level_column),
        widths=tuple(widths),
    )


def _components(terms: Sequence[CodedFactor], cells: int) -> IntArray:
    """Label the connected components of the graph that joins each cell to its levels."""
    if not terms:
        return np.zeros(cells, np.intp)
    coarsest = min(terms, key=lambda term: len(term.levels))
    if all(is_nested(term, coarsest) for term in terms):
        return coarsest.codes
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    offsets = cells + np.cumsum([0, *(len(term.levels) for term in terms)])
    ends = np.concatenate([offset + term.codes for offset, term in zip(offsets, terms, strict=False)])
    starts = np.tile(np.arange(cells), len(terms))
    graph = coo_array((np.ones(len(ends), np.int8), (starts, ends)), shape=(offsets[-1], offsets[-1]))
    return np.asarray(connected_components(graph, directed=False)[1][:cells], np.intp)


def is_nested(fine: CodedFactor, coarse: CodedFactor) -> bool:
    """Whether each level of `fine` lies within one of `coarse`."""
    within = np.empty(len(fine.levels), np.intp)
    within[fine.codes] = coarse.codes
    return bool((within[fine.codes] == coarse.codes).all())


def _rank_within(group: IntArray) -> IntArray:
    """Number the members of each group 0, 1, 2, ... in the order in which they stand."""
    order, counts = np.argsort(group, kind="stable"), np.bincount(group)
    starts = counts.cumsum() - counts
    rank = np.empty(len(group), np.intp)
    rank[order] = np.arange(len(group)) - starts[group[order]]
    return rank
