"""What a plan says of a trial before it is run."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from enum import StrEnum
from typing import Annotated, Literal

from trialkit.domain.short_repr import ShortRepr
from trialkit.domain.treatment import Treatment
from trialkit.domain.units import Measures
from trialkit.layouts.layout_warning import LayoutWarning

Method = Literal["exact", "approximate", "simulated"]
DesignKind = Literal["asked", "size", "fewer levels", "practice buckets", "volunteers"]
"""The trial asked for; another size of it; without one level; with more buckets of the practice; a small block each."""
LimitName = Literal["buckets_per_site", "heads_per_bucket", "sites", "visits", "budget"]
Grouping = Literal["site", "block", "whole_plot", "site_by_factor", "bucket", "head"]
"""What varies: gardens, blocks, whole plots, treatment effects between gardens, buckets, heads."""
EventKind = Literal["sow", "transplant", "lids", "visit"]
ItemKind = Literal["bucket", "net cup", "starter cube", "seed", "nutrient", "acidifier", "pH strip"]
ItemUnit = Literal["piece", "seed", "bucket", "tsp", "g", "mL"]
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
        "Difference between the extreme levels that is found with the power wanted, g, whatever the method of the"
        " power. Of an interaction, the change of that difference. Null where none of any size is found.",
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
    half_width_g: Annotated[
        float | None,
        "Expected half-width of its interval where all comparisons hold together, g; null where it was not asked for.",
    ]
    method: Annotated[Method, "How the power was found."]
    monte_carlo_se: Annotated[float, "Standard error of a simulated power; 0 otherwise."]


@dataclass(frozen=True)
class Refusal:
    """Why a size of trial could not be judged."""

    code: Annotated[RefusalCode, "What stood in the way."]
    failed: Annotated[int, "Simulated trials that could not be analysed."] = 0
    replicates: Annotated[int, "Simulated trials."] = 0
    detail: Annotated[str, "What the mixed-model engine said, for a statistician."] = ""


class PlanVerdict(StrEnum):
    """What to do with a plan."""

    RUN = "run it"
    ENLARGE = "enlarge it"
    ASK_LESS = "ask less of it"
    NOT_WORTH_IT = "not worth it"

    @property
    def is_as_asked(self) -> bool:
        """Whether the trial is proposed as it was asked for."""
        return self is PlanVerdict.RUN


@dataclass(frozen=True)
class StatedLimits:
    """What the plan may not go beyond."""

    buckets_per_site: Annotated[int, "In a garden: as stated, or as the protocol asks for."]
    heads_per_bucket: Annotated[int, "In a bucket: as stated, or as the protocol plants."]
    sites: Annotated[int, "Gardens: as stated, or twice as many as the protocol has."]
    visits: Annotated[int | None, "Of all gardens over the harvest; null where there is no limit."]
    budget: Annotated[float | None, "In the protocol's currency; null where there is no limit."]
    stated: Annotated[tuple[LimitName, ...], "Those that the protocol states."]


@dataclass(frozen=True)
class Dropped:
    """A level that a design leaves out."""

    factor: Annotated[Literal["cultivar", "dose_tsp", "acidifier"], "Its factor."]
    level: Annotated[str | float | None, "Itself; null where any one of several will do, as no trial tells them apart."]


@dataclass(frozen=True)
class DesignRow:
    """A design of the trial: what it takes, what it is worth and what it can tell."""

    kind: Annotated[DesignKind, "In what it differs from the trial asked for."]
    sites: Annotated[int, "Gardens."]
    blocks: Annotated[int, "Blocks in each garden."]
    heads: Annotated[int, "Heads in each bucket."]
    treatments: Annotated[int, "Treatments."]
    buckets: Annotated[int, "Buckets in the whole trial."]
    visits: Annotated[int, "Of all gardens over the harvest."]
    cost: Annotated[float, "Cost of the buckets, in the protocol's currency; 0 where no costs are given."]
    value_g: Annotated[float, "Expected gain of the next handout by the trial, g a transplanted head."]
    worth_a_year: Annotated[
        float | None, "Of that on the heads grown in a year, in money; null without heads or price."
    ]
    beyond: Annotated[tuple[LimitName, ...], "Limits that it would break; none of those is proposed."]
    efficient: Annotated[bool, "Whether no allowed design with as few buckets is worth as much."]
    dropped: Annotated[Dropped | None, "The level that it leaves out."] = None
    practice_buckets: Annotated[int, "Buckets of the current practice for each one of another treatment."] = 1
    power: Annotated[float | None, "Chance of finding the margin, 0 to 1; null where that was not worked out."] = None
    detectable_g: Annotated[float | None, "Difference that is found with the power wanted, g."] = None
    refused: Annotated[Refusal | None, "Why its power cannot be told; null where it can."] = None


@dataclass(frozen=True)
class Prospect:
    """What a design is expected to bring: by the model of advice, on average over what is thought before it."""

    value_g: Annotated[float, "Expected gain of the next handout by the trial, g a transplanted head."]
    kg_a_year: Annotated[float | None, "Of lettuce, on the heads grown in a year; null where those are not given."]
    worth_a_year: Annotated[float | None, "Of that in money; null without a price."]
    change: Annotated[float, "Chance that something else will be recommended than without the trial, 0 to 1."]
    settled: Annotated[float, "Chance that the answer will be settled, 0 to 1."]
    half_width_g: Annotated[float, "Expected half-width of the interval of the gain, g."]
    dose_half_width_tsp: Annotated[float | None, "And of the best dose, teaspoons; null where dose is not tried."]


@dataclass(frozen=True)
class TrialValue:
    """What the trial is worth."""

    source: Annotated[SourceCode, "Where it comes from what is thought before the trial."]
    trials: Annotated[int, "Of the ledger, that this rests on; 0 by common practice."]
    now: Annotated[Treatment, "What would be recommended without the trial."]
    heads_a_year: Annotated[float | None, "That are grown by what the handout says."]
    gardens_lost_share: Annotated[float, "Of the gardens, that are expected to give up."]
    usable_share: Annotated[float, "Of the heads, that is expected to be usable, 0 to 1."]
    asked: Annotated[Prospect, "Of the trial asked for."]
    proposed: Annotated[Prospect, "Of the design that is proposed."]


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
    volume_l: Annotated[float, "Water in a bucket, L."]
    heads_per_bucket: Annotated[int, "Heads in each bucket."]
    spare_share: Annotated[float, "Share of nutrient, acid, seed and strips bought beyond what is used."]
    germination_share: Annotated[float, "Share of seeds that come up."]
    waters_assumed: Annotated[int, "Gardens of unknown alkalinity, for which acid and strips are those of medium."]
    cost: Annotated[float, "Sum of the costs that are known, in the protocol's currency."]
    brim_l: Annotated[float | None, "What a bucket holds to the brim, L; null where the protocol does not say."] = None


@dataclass(frozen=True, repr=False)
class Plan(ShortRepr):
    """Everything that a plan says."""

    schema: Annotated[Literal["trialkit-plan-5"], "Name and number of this form of document."]
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
    verdict: Annotated[PlanVerdict, "What to do with it."]
    proposed: Annotated[int, "Place, among the designs, of the one that is proposed: the trial asked for, or another."]
    limits: Annotated[StatedLimits, "What no design may go beyond."]
    value: Annotated[TrialValue, "What the trial is worth."]
    designs: Annotated[tuple[DesignRow, ...], "The trial asked for first, then others by their value."]
    sensitivity: Annotated[tuple[SensitivityRow, ...], "What the trial can tell where variances are half or double."]
    curves: Annotated[tuple[PowerCurve, ...], "Chance of finding a difference by its size: as assumed first."]
    warnings: Annotated[tuple[LayoutWarning, ...], "What to look at before anything is sown."]
    benches: Annotated[tuple[PlannedBench, ...], "Where each bucket stands."]
    calendar: Annotated[tuple[Event, ...], "What is due, in order of days."]
    shopping: Annotated[ShoppingList, "What is needed."]
    measures: Annotated[Measures, "In which the page is told; both lets its reader choose."] = "both"
