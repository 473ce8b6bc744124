"""What a plan says of a trial before it is run."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Literal

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
    """Where assumed variances come from.

    Attributes
    ----------
    code : {"common practice", "trial.toml", "earlier trial", "ledger"}
        With "trial.toml" common practice fills in what the protocol leaves open.
    trial : str or None
        Title of the earlier trial.
    """

    code: SourceCode
    trial: str | None = None


@dataclass(frozen=True)
class AssumedSpread:
    """An assumed standard deviation.

    Attributes
    ----------
    grouping : str
        What varies.
    sd_g : float
        Standard deviation of head weight, g.
    """

    grouping: Grouping
    sd_g: float


@dataclass(frozen=True)
class EffectPower:
    """An effect as the F test of the analysis sees it: chance of finding the margin.

    Attributes
    ----------
    effect : str
        Columns of the factors, joined by colons.
    numerator_df : int
        Numerator degrees of freedom of the F test.
    denominator_df : float
        Of the stratum that tests it; Kenward-Roger's at the assumed variances where the design is not orthogonal.
    noncentrality : float
        Non-centrality of the F test for the margin, in the pattern that is hardest to find.
    power : float
        Chance of finding the margin, 0 to 1.
    detectable_g : float or None
        Difference between the extreme levels (for an interaction: change of that difference) that is found with the
        power wanted, g, whatever the method of the power; null where none of any size is.
    method : {"exact", "approximate", "simulated"}
        How the power was found.
    monte_carlo_se : float
        Standard error of a simulated power; 0 otherwise.
    """

    effect: str
    numerator_df: int
    denominator_df: float
    noncentrality: float
    power: float
    detectable_g: float | None
    method: Method
    monte_carlo_se: float = 0.0


@dataclass(frozen=True)
class DifferenceRow:
    """The treatment that is compared least well with the current practice.

    Attributes
    ----------
    treatment : Treatment
        Its levels.
    standard_error_g : float
        True standard deviation of the estimated difference, g.
    df : float
        Degrees of freedom of its test.
    power : float
        Chance of finding the margin, 0 to 1.
    detectable_g : float or None
        Difference that is found with the power wanted, g; null where none of any size is.
    half_width_g : float
        Expected half-width of its interval where all comparisons hold together, g.
    method : {"exact", "approximate", "simulated"}
        How the power was found.
    monte_carlo_se : float
        Standard error of a simulated power; 0 otherwise.
    """

    treatment: Treatment
    standard_error_g: float
    df: float
    power: float
    detectable_g: float | None
    half_width_g: float
    method: Method
    monte_carlo_se: float


@dataclass(frozen=True)
class DoseRow:
    """How closely the recommended dose would be known, and on what curve that rests.

    Attributes
    ----------
    recommended_tsp : float
        Dose that the assumed curve recommends, level teaspoons a bucket.
    half_width_tsp : float
        Expected half-width of its interval, level teaspoons a bucket.
    grams_per_tsp : float or None
        Weight of a level teaspoon of the product, g; null where products.csv does not say.
    gain_g : float
        What nutrient is assumed to add to a head in all, g.
    share_of_gain : float
        Part of that gain that the recommended dose is to reach, 0 to 1.
    curve_told : bool
        Whether there are enough doses to tell a curve from a plateau.
    """

    recommended_tsp: float
    half_width_tsp: float
    grams_per_tsp: float | None
    gain_g: float
    share_of_gain: float
    curve_told: bool


@dataclass(frozen=True)
class Refusal:
    """Why a size of trial could not be judged.

    Attributes
    ----------
    code : {"not analysable", "not comparable", "simulations failed", "nothing fitted"}
        What stood in the way.
    failed : int
        Simulated trials that could not be analysed.
    replicates : int
        Simulated trials.
    detail : str
        What the mixed-model engine said, for a statistician.
    """

    code: RefusalCode
    failed: int = 0
    replicates: int = 0
    detail: str = ""


@dataclass(frozen=True)
class SizeRow:
    """A size of trial: what it takes and what it can tell.

    Attributes
    ----------
    sites : int
        Gardens.
    blocks : int
        Blocks in each garden.
    heads : int
        Heads in each bucket.
    buckets : int
        Buckets in the whole trial.
    cost : float
        Cost of the trial, in the protocol's currency; 0 where no costs are given.
    power : float or None
        Chance of finding the margin, 0 to 1; null where the size cannot be analysed.
    detectable_g : float or None
        Difference that is found with the power wanted, g.
    half_width_g : float or None
        Expected half-width of the interval of a difference where all comparisons hold together, g.
    dose_half_width_tsp : float or None
        Expected half-width of the recommended dose's interval, level teaspoons a bucket.
    monte_carlo_se : float
        Standard error of a simulated power; 0 otherwise.
    refused : Refusal or None
        Why the size cannot be analysed; null where it can.
    is_asked : bool
        Whether this is the size that the protocol asks for.
    """

    sites: int
    blocks: int
    heads: int
    buckets: int
    cost: float
    power: float | None
    detectable_g: float | None
    half_width_g: float | None
    dose_half_width_tsp: float | None
    monte_carlo_se: float
    refused: Refusal | None
    is_asked: bool


@dataclass(frozen=True)
class SensitivityRow:
    """What the trial can tell where a variance is half or double what was assumed.

    Attributes
    ----------
    changed : str
        The grouping whose variance is changed; "all" where every one is.
    factor : float
        By what the variance is multiplied.
    power : float
        Chance of finding the margin, 0 to 1.
    detectable_g : float or None
        Difference that is found with the power wanted, g; null where none of any size is.
    """

    changed: Grouping | Literal["all"]
    factor: float
    power: float
    detectable_g: float | None


@dataclass(frozen=True)
class PowerCurve:
    """Chance of finding a difference from the current practice, by its size.

    Attributes
    ----------
    variance_factor : float
        By what every assumed variance is multiplied.
    differences_g : tuple of float
        True differences in head weight, g.
    power : tuple of float
        Chance of finding each, 0 to 1.
    """

    variance_factor: float
    differences_g: tuple[float, ...]
    power: tuple[float, ...]


@dataclass(frozen=True)
class EnlargementGain:
    """What one enlargement brings for the treatment that is hardest to tell from the current practice.

    Attributes
    ----------
    kind : {"sites", "blocks", "heads"}
        What there is one more of.
    added_buckets : int
        Buckets more in the whole trial.
    added_heads : int
        Heads more in the whole trial.
    added_cost : float
        Cost of that, in the protocol's currency.
    power_before : float
        Chance of finding the margin without it, 0 to 1.
    power_after : float
        Chance of finding the margin with it, 0 to 1.
    half_width_before_g : float
        Expected half-width of the interval of the difference without it, g.
    half_width_after_g : float
        Expected half-width of the interval of the difference with it, g.
    widens_scope : bool
        Whether answers hold for gardens at large only with this enlargement.
    """

    kind: Enlargement
    added_buckets: int
    added_heads: int
    added_cost: float
    power_before: float
    power_after: float
    half_width_before_g: float
    half_width_after_g: float
    widens_scope: bool

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
    """How far more heads in a bucket can help.

    Attributes
    ----------
    bucket_share : float
        Part of the variance of a bucket's mean that is the bucket's own, 0 to 1: no number of heads takes it away.
    bucket_sd_g : float
        Standard deviation between buckets treated alike, g.
    head_sd_g : float
        Standard deviation between heads of a bucket, g.
    heads : int
        Heads a bucket.
    """

    bucket_share: float
    bucket_sd_g: float
    head_sd_g: float
    heads: int


@dataclass(frozen=True)
class PracticeBuckets:
    """What more buckets of the current practice would bring.

    Attributes
    ----------
    buckets : int
        Buckets of the current practice for each one of another treatment.
    added_buckets : int
        Buckets more in the whole trial.
    power_before : float
        Chance of finding the margin without them, 0 to 1.
    power_after : float
        Chance of finding the margin with them, 0 to 1.
    """

    buckets: int
    added_buckets: int
    power_before: float
    power_after: float


@dataclass(frozen=True)
class EnlargementAdvice:
    """Which enlargement buys most.

    Attributes
    ----------
    gains : tuple of EnlargementGain
        What each enlargement brings, the one that buys most first.
    tells_more : bool
        Whether any of them makes the trial tell more.
    priced : bool
        Whether they are ranked by what they cost; otherwise no costs are known.
    heads_limit : HeadsLimit
        How far more heads in a bucket can help.
    practice : PracticeBuckets or None
        What more buckets of the current practice would bring; null where the layout cannot have more.
    """

    gains: tuple[EnlargementGain, ...]
    tells_more: bool
    priced: bool
    heads_limit: HeadsLimit
    practice: PracticeBuckets | None = None


@dataclass(frozen=True)
class SufficientSize:
    """The smallest trial that has the power wanted, by one kind of enlargement.

    Attributes
    ----------
    kind : {"sites", "blocks"}
        What there is more of.
    count : int or None
        How many of them it takes; null where the largest trial looked at has less power.
    buckets : int
        Buckets in that trial; in the largest one looked at where none has the power wanted.
    largest : int
        The most of them that were looked at.
    """

    kind: Literal["sites", "blocks"]
    count: int | None
    buckets: int
    largest: int


@dataclass(frozen=True)
class LargerTrials:
    """What it would take to have the power wanted.

    Attributes
    ----------
    sizes : tuple of SufficientSize
        One for each kind of enlargement that was looked at.
    most_buckets : int
        Larger trials were not looked at.
    """

    sizes: tuple[SufficientSize, ...]
    most_buckets: int


@dataclass(frozen=True)
class BenchPlace:
    """A bucket on the bench.

    Attributes
    ----------
    bucket : str
        Identity of the bucket.
    treatment : Treatment
        What it is given.
    block : int
        Block of the garden; the volunteer in layouts of volunteers.
    row : int
        Row on the bench, from 1.
    column : int
        Place in that row, from 1.
    """

    bucket: str
    treatment: Treatment
    block: int
    row: int
    column: int


@dataclass(frozen=True)
class PlannedBench:
    """A garden's bench.

    Attributes
    ----------
    site : str
        Code of the garden.
    name : str
        Name of the garden.
    rows : int
        Rows of the bench.
    columns : int
        Buckets side by side in a row.
    places : tuple of BenchPlace
        Its buckets, in order of rows, then columns.
    """

    site: str
    name: str
    rows: int
    columns: int
    places: tuple[BenchPlace, ...]


@dataclass(frozen=True)
class Event:
    """Something that is due.

    Attributes
    ----------
    kind : {"sow", "transplant", "lids", "visit"}
        What is due: lids are looked at, gardens are visited to harvest.
    number : int
        Which of its kind, from 1.
    count : int
        How many there are of its kind.
    day : int
        Days after sowing.
    on : date or None
        Day of the calendar; null where the protocol gives no day of sowing.
    """

    kind: EventKind
    number: int
    count: int
    day: int
    on: datetime.date | None

    @property
    def id(self) -> str:
        """Short and unique in its trial, such as ``"visit-3"``."""
        return f"{self.kind}-{self.number}" if self.kind in ("lids", "visit") else self.kind


@dataclass(frozen=True)
class ShoppingItem:
    """Something to buy or to fetch.

    Attributes
    ----------
    kind : {"bucket", "net cup", "starter cube", "seed", "nutrient", "acidifier", "pH strip"}
        What it is.
    product : str or None
        Name of the cultivar, nutrient or acidifier; null where the trial names none.
    quantity : float
        How much, in the unit.
    unit : {"piece", "seed", "bucket", "tsp", "g"}
        A bucket is what is used in one bucket; tsp are level teaspoons.
    cost : float or None
        In the protocol's currency; null where there is no price.
    """

    kind: ItemKind
    product: str | None
    quantity: float
    unit: ItemUnit
    cost: float | None = None


@dataclass(frozen=True)
class ShoppingList:
    """What is needed, and how quantities are worked out.

    Attributes
    ----------
    items : tuple of ShoppingItem
        What is needed.
    volume_l : float
        Volume of a bucket, L.
    heads_per_bucket : int
        Heads in each bucket.
    spare_share : float
        Share of nutrient, seed and strips bought beyond what is used.
    germination_share : float
        Share of seeds that come up.
    cost : float
        Sum of the costs that are known, in the protocol's currency.
    """

    items: tuple[ShoppingItem, ...]
    volume_l: float
    heads_per_bucket: int
    spare_share: float
    germination_share: float
    cost: float


@dataclass(frozen=True)
class Plan:
    """Everything that a plan says.

    Attributes
    ----------
    schema : {"trialkit-plan-2"}
        Name and number of this form of document.
    id : str
        Short name of the trial.
    title : str
        Title of the trial.
    question : str
        What the trial is to answer.
    season : str
        When it is to be grown.
    kind : str
        Kind of layout.
    seed : int
        Seed of the randomisation.
    sites : int
        Gardens.
    blocks : int
        Blocks in each garden.
    heads_per_bucket : int
        Heads in each bucket.
    buckets : int
        Buckets in the whole trial.
    heads : int
        Heads in the whole trial.
    treatments : int
        Treatments.
    practice : Treatment
        The current practice.
    margin_g : float
        Difference in head weight that would matter, g.
    level : float
        Risk of finding a difference where there is none, 0 to 1.
    power_wanted : float
        Chance wanted of finding the detectable difference, 0 to 1.
    efficiency : float
        Average efficiency factor of the layout; 1 for complete blocks.
    source : VarianceSource
        Where the assumed variances come from.
    spreads : tuple of AssumedSpread
        Assumed standard deviations that the layout makes count.
    effects : tuple of EffectPower
        What the F test of each effect would find.
    difference : DifferenceRow
        What the least precise comparison with the current practice would find.
    dose : DoseRow or None
        How closely the recommended dose would be known; null with fewer than three doses.
    uncounted : tuple of str
        Effects differing between gardens that the layout leaves no room for: answers hold for its gardens only.
    replicates : int
        Simulated trials; 0 where nothing was simulated.
    failed : int
        Simulated trials that could not be analysed.
    advice : EnlargementAdvice
        Which change buys most.
    larger : LargerTrials or None
        What it would take to have the power wanted; null where the trial has it.
    sizes : tuple of SizeRow
        Sizes of trial near the one asked for, and that one.
    sensitivity : tuple of SensitivityRow
        What the trial can tell where variances are half or double.
    curves : tuple of PowerCurve
        Chance of finding a difference by its size: as assumed first.
    warnings : tuple of LayoutWarning
        What to look at before anything is sown.
    benches : tuple of PlannedBench
        Where each bucket stands.
    calendar : tuple of Event
        What is due, in order of days.
    shopping : ShoppingList
        What is needed.
    """

    schema: Literal["trialkit-plan-2"]
    id: str
    title: str
    question: str
    season: str
    kind: str
    seed: int
    sites: int
    blocks: int
    heads_per_bucket: int
    buckets: int
    heads: int
    treatments: int
    practice: Treatment
    margin_g: float
    level: float
    power_wanted: float
    efficiency: float
    source: VarianceSource
    spreads: tuple[AssumedSpread, ...]
    effects: tuple[EffectPower, ...]
    difference: DifferenceRow
    dose: DoseRow | None
    uncounted: tuple[str, ...]
    replicates: int
    failed: int
    advice: EnlargementAdvice
    larger: LargerTrials | None
    sizes: tuple[SizeRow, ...]
    sensitivity: tuple[SensitivityRow, ...]
    curves: tuple[PowerCurve, ...]
    warnings: tuple[LayoutWarning, ...]
    benches: tuple[PlannedBench, ...]
    calendar: tuple[Event, ...]
    shopping: ShoppingList
