"""What a plan says of a trial before it is run."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Annotated, Literal

from trialkit.domain.treatment import Treatment
from trialkit.layouts.layout_warning import LayoutWarning

Method = Literal["exact", "approximate", "simulated"]
Enlargement = Literal["sites", "blocks", "heads"]
"""What a larger trial has more of: gardens, blocks in each garden, heads in each bucket."""
Grouping = Literal["site", "block", "whole_plot", "site_by_factor", "bucket", "head"]
"""What varies: gardens, blocks, whole plots, treatment effects between gardens, buckets, heads."""
EventKind = Literal["sow", "transplant", "lids", "visit"]
ItemKind = Literal["bucket", "net cup", "starter cube", "seed", "nutrient", "acidifier", "pH strip"]
ItemUnit = Literal["piece", "seed", "bucket", "tsp", "g"]
RefusalCode = Literal["not analysable", "not comparable", "simulations failed", "nothing fitted"]
SourceCode = Literal["common practice", "trial.toml", "earlier trial", "ledger"]


@dataclass(frozen=True)
class VarianceSource:
    """Where assumed variances come from."""

    code: Annotated[SourceCode, 'With "trial.toml" common practice fills in what the protocol leaves open.']
    trial: Annotated[str | None, "Title of the earlier trial."] = None


@dataclass(frozen=True)
class AssumedSpread:
    """An assumed standard deviation."""

    grouping: Annotated[Grouping, "What varies."]
    sd_g: Annotated[float, "Standard deviation of head weight, g."]


@dataclass(frozen=True)
class EffectPower:
    """An effect as the F test of the analysis sees it: chance of finding the margin."""

    effect: Annotated[str, "Columns of the factors, joined by colons."]
    numerator_df: Annotated[int, "Numerator degrees of freedom of the F test."]
    denominator_df: Annotated[
        float,
        "Of the stratum that tests it; Kenward-Roger's at the assumed variances where the design is not orthogonal.",
    ]
    noncentrality: Annotated[
        float, "Non-centrality of the F test for the margin, in the pattern that is hardest to find."
    ]
    power: Annotated[float, "Chance of finding the margin, 0 to 1."]
    detectable_g: Annotated[
        float | None,
        "Difference between the extreme levels (for an interaction: change of that difference) that is found with the"
        " power wanted, g, whatever the method of the power; null where none of any size is.",
    ]
    method: Annotated[Method, "How the power was found."]
    monte_carlo_se: Annotated[float, "Standard error of a simulated power; 0 otherwise."] = 0.0


@dataclass(frozen=True)
class DifferenceRow:
    """The treatment that is compared least well with the current practice."""

    treatment: Annotated[Treatment, "Its levels."]
    standard_error_g: Annotated[float, "True standard deviation of the estimated difference, g."]
    df: Annotated[float, "Degrees of freedom of its test."]
    power: Annotated[float, "Chance of finding the margin, 0 to 1."]
    detectable_g: Annotated[
        float | None, "Difference that is found with the power wanted, g; null where none of any size is."
    ]
    half_width_g: Annotated[float, "Expected half-width of its interval where all comparisons hold together, g."]
    method: Annotated[Method, "How the power was found."]
    monte_carlo_se: Annotated[float, "Standard error of a simulated power; 0 otherwise."]


@dataclass(frozen=True)
class Refusal:
    """Why a size of trial could not be judged."""

    code: Annotated[RefusalCode, "What stood in the way."]
    failed: Annotated[int, "Simulated trials that could not be analysed."] = 0
    replicates: Annotated[int, "Simulated trials."] = 0
    detail: Annotated[str, "What the mixed-model engine said, for a statistician."] = ""


@dataclass(frozen=True)
class SizeRow:
    """A size of trial: what it takes and what it can tell."""

    sites: Annotated[int, "Gardens."]
    blocks: Annotated[int, "Blocks in each garden."]
    heads: Annotated[int, "Heads in each bucket."]
    buckets: Annotated[int, "Buckets in the whole trial."]
    cost: Annotated[float, "Cost of the trial, in the protocol's currency; 0 where no costs are given."]
    power: Annotated[float | None, "Chance of finding the margin, 0 to 1; null where the size cannot be analysed."]
    detectable_g: Annotated[float | None, "Difference that is found with the power wanted, g."]
    half_width_g: Annotated[
        float | None, "Expected half-width of the interval of a difference where all comparisons hold together, g."
    ]
    monte_carlo_se: Annotated[float, "Standard error of a simulated power; 0 otherwise."]
    refused: Annotated[Refusal | None, "Why the size cannot be analysed; null where it can."]
    is_asked: Annotated[bool, "Whether this is the size that the protocol asks for."]


@dataclass(frozen=True)
class SensitivityRow:
    """What the trial can tell where a variance is half or double what was assumed."""

    changed: Annotated[Grouping | Literal["all"], 'The grouping whose variance is changed; "all" where every one is.']
    factor: Annotated[float, "By what the variance is multiplied."]
    power: Annotated[float, "Chance of finding the margin, 0 to 1."]
    detectable_g: Annotated[
        float | None, "Difference that is found with the power wanted, g; null where none of any size is."
    ]


@dataclass(frozen=True)
class PowerCurve:
    """Chance of finding a difference from the current practice, by its size."""

    variance_factor: Annotated[float, "By what every assumed variance is multiplied."]
    differences_g: Annotated[tuple[float, ...], "True differences in head weight, g."]
    power: Annotated[tuple[float, ...], "Chance of finding each, 0 to 1."]


@dataclass(frozen=True)
class EnlargementGain:
    """What one enlargement brings for the treatment that is hardest to tell from the current practice."""

    kind: Annotated[Enlargement, "What there is one more of."]
    added_buckets: Annotated[int, "Buckets more in the whole trial."]
    added_heads: Annotated[int, "Heads more in the whole trial."]
    added_cost: Annotated[float, "Cost of that, in the protocol's currency."]
    power_before: Annotated[float, "Chance of finding the margin without it, 0 to 1."]
    power_after: Annotated[float, "Chance of finding the margin with it, 0 to 1."]
    half_width_before_g: Annotated[float, "Expected half-width of the interval of the difference without it, g."]
    half_width_after_g: Annotated[float, "Expected half-width of the interval of the difference with it, g."]
    widens_scope: Annotated[bool, "Whether answers hold for gardens at large only with this enlargement."]

    @property
    def power(self) -> float:
        """Rise of the power for the margin."""
        return self.power_after - self.power_before

    @property
    def half_width_g(self) -> float:
        """By how much the expected half-width shrinks, g."""
        return self.half_width_before_g - self.half_width_after_g


@dataclass(frozen=True)
class HeadsLimit:
    """How far more heads in a bucket can help."""

    bucket_share: Annotated[
        float,
        "Part of the variance of a bucket's mean that is the bucket's own, 0 to 1: no number of heads takes it away.",
    ]
    bucket_sd_g: Annotated[float, "Standard deviation between buckets treated alike, g."]
    head_sd_g: Annotated[float, "Standard deviation between heads of a bucket, g."]
    heads: Annotated[int, "Heads a bucket."]


@dataclass(frozen=True)
class PracticeBuckets:
    """What more buckets of the current practice would bring."""

    buckets: Annotated[int, "Buckets of the current practice for each one of another treatment."]
    added_buckets: Annotated[int, "Buckets more in the whole trial."]
    power_before: Annotated[float, "Chance of finding the margin without them, 0 to 1."]
    power_after: Annotated[float, "Chance of finding the margin with them, 0 to 1."]


@dataclass(frozen=True)
class EnlargementAdvice:
    """Which enlargement buys most."""

    gains: Annotated[tuple[EnlargementGain, ...], "What each enlargement brings, the one that buys most first."]
    tells_more: Annotated[bool, "Whether any of them makes the trial tell more."]
    priced: Annotated[bool, "Whether they are ranked by what they cost; otherwise no costs are known."]
    heads_limit: Annotated[HeadsLimit, "How far more heads in a bucket can help."]
    practice: Annotated[
        PracticeBuckets | None,
        "What more buckets of the current practice would bring; null where the layout cannot have more.",
    ] = None


@dataclass(frozen=True)
class SufficientSize:
    """The smallest trial that has the power wanted, by one kind of enlargement."""

    kind: Annotated[Literal["sites", "blocks"], "What there is more of."]
    count: Annotated[int | None, "How many of them it takes; null where the largest trial looked at has less power."]
    buckets: Annotated[int, "Buckets in that trial; in the largest one looked at where none has the power wanted."]
    largest: Annotated[int, "The most of them that were looked at."]


@dataclass(frozen=True)
class LargerTrials:
    """What it would take to have the power wanted."""

    sizes: Annotated[tuple[SufficientSize, ...], "One for each kind of enlargement that was looked at."]
    most_buckets: Annotated[int, "Larger trials were not looked at."]


@dataclass(frozen=True)
class BenchPlace:
    """A bucket on the bench."""

    bucket: Annotated[str, "Identity of the bucket."]
    treatment: Annotated[Treatment, "What it is given."]
    block: Annotated[int, "Block of the garden; the volunteer in layouts of volunteers."]
    row: Annotated[int, "Row on the bench, from 1."]
    column: Annotated[int, "Place in that row, from 1."]


@dataclass(frozen=True)
class PlannedBench:
    """A garden's bench."""

    site: Annotated[str, "Code of the garden."]
    name: Annotated[str, "Name of the garden."]
    rows: Annotated[int, "Rows of the bench."]
    columns: Annotated[int, "Buckets side by side in a row."]
    places: Annotated[tuple[BenchPlace, ...], "Its buckets, in order of rows, then columns."]


