"""Results as values: what an analysis found, ready to be written, drawn or checked."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from trialkit.domain.treatment import Level, Treatment

Place = Literal["this_garden", "these_gardens", "new_garden", "average_garden"]
"""Where a decision holds: in the garden or gardens of the trial, in a new one, or on average over ones like these."""
ValueUnit = Literal["g a planted head", "currency a bucket"]
Saving = Literal["nutrient", "inputs"]
"""How a cheaper treatment is cheaper: it takes less nutrient, or what goes into the bucket costs less."""
Uncounted = Literal["nutrient", "acid", "waiting"]
"""A cost that weighs against the price of lettuce, but is not known."""
Caution = Literal["in_grams", "losses", "influence", "missing", "residuals", "shape", "spread", "outlier"]
"""What could well turn a decision: the scale, losses, single buckets, or a check of the yields by its id."""


class Verdict(StrEnum):
    """What to do with the current practice."""

    ADOPT = "adopt"
    KEEP = "keep"
    RETEST = "retest"
    TAKE_CHEAPER = "take_cheaper"


@dataclass(frozen=True)
class Variance:
    """A variance component; `statement` is set where it was too small to measure."""

    term: str
    label: str
    variance: float
    sd: float | None
    statement: str | None


@dataclass(frozen=True)
class Test:
    """A Kenward-Roger F test of one term."""

    term: str
    label: str
    f: float
    numerator_df: int
    denominator_df: float
    p: float


@dataclass(frozen=True)
class Interval:
    """An estimate with its limits."""

    estimate: float
    lower: float
    upper: float


@dataclass(frozen=True)
class Mean:
    """Estimated mean of a treatment combination, in the response's unit, with its Kenward-Roger interval."""

    treatment: Treatment
    mean: float
    se: float
    df: float
    lower: float
    upper: float
    buckets: int
    heads: int
    new_garden: Interval | None = None


@dataclass(frozen=True)
class LevelMean:
    """Estimated marginal mean of one level of one factor."""

    level: Level
    mean: float
    se: float
    df: float
    lower: float
    upper: float


@dataclass(frozen=True)
class Equivalence:
    """Two one-sided tests that a difference lies within the protocol's margin, for this comparison alone.

    The interval that decides has a confidence of one minus twice the error rate, such as 90 %.
    """

    lower: float
    upper: float
    p: float
    equivalent: bool


@dataclass(frozen=True)
class Comparison:
    """A treatment less the current practice, with simultaneous (Dunnett) limits and p.

    `share_of_pairs` is the share of pairs, a bucket of this treatment beside one of the practice, of which this
    treatment's has the higher mean; missing where buckets do not vary.
    """

    treatment: Treatment
    difference: float
    se: float
    df: float
    lower: float
    upper: float
    p: float
    share_of_pairs: float | None = None
    equivalence: Equivalence | None = None


@dataclass(frozen=True)
class Pair:
    """The first treatment less the second, with limits and p that allow for all pairs (Tukey, Kramer)."""

    first: Treatment
    second: Treatment
    difference: float
    se: float
    df: float
    lower: float
    upper: float
    p: float


@dataclass(frozen=True)
class BucketMean:
    """Mean of one bucket's heads: a replicate."""

    bucket: str
    site: str
    block: str
    treatment: Treatment
    mean: float
    heads: int


@dataclass(frozen=True)
class SiteMean:
    """Mean of the bucket means of a treatment at a site."""

    site: str
    treatment: Treatment
    mean: float
    buckets: int


@dataclass(frozen=True)
class Check:
    """Something that could be wrong: what was found and what follows from it."""

    id: str
    title: str
    finding: str
    consequence: str
    ok: bool


@dataclass(frozen=True)
class SiteDifference:
    """Raw mean of a treatment's buckets at a garden less that of the current practice's, and how many there are."""

    site: str
    difference: float
    buckets: int
    current_buckets: int


@dataclass(frozen=True)
class Exploration:
    """Slope of the gardens' differences on something known of the gardens, for each `per` units of it."""

    covariate: str
    label: str
    per: float
    slope: Interval
    p: float
    gardens: int
    statement: str


@dataclass(frozen=True)
class Gardens:
    """The treatment set beside the current practice, garden by garden, and what the difference goes with."""

    treatment: Treatment
    differences: tuple[SiteDifference, ...]
    statement: str
    explored: tuple[Exploration, ...]


