"""How much heads, buckets, blocks and gardens are taken to differ before a trial has shown it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Annotated, Any, Literal, get_args

from trialkit.documents.plan import Grouping, VarianceSource
from trialkit.domain.errors import WrongCall

COMMON_PRACTICE = VarianceSource("common practice")
GROUPINGS: tuple[Grouping, ...] = get_args(Grouping)
Changed = Grouping | Literal["all"]


@dataclass(frozen=True)
class Assumptions:
    """Variances of head weight, each in g^2, that a plan rests on.

    The defaults are standard deviations of 15 g between gardens and between heads of a bucket, 9 g between buckets, 6 g
    between blocks, 5 g between whole plots and 3 g of a treatment effect between gardens, for heads of about 150 g
    (common practice, no source).

    Raises
    ------
    WrongCall
        If a variance is below zero or no number, or heads do not differ at all.

    Examples
    --------
    >>> Assumptions().scaled(0.5).bucket
    40.5
    """

    site: Annotated[float, "Between gardens."] = 225.0
    block: Annotated[
        float, "Between blocks of one garden, and between any other groups of buckets (rows, columns, volunteers)."
    ] = 36.0
    whole_plot: Annotated[float, "Between whole plots of one block."] = 25.0
    site_by_factor: Annotated[float, "Between gardens, of the effect of one treatment factor."] = 9.0
    bucket: Annotated[float, "Between buckets treated alike, heads apart."] = 81.0
    head: Annotated[float, "Between heads of one bucket."] = 225.0
    named: Annotated[
        Mapping[str, float],
        'Variances of single random terms by their names, such as ``"site:dose_tsp"``; they go before the rest.',
    ] = field(default_factory=dict)
    source: Annotated[VarianceSource, "Where the numbers come from."] = COMMON_PRACTICE

    def __post_init__(self) -> None:
        variances = [*self.by_grouping().items(), *self.named.items()]
        wrong = [name for name, value in variances if not 0 <= value < float("inf")]
        if wrong:
            raise WrongCall(f"The variance of {wrong[0]} must be a number of g² at zero or above.")
        if self.head == 0:
            raise WrongCall("Heads of one bucket always differ: give a variance of heads above 0 g².")

    def by_grouping(self) -> dict[Grouping, float]:
        """Variance of each grouping, g^2."""
        return {grouping: getattr(self, grouping) for grouping in GROUPINGS}

    def variance_of(self, term: str, treatment: Sequence[str]) -> float:
        """Variance of a random term such as ``"site:block"``, g^2; ``"residual"`` is that of heads.

        The columns of the treatment factors tell ``"site:cultivar"`` from a group of buckets.
        """
        if term in self.named:
            return float(self.named[term])
        parts = term.split(":")
        if term in ("site", "bucket"):
            return float(getattr(self, term))
        if term == "residual":
            return self.head
        if any(part in treatment for part in parts):
            return self.site_by_factor
        return self.whole_plot if parts[-1] == "whole_plot" else self.block

    def scaled(self, factor: float, only: Changed = "all") -> Assumptions:
        """Return the assumptions with every variance, or that of one grouping, times a factor."""
        changed: dict[str, Any] = {
            name: value * factor for name, value in self.by_grouping().items() if only in ("all", name)
        }
        named = {term: value * (factor if only == "all" else 1.0) for term, value in self.named.items()}
        return replace(self, named=named, **changed)

    def sensitivity(self) -> dict[tuple[Changed, float], Assumptions]:
        """Assumptions to try besides these: all variances together, then each alone, half and double.

        They go by what was changed (``"all"`` or a grouping) and the factor.
        """
        changes: tuple[Changed, ...] = ("all", *GROUPINGS)
        return {(only, factor): self.scaled(factor, only) for only in changes for factor in (0.5, 2.0)}

    @classmethod
    def from_variances(cls, variances: Mapping[str, float], source: VarianceSource) -> Assumptions:
        """Take the variances (g^2) that an earlier trial estimated; what it did not estimate keeps its default.

        They go by random term, ``residual`` being the heads'. A negative estimate counts as zero.
        """
        known = {"site": "site", "site:block": "block", "bucket": "bucket", "residual": "head"}
        held = {term: max(float(value), 0.0) for term, value in variances.items()}
        several = {known[term]: value for term, value in held.items() if term in known}
        if several.get("head") == 0.0:
            del several["head"]
        named = {term: value for term, value in held.items() if term not in known}
        return cls(**several, named=named, source=source)