@dataclass(frozen=True)
class Event:
    """Something that is due."""

    kind: Annotated[EventKind, "What is due: lids are looked at, gardens are visited to harvest."]
    number: Annotated[int, "Which of its kind, from 1."]
    count: Annotated[int, "How many there are of its kind."]
    day: Annotated[int, "Days after sowing."]
    on: Annotated[datetime.date | None, "Day of the calendar; null where the protocol gives no day of sowing."]

    @property
    def id(self) -> str:
        """Short and unique in its trial, such as ``"visit-3"``."""
        return f"{self.kind}-{self.number}" if self.kind in ("lids", "visit") else self.kind


@dataclass(frozen=True)
class ShoppingItem:
    """Something to buy or to fetch."""

    kind: Annotated[ItemKind, "What it is."]
    product: Annotated[str | None, "Name of the cultivar, nutrient or acidifier; null where the trial names none."]
    quantity: Annotated[float, "How much, in the unit."]
    unit: Annotated[ItemUnit, "A bucket is what is used in one bucket; tsp are level teaspoons."]
    cost: Annotated[float | None, "In the protocol's currency; null where there is no price."] = None


@dataclass(frozen=True)
class ShoppingList:
    """What is needed, and how quantities are worked out."""

    items: Annotated[tuple[ShoppingItem, ...], "What is needed."]
    volume_l: Annotated[float, "Volume of a bucket, L."]
    heads_per_bucket: Annotated[int, "Heads in each bucket."]
    spare_share: Annotated[float, "Share of nutrient, seed and strips bought beyond what is used."]
    germination_share: Annotated[float, "Share of seeds that come up."]
    cost: Annotated[float, "Sum of the costs that are known, in the protocol's currency."]


