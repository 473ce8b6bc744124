"""Whether a protocol's layout can be made at all, as far as its factors and sections tell without the gardens."""

import math
from collections.abc import Iterator, Mapping, Sequence

from pydantic_core import PydanticCustomError

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
        expected = f"false with fewer than {FEWEST_KEPT_APART} treatments: to alternate two leaves nothing to chance"
        yield broken_rule("TK-P11", "true", expected, "layout", "keep_apart")
    if layout.kind == "augmented blocks":
        yield from _check_faults(layout, factors, varied)


def _block_faults(layout: Layout, size: int, treatments: int) -> Iterator[PydanticCustomError]:
    if size >= treatments:
        expected = (
            f"fewer buckets in a block than the {treatments} treatments, or the kind randomised complete blocks, in "
            "which each block holds them all"
        )
        yield broken_rule("TK-P11", str(size), expected, "layout", "block_size")
    elif layout.resolvable and treatments % size:
        sizes = [str(number) for number in range(2, treatments) if treatments % number == 0]
        expected = (
            f"a size that divides the {treatments} treatments ({', '.join(sizes)})"
            if sizes
            else f"resolvable = false: no size divides {treatments} treatments"
        )
        yield broken_rule("TK-P11", str(size), expected, "layout", "block_size")
    elif layout.resolvable and layout.blocks % (treatments // size):
        expected = f"a multiple of {treatments // size}, the blocks that hold all {treatments} treatments once"
        yield broken_rule("TK-P11", str(layout.blocks), expected, "layout", "blocks")


def _rectangle_faults(layout: Layout, buckets: int, treatments: int) -> Iterator[PydanticCustomError]:
    if layout.blocks * buckets < treatments:
        found = f"{layout.blocks} x {layout.rows} rows x {layout.columns} columns = {layout.blocks * buckets} buckets"
        expected = f"at least {treatments} buckets at a site, one for each treatment"
        yield broken_rule("TK-P11", found, expected, "layout", "blocks")


def _check_faults(
    layout: Layout, factors: Mapping[FactorName, FactorLevels], varied: Sequence[FactorName]
) -> Iterator[PydanticCustomError]:
    if len(varied) != 1:
        found = f"{len(varied)} factors with two levels or more"
        expected = "one, as in an augmented layout each new level stands once"
        yield broken_rule("TK-P11", found, expected, "layout", "kind")
        return
    levels = factors[varied[0]].levels
    unknown = [level for level in layout.checks if level not in levels]
    if unknown:
        yield broken_rule("TK-P11", repr(unknown[0]), f"a level of factors.{varied[0]}", "layout", "checks")
    elif set(layout.checks) == set(levels):
        yield broken_rule("TK-P11", "every level", "at least one level that is no check", "layout", "checks")