@dataclass(frozen=True)
class QuantilePoint:
    """A bucket's studentised residual beside its normal quantile, and the band simulated for its rank."""

    bucket: str
    site: str
    studentised: float
    expected: float
    lower: float
    upper: float


@dataclass(frozen=True)
class SiteSpread:
    """Standard deviation between like buckets at a garden, with its degrees of freedom."""

    site: str
    buckets: int
    df: float
    sd: float


@dataclass(frozen=True)
class Power:
    """A power of the response, and how much -2 log likelihood is above that of the best one."""

    power: float
    drop: float


@dataclass(frozen=True)
class Scale:
    """Box-Cox profile of a response: best power with limits, and the power of the scale that could be taken.

    `chosen` is 1 where the response can stay as it is; 0 stands for the logarithm.
    """

    estimate: float
    lower: float
    upper: float
    chosen: float
    profile: tuple[Power, ...]


@dataclass(frozen=True)
class Diagnostics:
    """What the pictures of the checks show; empty or None where too few buckets are left to tell."""

    quantiles: tuple[QuantilePoint, ...]
    spread: tuple[SiteSpread, ...]
    scale: Scale | None


@dataclass(frozen=True)
class DoseCurve:
    """One kind of dose curve: its weight among the five, and its shape with profile-likelihood limits.

    The shape is the dose at which a plateau is reached, or the asymptotic rate for each teaspoon; None for a curve
    without one. A limit is None where the interval reaches the end of the shapes looked at.
    """

    curve: str
    weight: float
    aicc: float
    shape: float | None
    shape_lower: float | None
    shape_upper: float | None
    shape_at_end: bool


@dataclass(frozen=True)
class DosePoint:
    """The averaged curve at one dose, with its interval."""

    dose_tsp: float
    mean: float
    lower: float
    upper: float


@dataclass(frozen=True)
class RecommendedDose:
    """A dose that a curve recommends, with its interval; `spoons_tsp` is the next quarter of a teaspoon up.

    Never outside the range tried; `reaches_lowest` and `reaches_highest` say whether the interval reaches its ends.
    """

    basis: str
    dose_tsp: float
    lower_tsp: float
    upper_tsp: float
    spoons_tsp: float
    reaches_lowest: bool
    reaches_highest: bool


@dataclass(frozen=True)
class DoseGroup:
    """Dose curves of all treatments (`treatment` empty) or of those that share some levels.

    `gain` is the attainable one over the lowest dose, with limits; `p` tests that the dose has no effect.
    """

    treatment: Treatment
    curves: tuple[DoseCurve, ...]
    points: tuple[DosePoint, ...]
    gain: tuple[float, float, float]
    p: float
    recommended: tuple[RecommendedDose, ...]
    statements: tuple[str, ...]


@dataclass(frozen=True)
class DoseAnswer:
    """What the doses of a response say; `apart` names the factors whose levels have curves of their own."""

    status: Literal["fitted", "not fitted"]
    reason: str | None
    doses: tuple[float, ...]
    share_of_gain: float
    apart: tuple[str, ...]
    tests: tuple[Test, ...]
    statement: str
    groups: tuple[DoseGroup, ...]


@dataclass(frozen=True)
class FittedModel:
    """The model behind a response's numbers and how its variances were found.

    The criterion is None where days were drawn between visits, each completed set having its own.
    """

    formula: str
    random: tuple[str, ...]
    bounds: str
    iterations: int
    criterion: float | None
    observations: int
    buckets: int
    statements: tuple[str, ...]


@dataclass(frozen=True)
class ResponseResult:
    """The answer for one response, or the reason why it has none; `of` says which heads it speaks of."""

    label: str
    unit: str
    of: str
    status: Literal["analysed", "not analysed"]
    reason: str | None
    model: FittedModel | None = None
    variances: tuple[Variance, ...] = ()
    tests: tuple[Test, ...] = ()
    means: tuple[Mean, ...] = ()
    marginal_means: dict[str, tuple[LevelMean, ...]] | None = None
    comparisons: tuple[Comparison, ...] = ()
    buckets: tuple[BucketMean, ...] = ()
    site_means: tuple[SiteMean, ...] = ()
    checks: tuple[Check, ...] = ()
    diagnostics: Diagnostics | None = None
    gardens: Gardens | None = None
    pairs: tuple[Pair, ...] = ()
    dose: DoseAnswer | None = None