@dataclass(frozen=True)
class Plan:
    """Everything that a plan says."""

    schema: Annotated[Literal["trialkit-plan-3"], "Name and number of this form of document."]
    id: Annotated[str, "Short name of the trial."]
    title: Annotated[str, "Title of the trial."]
    question: Annotated[str, "What the trial is to answer."]
    season: Annotated[str, "When it is to be grown."]
    kind: Annotated[str, "Kind of layout."]
    seed: Annotated[int, "Seed of the randomisation."]
    sites: Annotated[int, "Gardens."]
    blocks: Annotated[int, "Blocks in each garden."]
    heads_per_bucket: Annotated[int, "Heads in each bucket."]
    buckets: Annotated[int, "Buckets in the whole trial."]
    heads: Annotated[int, "Heads in the whole trial."]
    treatments: Annotated[int, "Treatments."]
    practice: Annotated[Treatment, "The current practice."]
    nutrient_g_per_tsp: Annotated[
        float | None, "Weight of a level teaspoon of the nutrient, g; null where products.csv does not say."
    ]
    margin_g: Annotated[float, "Difference in head weight that would matter, g."]
    level: Annotated[float, "Risk of finding a difference where there is none, 0 to 1."]
    power_wanted: Annotated[float, "Chance wanted of finding the detectable difference, 0 to 1."]
    efficiency: Annotated[float, "Average efficiency factor of the layout; 1 for complete blocks."]
    source: Annotated[VarianceSource, "Where the assumed variances come from."]
    spreads: Annotated[tuple[AssumedSpread, ...], "Assumed standard deviations that the layout makes count."]
    effects: Annotated[tuple[EffectPower, ...], "What the F test of each effect would find."]
    difference: Annotated[DifferenceRow, "What the least precise comparison with the current practice would find."]
    uncounted: Annotated[
        tuple[str, ...],
        "Effects differing between gardens that the layout leaves no room for: answers hold for its gardens only.",
    ]
    replicates: Annotated[int, "Simulated trials; 0 where nothing was simulated."]
    failed: Annotated[int, "Simulated trials that could not be analysed."]
    advice: Annotated[EnlargementAdvice, "Which change buys most."]
    larger: Annotated[LargerTrials | None, "What it would take to have the power wanted; null where the trial has it."]
    sizes: Annotated[tuple[SizeRow, ...], "Sizes of trial near the one asked for, and that one."]
    sensitivity: Annotated[tuple[SensitivityRow, ...], "What the trial can tell where variances are half or double."]
    curves: Annotated[tuple[PowerCurve, ...], "Chance of finding a difference by its size: as assumed first."]
    warnings: Annotated[tuple[LayoutWarning, ...], "What to look at before anything is sown."]
    benches: Annotated[tuple[PlannedBench, ...], "Where each bucket stands."]
    calendar: Annotated[tuple[Event, ...], "What is due, in order of days."]
    shopping: Annotated[ShoppingList, "What is needed."]
