"""Step 1: heads that share every fixed row and every random level collapse into cells."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

import numpy as np

from trialkit.domain.arrays import FloatArray, IntArray
from trialkit.mixed.coded_factors import group_rows
from trialkit.mixed.random_terms import RandomTerm
from trialkit.mixed.refusals import ConfoundedTerm


@dataclass(frozen=True)
class Cells:
    """Cells of the data."""

    codes: Annotated[IntArray, "Shape (heads,). Cell of each head."]
    representatives: Annotated[IntArray, "Shape (cells,). One head of each cell."]
    sizes: Annotated[FloatArray, "Shape (cells,). Heads in each cell."]

    def means(self, responses: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Collapse responses, shape (r, heads), to cell means, shape (r, cells), and deviations from them."""
        size = len(self.sizes)
        offsets = size * np.arange(len(responses))[:, None]
        sums = np.bincount((self.codes + offsets).ravel(), responses.ravel(), size * len(responses))
        means = sums.reshape(len(responses), size) / self.sizes
        return means, responses - means[:, self.codes]


def collapse(columns: Sequence[IntArray]) -> Cells:
    """Group heads by every column of codes, each of shape (heads,)."""
    codes, representatives = group_rows(columns)
    return Cells(codes, representatives, np.bincount(codes).astype(float))


def diagonal_term(terms: Sequence[RandomTerm], cells: Cells) -> int | None:
    """Find the random term with one level a cell (the bucket): its variance joins the diagonal and needs no Z.

    Raises
    ------
    ConfoundedTerm
        If a term has a level for every head, so that it is the residual under another name.
    """
    for position, term in enumerate(terms):
        if term.slopes:
            continue
        if len(term.levels) == len(cells.codes):
            raise ConfoundedTerm(
                f"The random term {term.name!r} has a level for every row: it is the residual, so leave it out."
            )
        if len(term.levels) == len(cells.sizes):
            return position
    return None
