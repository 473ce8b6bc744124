"""What a planned trial can tell: power, detectable differences and widths, each with how it was found."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, get_args

from trialkit.documents.plan import DifferenceRow, EffectPower, Method
from trialkit.domain.errors import WrongCall

METHODS: tuple[Method, ...] = get_args(Method)


@dataclass(frozen=True)
class Goal:
    """What the trial must be able to find.

    Raises
    ------
    WrongCall
        If the margin is not above zero, or level and power are no sensible probabilities.
    """

    margin_g: Annotated[float, "Difference in head weight that would matter, g."]
    current: Annotated[Mapping[str, object], "Level of each treatment column in the current practice."]
    level: Annotated[float, "Risk of finding a difference where there is none; intervals hold with one less this."] = (
        0.05
    )
    power: Annotated[float, "Chance wanted of finding the detectable difference."] = 0.8

    def __post_init__(self) -> None:
        if not 0 < self.margin_g < float("inf"):
            raise WrongCall(
                f"The margin is {self.margin_g:g} g: no trial can find a difference of nothing. Set decision.margin_g "
                "to the smallest difference that would matter to a gardener, such as 10."
            )
        if not 0 < self.level < self.power < 1:
            raise WrongCall(f"The power wanted, {self.power:g}, must lie between the level, {self.level:g}, and 1.")


@dataclass(frozen=True)
class PlannedPower:
    """What one design can tell under one set of assumptions."""

    goal: Goal
    buckets: int
    heads: int
    effects: tuple[EffectPower, ...]
    differences: Annotated[tuple[DifferenceRow, ...], "Of every other treatment from the current practice."]
    uncounted: Annotated[
        tuple[str, ...],
        "Treatment effects differing between gardens that the design leaves no room for: conclusions hold for its "
        "gardens only.",
    ] = ()
    # Simulated trials, and how many of them the analysis could not fit; zero where nothing was simulated.
    replicates: int = 0
    failed: int = 0

    @property
    def hardest(self) -> DifferenceRow:
        """The treatment that is compared least well with the current practice.

        Where power is simulated it is known by its true standard error: the least of several powers that are each off
        by chance would be too low.
        """
        return min(
            self.differences,
            key=lambda d: (-d.standard_error_g if d.method == "simulated" else d.power, -(d.half_width_g or 0.0)),
        )

    @property
    def method(self) -> Method:
        """Exact only where every answer is."""
        methods = {effect.method for effect in self.effects} | {difference.method for difference in self.differences}
        return max(methods, key=METHODS.index)