@dataclass(frozen=True)
class HeadCounts:
    """What became of the planned heads of one group.

    `lost` ones were dead, bolted or missing; `unrecorded` ones have no row; `unmarketable` ones are among those
    harvested.
    """

    planned: int
    harvested: int
    lost: int
    not_ready: int
    unrecorded: int
    unmarketable: int


@dataclass(frozen=True)
class TreatmentLosses:
    """What became of the heads under one treatment, and the share of the recorded ones that came to the table.

    `usable` is that share with limits that allow for heads of a bucket faring alike; `against_current` its difference
    from the current practice's.
    """

    treatment: Treatment
    heads: HeadCounts
    share_usable: float | None
    usable: Interval | None
    against_current: Interval | None


@dataclass(frozen=True)
class FactorShare:
    """Share of the recorded heads that came to the table under one level of a factor."""

    level: Level
    recorded: int
    usable: Interval


@dataclass(frozen=True)
class FactorLosses:
    """Shares by level of one factor, and a test that they are the same; no p where too few were lost to tell."""

    column: str
    levels: tuple[FactorShare, ...]
    chi_square: float | None
    df: int
    p: float | None


@dataclass(frozen=True)
class SiteLosses:
    """What became of the heads at one garden, and the share of the recorded ones that came to the table."""

    site: str
    heads: HeadCounts
    share_usable: float | None


@dataclass(frozen=True)
class Losses:
    """What became of the heads of the trial; `recorded` counts the rows of the records.

    `design_effect` is by how much heads count less than independent ones, because those of a bucket fare alike.
    """

    heads: HeadCounts
    recorded: int
    dead: int
    bolted: int
    missing: int
    by_treatment: tuple[TreatmentLosses, ...]
    by_site: tuple[SiteLosses, ...]
    by_factor: tuple[FactorLosses, ...]
    design_effect: float
    warning: str | None
    statement: str


@dataclass(frozen=True)
class Candidate:
    """A treatment as a candidate default.

    Attributes
    ----------
    treatment : Treatment
        Levels of the varied factors.
    yield_g : float
        Marketable weight of a planted head, lost ones counted as nothing, g: what the value counts.
    share_usable : float
        Share of the recorded heads that were harvested and marketable.
    share_unrecorded : float
        Share of the planned heads without a record.
    expected_value : float
        On average over gardens, in the decision's unit.
    probability_best : float or None
        Of the greatest value among the eligible; None where it is not eligible.
    probability_better : float or None
        Of gaining the margin or more over the current practice; None of that itself, and where it is not eligible.
    probability_equivalent : float or None
        Of lying within the equivalence margin of the current practice; None likewise.
    expected_loss : float or None
        Value given up against whichever eligible one is truly best; None where it is not eligible.
    eligible : bool
        Whether its records are complete enough to be set beside the current practice's.
    is_current : bool
        Whether it is the current practice.
    is_recommended : bool
        Whether it is recommended.
    """

    treatment: Treatment
    yield_g: float
    share_usable: float
    share_unrecorded: float
    expected_value: float
    probability_best: float | None
    probability_better: float | None
    probability_equivalent: float | None
    expected_loss: float | None
    eligible: bool
    is_current: bool
    is_recommended: bool


@dataclass(frozen=True)
class Thresholds:
    """What the protocol asks of a change.

    Attributes
    ----------
    margin_g : float
        Gain that matters, g a planted head.
    equivalence_margin_g : float
        Difference that does not matter, g a planted head.
    adopt_probability : float
        Chance that is asked for, 0 to 1.
    confidence : float
        Of the intervals, 0 to 1.
    price_per_kg : float or None
        Of lettuce; None where it has none.
    cost_per_bucket : float
        Besides nutrient and acid.
    delay_cost_per_day : float
        Of a bucket that is not ready.
    """

    margin_g: float
    equivalence_margin_g: float
    adopt_probability: float
    confidence: float
    price_per_kg: float | None
    cost_per_bucket: float
    delay_cost_per_day: float


