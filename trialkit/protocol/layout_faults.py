"""Whether a protocol's layout can be made at all, as far as its factors and sections tell without the gardens."""

import math
from collections.abc import Iterator, Mapping, Sequence

from pydantic_core import PydanticCustomError

from trialkit.documents.problems import FactValue
from trialkit.layouts.bench import FEWEST_KEPT_APART
from trialkit.protocol.sections import FactorLevels, FactorName, Layout, broken_rule


def layout_faults(
    layout: Layout, factors: Mapping[FactorName, FactorLevels], varied: Sequence[FactorName]
) -> Iterator[PydanticCustomError]:
    """TK-P11: tell of blocks, squares and checks that do not fit the number of treatments."""
    treatments = math.prod(len(factor.levels) for factor in factors.values())
    if treatments < 2:
        return  # told by TK-P07
    if layout.block_size is not None:
        yield from _block_faults(layout, layout.block_size, treatments)
    if layout.rows is not None and layout.columns is not None:
        yield from _rectangle_faults(layout, layout.rows * layout.columns, treatments)
    if layout.keep_apart and treatments < FEWEST_KEPT_APART:
        yield broken_rule("TK-P11", "keep apart", "layout", "keep_apart", fewest=FEWEST_KEPT_APART)
    if layout.kind == "augmented blocks":
        yield from _check_faults(layout, factors, varied)


def _block_faults(layout: Layout, size: int, treatments: int) -> Iterator[PydanticCustomError]:
    if size >= treatments:
        yield broken_rule("TK-P11", "large blocks", "layout", "block_size", block_size=size, treatments=treatments)
    elif layout.resolvable and treatments % size:
        sizes = tuple(str(number) for number in range(2, treatments) if treatments % number == 0)
        numbers: dict[str, FactValue] = {"block_size": size, "treatments": treatments}
        numbers |= {"sizes": sizes} if sizes else {}
        yield broken_rule("TK-P11", "divides" if sizes else "no divisor", "layout", "block_size", **numbers)
    elif layout.resolvable and layout.blocks % (treatments // size):
        numbers = {"blocks": layout.blocks, "multiple": treatments // size, "treatments": treatments}
        yield broken_rule("TK-P11", "replicates", "layout", "blocks", **numbers)


def _rectangle_faults(layout: Layout, buckets: int, treatments: int) -> Iterator[PydanticCustomError]:
    if layout.blocks * buckets < treatments:
        shape = {"blocks": layout.blocks, "rows": layout.rows or 0, "columns": layout.columns or 0}
        counts = {"buckets": layout.blocks * buckets, "treatments": treatments}
        yield broken_rule("TK-P11", "small rectangles", "layout", "blocks", **shape, **counts)


def _check_faults(
    layout: Layout, factors: Mapping[FactorName, FactorLevels], varied: Sequence[FactorName]
) -> Iterator[PydanticCustomError]:
    if len(varied) != 1:
        yield broken_rule("TK-P11", "several factors", "layout", "kind", count=len(varied))
        return
    levels = factors[varied[0]].levels
    unknown = [level for level in layout.checks if level not in levels]
    if unknown:
        yield broken_rule("TK-P11", "unknown check", "layout", "checks", level=unknown[0], factor=varied[0])
    elif set(layout.checks) == set(levels):
        yield broken_rule("TK-P11", "all checks", "layout", "checks")
