"""Which of the two algebras fits a model: by an estimate of what an evaluation of the likelihood costs."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from trialkit.mixed.blocks import independent_blocks, is_nested

if TYPE_CHECKING:
    from trialkit.mixed.model import Model

# A product of sparse matrices costs so many times its operations; a dense one its operations alone.
SPARSE_COST = 200.0
# An evaluation costs at least so much, in operations of dense matrices.
OVERHEAD = 1e8
# Operations an evaluation takes for each element of a cube of columns, by either algebra.
CUBES = 10.0


def absorption_pays(model: Model) -> bool:
    """Whether the second algebra is to fit a model: slopes need it, and large crossed terms are cheaper by it."""
    if model.has_slopes:
        return True
    random, fixed = float(sum(model.blocks.widths)), float(model.fixed.orthogonal.shape[1] + 1)
    dense = CUBES * model.blocks.count * random * (random + fixed) ** 2
    return dense > OVERHEAD and cheapest(model)[0] < dense


def cheapest(model: Model) -> tuple[float, tuple[int, ...]]:
    """Operations of an evaluation, and positions of the terms to absorb: one, or all nested in one, the least dear."""
    terms = model.terms
    nested = [tuple(i for i, fine in enumerate(terms) if is_nested(fine, coarse)) for coarse in terms]
    sets = dict.fromkeys([*nested, *((i,) for i in range(len(terms)))])
    return min((_operations(model, chosen), chosen) for chosen in sets)


def _operations(model: Model, chosen: tuple[int, ...]) -> float:
    terms, cells = model.terms, len(model.cells.sizes)
    coarsest = min((terms[i] for i in chosen), key=lambda term: len(term.levels))
    inside = independent_blocks([terms[i] for i in chosen], cells)
    width = sum(w * len(terms[i].parts) for w, i in zip(inside.widths, chosen, strict=True))
    others = [term for i, term in enumerate(terms) if i not in chosen]
    core = sum(len(term.levels) * len(term.parts) for term in others)
    slots = sum(len(term.parts) for term in others)
    seen = np.minimum(np.bincount(coarsest.codes) * slots, core).astype(float)
    fixed = float(cells) * float(model.fixed.orthogonal.shape[1]) ** 2
    sparse, dense = SPARSE_COST * width * float(seen @ seen), float(inside.count) * width * float(core) ** 2
    cubes = float(inside.count) * float(width) ** 3 + float(core) ** 3
    return OVERHEAD + fixed + CUBES * cubes + min(sparse, dense)