@dataclass(frozen=True)
class Evidence:
    """How much a decision rests on, and how far it reaches.

    Attributes
    ----------
    buckets : int
        With a record.
    sites : int
        With a record.
    seasons : tuple of str
        As stated, in their order; empty where none is.
    trials : int or None
        Pooled ones; None where a trial is judged by itself.
    confounded : bool
        Whether the trial could not tell how much effects differ between gardens from how much buckets differ.
    unrecorded : tuple of Treatment
        Treatments without a record.
    """

    buckets: int
    sites: int
    seasons: tuple[str, ...] = ()
    trials: int | None = None
    confounded: bool = False
    unrecorded: tuple[Treatment, ...] = ()


@dataclass(frozen=True)
class Choice:
    """A verdict, and what it recommends.

    Attributes
    ----------
    verdict : Verdict
        What to do.
    recommended : Treatment
        The default that follows.
    """

    verdict: Verdict
    recommended: Treatment


@dataclass(frozen=True)
class WithoutBucket:
    """The decision without one bucket.

    Attributes
    ----------
    bucket : str
        That is left out.
    site : str
        Where it stood.
    treatment : Treatment
        That it had.
    difference : float
        Yield of a planted head under the alternative less that under the current practice, at the trial's variances, g.
    choice : Choice or None
        None where it is the same as that of all buckets.
    """

    bucket: str
    site: str
    treatment: Treatment
    difference: float
    choice: Choice | None


@dataclass(frozen=True)
class Influence:
    """What single buckets do to the decision.

    Attributes
    ----------
    difference : float
        As that without a bucket, but with all of them, g a planted head.
    buckets : tuple of WithoutBucket
        Every bucket in turn.
    more : bool
        Whether others may turn the decision too: only those that move it most were looked at.
    ok : bool
        Whether the verdict stays, whichever bucket is left out.
    """

    difference: float
    buckets: tuple[WithoutBucket, ...]
    more: bool
    ok: bool


@dataclass(frozen=True)
class NextTrial:
    """Size of a trial like this one that would settle what it did not.

    Attributes
    ----------
    buckets : int
        Of the alternative and the current practice together.
    gardens : int
        Over which they are spread.
    gain_g : float
        That the alternative is taken to have, g a planted head.
    power : float
        Share of such trials that would settle it.
    """

    buckets: int
    gardens: int
    gain_g: float
    power: float


@dataclass(frozen=True)
class Decision:
    """What to recommend and how sure.

    Attributes
    ----------
    verdict : Verdict
        What to do.
    unit : str
        Of a candidate's value.
    place : str
        Where the chances hold.
    current : Treatment
        The current practice.
    recommended : Treatment
        The default that follows.
    alternative : Treatment or None
        What the current practice is set beside: the treatment recommended or, where the practice stays, the other
        candidate with the greatest chance of being better; None where no other is eligible.
    thresholds : Thresholds
        What the protocol asks for.
    candidates : tuple of Candidate
        Every treatment with a record.
    evidence : Evidence
        What it rests on.
    gain_g : Interval or None
        The alternative's yield of a planted head less the current practice's, g, with limits that allow for all
        comparisons.
    days_later : Interval or None
        The same of the days to harvest; None where they could not be compared.
    excludes_loss : bool
        Whether the simultaneous interval of the alternative's gain in value excludes no gain.
    saving : str or None
        How a cheaper treatment is cheaper; None where none was taken for being so.
    uncounted : tuple of str
        Costs that are not known.
    draws : int
        That the chances were counted from.
    cautions : tuple of str
        What could well turn it.
    in_grams : Choice or None
        What would follow on the scale of grams, where another scale was taken and decides otherwise.
    influence : Influence or None
        What single buckets do to it; None where another scale was taken.
    next_trial : NextTrial or None
        What would settle it, where it is not settled; None where nothing would.
    """

    verdict: Verdict
    unit: ValueUnit
    place: Place
    current: Treatment
    recommended: Treatment
    alternative: Treatment | None
    thresholds: Thresholds
    candidates: tuple[Candidate, ...]
    evidence: Evidence
    gain_g: Interval | None
    days_later: Interval | None
    excludes_loss: bool
    saving: Saving | None
    uncounted: tuple[Uncounted, ...]
    draws: int
    cautions: tuple[Caution, ...] = ()
    in_grams: Choice | None = None
    influence: Influence | None = None
    next_trial: NextTrial | None = None

    @property
    def choice(self) -> Choice:
        """The verdict and what it recommends."""
        return Choice(self.verdict, self.recommended)

    def candidate(self, treatment: Treatment) -> Candidate:
        """The candidate that a treatment is."""
        return next(one for one in self.candidates if one.treatment == treatment)
