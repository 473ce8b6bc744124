"""Results as values: what an analysis found, ready to be written, drawn or checked."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Annotated, Literal

from pydantic import Field

from trialkit.domain.treatment import Level, Treatment

ResponseName = Literal["weight_g", "bucket_weight_g", "days", "degree_days"]
DoseBasis = Literal["share of gain", "net return"]
Covariate = Literal["sun_hours", "alkalinity_mg_l_caco3"]
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
    """A variance component.

    Attributes
    ----------
    term : str
        Of the model, such as ``site:block``; ``residual``, or ``residual:`` and a garden where each has its own.
    variance : float
        In the response's unit, squared.
    sd : float or None
        Its square root; None where it was too small to measure.
    """

    term: str
    variance: float
    sd: float | None


@dataclass(frozen=True)
class EffectTest:
    """A Kenward-Roger F test of one term.

    Attributes
    ----------
    term : str
        Columns of the factors, with colons between them where it is their interaction.
    f : float
        The statistic.
    numerator_df : int
        Degrees of freedom of the effect that could be tested.
    denominator_df : float
        Degrees of freedom for error.
    p : float
        Of no effect.
    """

    term: str
    f: float
    numerator_df: int
    denominator_df: float
    p: float


@dataclass(frozen=True)
class Interval:
    """An estimate with its limits.

    Attributes
    ----------
    estimate : float
        The most likely value.
    lower : float
        Lower limit.
    upper : float
        Upper limit.
    """

    estimate: float
    lower: float
    upper: float


@dataclass(frozen=True)
class Mean:
    """Estimated mean of a treatment combination, in the response's unit, with its Kenward-Roger interval.

    Attributes
    ----------
    treatment : Treatment
        Levels of the varied factors.
    mean : float
        Estimated on average over gardens.
    se : float
        Standard error.
    df : float
        Degrees of freedom of the interval.
    lower : float
        Lower limit of the mean.
    upper : float
        Upper limit of the mean.
    buckets : int
        With a record.
    heads : int
        With a record.
    new_garden : Interval or None
        The mean at a garden not yet seen; None where too few gardens tell.
    """

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
    """Estimated marginal mean of one level of one factor.

    Attributes
    ----------
    level : str or float
        Of the factor.
    mean : float
        In the response's unit, the other factors' levels weighed alike.
    se : float
        Standard error.
    df : float
        Degrees of freedom of the interval.
    lower : float
        Lower limit of the mean.
    upper : float
        Upper limit of the mean.
    """

    level: Level
    mean: float
    se: float
    df: float
    lower: float
    upper: float


@dataclass(frozen=True)
class Equivalence:
    """Two one-sided tests that a difference lies within the protocol's margin, for this comparison alone.

    Attributes
    ----------
    lower : float
        Lower limit of the interval that decides; its confidence is one minus twice the error rate, such as 90 %.
    upper : float
        Upper limit of that interval.
    p : float
        The larger of the two tests'.
    equivalent : bool
        Whether the interval lies within the margin.
    """

    lower: float
    upper: float
    p: float
    equivalent: bool


@dataclass(frozen=True)
class Comparison:
    """A treatment less the current practice, with simultaneous (Dunnett) limits and p.

    Attributes
    ----------
    treatment : Treatment
        Levels of the varied factors.
    difference : float
        Its mean less the current practice's, in the response's unit.
    se : float
        Standard error.
    df : float
        Degrees of freedom for error.
    lower : float
        Lower limit of the difference.
    upper : float
        Upper limit of the difference.
    p : float
        Of no difference.
    share_of_pairs : float or None
        Share of pairs, a bucket of this treatment beside one of the practice, of which this treatment's has the higher
        mean; None where buckets do not vary.
    equivalence : Equivalence or None
        None where the response has no margin.
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
    """One treatment less another, with limits and p that allow for all pairs (Tukey, Kramer).

    Attributes
    ----------
    first : Treatment
        Levels of the varied factors.
    second : Treatment
        What is taken from the first.
    difference : float
        Of the means, in the response's unit.
    se : float
        Standard error.
    df : float
        Degrees of freedom for error.
    lower : float
        Lower limit of the difference.
    upper : float
        Upper limit of the difference.
    p : float
        Of no difference.
    """

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
    """Mean of one bucket's heads: a replicate.

    Attributes
    ----------
    bucket : str
        Its id.
    site : str
        Garden where it stood.
    block : str
        Block within the garden.
    treatment : Treatment
        Levels of the varied factors.
    mean : float
        In the response's unit.
    heads : int
        With a record.
    """

    bucket: str
    site: str
    block: str
    treatment: Treatment
    mean: float
    heads: int


@dataclass(frozen=True)
class SiteMean:
    """Mean of the bucket means of a treatment at a site.

    Attributes
    ----------
    site : str
        The garden.
    treatment : Treatment
        Levels of the varied factors.
    mean : float
        In the response's unit.
    buckets : int
        How many have a record.
    """

    site: str
    treatment: Treatment
    mean: float
    buckets: int


@dataclass(frozen=True, kw_only=True)
class MissingCheck:
    """Whether buckets without a record are spread evenly over the levels of each factor.

    Attributes
    ----------
    id : str
        ``missing``.
    ok : bool
        Whether nothing says that they are not.
    buckets : int
        Laid out.
    missing : int
        Without a record.
    p : float
        Of an even spread (Fisher's exact test, allowing for all factors).
    column : str or None
        Of the factor that they go with the most; None where none is missing.
    level : str or float or None
        Of that factor, under which most are missing.
    """

    id: Literal["missing"] = "missing"
    ok: bool
    buckets: int
    missing: int
    p: float
    column: str | None = None
    level: Level | None = None


@dataclass(frozen=True, kw_only=True)
class ReplicationCheck:
    """Whether there are degrees of freedom enough for error.

    Attributes
    ----------
    id : str
        ``replication``.
    ok : bool
        Whether there are 12 or more.
    term : str or None
        The effect that the trial knows least about; None where that is a comparison.
    treatment : Treatment or None
        The treatment whose comparison with the current practice it knows least about.
    df : float
        Degrees of freedom for error there.
    """

    id: Literal["replication"] = "replication"
    ok: bool
    term: str | None = None
    treatment: Treatment | None = None
    df: float


@dataclass(frozen=True, kw_only=True)
class ResidualsCheck:
    """That the buckets do not let the model be checked: too few, or not different at all.

    Attributes
    ----------
    id : str
        ``residuals``.
    ok : bool
        Never.
    vary : bool
        Whether buckets treated alike in a block differ.
    df : int
        Degrees of freedom left among the bucket means.
    """

    id: Literal["residuals"] = "residuals"
    ok: bool = False
    vary: bool
    df: int


@dataclass(frozen=True, kw_only=True)
class ShapeCheck:
    """Whether the variation between buckets has the shape of a bell.

    Attributes
    ----------
    id : str
        ``shape``.
    ok : bool
        Whether nothing says that it has not.
    buckets : int
        How many tell.
    p : float
        Of Shapiro and Wilk's test.
    """

    id: Literal["shape"] = "shape"
    ok: bool
    buckets: int
    p: float


@dataclass(frozen=True)
class SiteSpread:
    """Standard deviation between like buckets at a garden.

    Attributes
    ----------
    site : str
        The garden.
    buckets : int
        How many tell.
    df : float
        Degrees of freedom that fall to the garden.
    sd : float
        In the response's unit.
    """

    site: str
    buckets: int
    df: float
    sd: float


@dataclass(frozen=True, kw_only=True)
class SpreadCheck:
    """Whether buckets vary alike in every garden.

    Attributes
    ----------
    id : str
        ``spread``.
    ok : bool
        Whether nothing says that they do not.
    lowest : SiteSpread
        Of the garden where they vary least.
    highest : SiteSpread
        Of the garden where they vary most.
    p : float
        Of Levene's test about medians.
    uneven : bool
        Whether the highest is so far above the lowest that each garden was given a variance of its own.
    """

    id: Literal["spread"] = "spread"
    ok: bool
    lowest: SiteSpread
    highest: SiteSpread
    p: float
    uneven: bool


@dataclass(frozen=True, kw_only=True)
class OutlierCheck:
    """Whether the bucket that stands out the most may do so by chance.

    Attributes
    ----------
    id : str
        ``outlier``.
    ok : bool
        Whether it may.
    bucket : str
        Its id.
    site : str
        Garden where it stood.
    residual : float
        How far it lies above what its treatment and block lead one to expect, in the response's unit.
    p : float
        Of its studentised residual, allowing for all buckets.
    """

    id: Literal["outlier"] = "outlier"
    ok: bool
    bucket: str
    site: str
    residual: float
    p: float


@dataclass(frozen=True, kw_only=True)
class ScaleCheck:
    """Whether the response fits on the scale that it is on.

    Attributes
    ----------
    id : str
        ``scale``.
    ok : bool
        Whether the limits hold 1, the scale as it is.
    power : Interval
        Box and Cox's best power of the response.
    chosen : float
        Power of the scale that would fit better; 0 stands for the logarithm, 1 where there is none that has a name.
    """

    id: Literal["scale"] = "scale"
    ok: bool
    power: Interval
    chosen: float


Check = Annotated[
    MissingCheck | ReplicationCheck | ResidualsCheck | ShapeCheck | SpreadCheck | OutlierCheck | ScaleCheck,
    Field(discriminator="id"),
]
"""Something that could be wrong: what was looked at, what was found, and whether it is in order."""


@dataclass(frozen=True)
class SiteDifference:
    """Raw mean of a treatment's buckets at a garden less that of the current practice's.

    Attributes
    ----------
    site : str
        The garden.
    difference : float
        In the response's unit.
    buckets : int
        Of the treatment.
    current_buckets : int
        Of the current practice.
    """

    site: str
    difference: float
    buckets: int
    current_buckets: int


@dataclass(frozen=True)
class Exploration:
    """Straight line of the gardens' differences on something known of the gardens; never a test.

    Attributes
    ----------
    covariate : str
        Column of sites.csv.
    per : float
        Units of it that the slope is for.
    slope : Interval
        Of the difference, in the response's unit.
    p : float
        Of no slope.
    gardens : int
        How many tell.
    """

    covariate: Covariate
    per: float
    slope: Interval
    p: float
    gardens: int


@dataclass(frozen=True)
class Gardens:
    """A treatment and the current practice, garden by garden, and what the difference goes with.

    Attributes
    ----------
    treatment : Treatment
        What the current practice is compared with: the decision's alternative.
    differences : tuple of SiteDifference
        Of the gardens that have both.
    explored : tuple of Exploration
        What the difference goes with.
    """

    treatment: Treatment
    differences: tuple[SiteDifference, ...]
    explored: tuple[Exploration, ...]


@dataclass(frozen=True)
class QuantilePoint:
    """A bucket's studentised residual, its normal quantile, and the band simulated for its rank.

    Attributes
    ----------
    bucket : str
        Its id.
    site : str
        Garden where it stood.
    studentised : float
        Residual in standard deviations.
    expected : float
        Normal quantile of its rank.
    lower : float
        Lower end of the band.
    upper : float
        Upper end of the band.
    """

    bucket: str
    site: str
    studentised: float
    expected: float
    lower: float
    upper: float


@dataclass(frozen=True)
class Power:
    """A power of the response, and how well it fits.

    Attributes
    ----------
    power : float
        0 stands for the logarithm.
    drop : float
        How much -2 log likelihood is above that of the best power.
    """

    power: float
    drop: float


@dataclass(frozen=True)
class Scale:
    """Box-Cox profile of a response.

    Attributes
    ----------
    estimate : float
        Best power.
    lower : float
        Lower limit of the power.
    upper : float
        Upper limit of the power.
    chosen : float
        Power of the scale that could be taken; 1 where the response can stay as it is, 0 for the logarithm.
    profile : tuple of Power
        Of every power looked at.
    """

    estimate: float
    lower: float
    upper: float
    chosen: float
    profile: tuple[Power, ...]


@dataclass(frozen=True)
class Diagnostics:
    """What the pictures of the checks show.

    Attributes
    ----------
    quantiles : tuple of QuantilePoint
        Of every bucket, in order of size.
    spread : tuple of SiteSpread
        Of every garden that tells.
    scale : Scale or None
        None where a value is nil, or too few powers settle.
    """

    quantiles: tuple[QuantilePoint, ...]
    spread: tuple[SiteSpread, ...]
    scale: Scale | None


@dataclass(frozen=True)
class DoseCurve:
    """One kind of dose curve.

    Attributes
    ----------
    curve : str
        Its kind.
    weight : float
        Among the five, by Akaike's criterion; they add up to 1.
    aicc : float
        Akaike's criterion with its small-sample term, by number of buckets.
    shape : float or None
        Dose at which a plateau is reached, or asymptotic rate for each teaspoon; None for a curve without one.
    shape_lower : float or None
        Lower limit by profile likelihood; None where the interval reaches the end of the shapes looked at.
    shape_upper : float or None
        Upper limit by profile likelihood; None as the lower one.
    shape_at_end : bool
        Whether the best shape is the last one looked at.
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
    """The averaged curve at one dose.

    Attributes
    ----------
    dose_tsp : float
        Level teaspoons a bucket.
    mean : float
        In the response's unit.
    lower : float
        Lower limit of the mean.
    upper : float
        Upper limit of the mean.
    """

    dose_tsp: float
    mean: float
    lower: float
    upper: float


@dataclass(frozen=True)
class RecommendedDose:
    """A dose that a curve recommends, never outside the range tried.

    Attributes
    ----------
    basis : str
        Why this one: it reaches a share of the gain that can be had, or has the greatest return after costs.
    dose_tsp : float
        Level teaspoons a bucket.
    lower_tsp : float
        Lower limit.
    upper_tsp : float
        Upper limit.
    spoons_tsp : float
        The next quarter of a teaspoon up.
    reaches_lowest : bool
        Whether the interval reaches the lowest dose tried.
    reaches_highest : bool
        Whether the interval reaches the highest dose tried.
    """

    basis: DoseBasis
    dose_tsp: float
    lower_tsp: float
    upper_tsp: float
    spoons_tsp: float
    reaches_lowest: bool
    reaches_highest: bool


@dataclass(frozen=True)
class DoseGroup:
    """Dose curves of all treatments, or of those that share some levels.

    Attributes
    ----------
    treatment : Treatment
        Levels that they share; empty where it is all treatments.
    curves : tuple of DoseCurve
        The five kinds.
    points : tuple of DosePoint
        Their average, from the lowest dose tried to the highest.
    gain : Interval
        The attainable one over the lowest dose.
    p : float
        Of no effect of the dose.
    recommended : tuple of RecommendedDose
        Empty where no effect was shown.
    levels_off : bool
        Whether the response was seen to level off within the range tried.
    """

    treatment: Treatment
    curves: tuple[DoseCurve, ...]
    points: tuple[DosePoint, ...]
    gain: Interval
    p: float
    recommended: tuple[RecommendedDose, ...]
    levels_off: bool


@dataclass(frozen=True)
class DoseAnswer:
    """What the doses of a response say.

    Attributes
    ----------
    status : str
        Whether curves were fitted.
    not_fitted : str or None
        Why not: fewer than four doses, or curves that the records cannot tell apart.
    technical : str or None
        What a statistician should know of that.
    doses : tuple of float
        Tried, level teaspoons a bucket.
    share_of_gain : float
        Of the attainable gain, that the recommended dose is to reach.
    apart : tuple of str
        Columns of the factors whose levels have curves of their own.
    tests : tuple of EffectTest
        Of the dose and of its interactions.
    groups : tuple of DoseGroup
        One for all, or one for each combination of the levels that have curves of their own.
    """

    status: Literal["fitted", "not fitted"]
    not_fitted: Literal["too_few_doses", "not_told_apart"] | None
    technical: str | None
    doses: tuple[float, ...]
    share_of_gain: float
    apart: tuple[str, ...]
    tests: tuple[EffectTest, ...]
    groups: tuple[DoseGroup, ...]


NoteCode = Literal[
    "few_levels",
    "bucket_means",
    "heads_alike",
    "spread_by_garden",
    "variances_held",
    "days_drawn",
    "not_ready",
    "weather_unknown",
    "heads_unrecorded",
    "heads_unweighed",
    "garden_failed",
]


@dataclass(frozen=True)
class Note:
    """Something about how a response was fitted that a reader should know.

    Attributes
    ----------
    code : str
        ``few_levels``: a term has too few to stand for others, and is fixed. ``bucket_means``: they were analysed, each
        counting alike. ``heads_alike``: the heads of a bucket were all recorded alike. ``spread_by_garden``: each
        garden has a variance of its own. ``variances_held``: at zero or above, so that tests are approximate.
        ``days_drawn``: between two visits. ``not_ready``: at the last visit, and counted so. ``weather_unknown``: heads
        left out for that. ``heads_unrecorded``: buckets scaled up to the full number of heads. ``heads_unweighed``:
        buckets left out for that. ``garden_failed``: nothing was usable there, and it is left out.
    count : int or None
        Levels, heads or buckets that it is about.
    term : str or None
        Of the model, that it is about.
    site : str or None
        Garden that it is about.
    """

    code: NoteCode
    count: int | None = None
    term: str | None = None
    site: str | None = None


@dataclass(frozen=True)
class PartlyTested:
    """An effect that missing combinations of levels leave untested, in whole or in part.

    Attributes
    ----------
    term : str
        The effect.
    df : int
        Its degrees of freedom that could be tested.
    full_df : int
        Its degrees of freedom, had every combination been harvested.
    """

    term: str
    df: int
    full_df: int


@dataclass(frozen=True)
class FittedModel:
    """The model behind a response's numbers and how its variances were found.

    Attributes
    ----------
    formula : str
        Response and fixed part.
    random : tuple of str
        Random terms besides the residual.
    residual : str
        What the residual variance is between: the heads of a bucket, or buckets treated alike.
    bounds : str
        Of the variances: those of the strata free, or all of them zero or above.
    iterations : int
        Until they settled.
    criterion : float or None
        -2 log restricted likelihood; None where days were drawn between visits, each completed set having its own.
    observations : int
        Rows that were fitted.
    buckets : int
        That they are of.
    notes : tuple of Note
        How it came to be this model, and what was left out.
    partly_tested : tuple of PartlyTested
        Effects that missing combinations leave untested.
    """

    formula: str
    random: tuple[str, ...]
    residual: Literal["heads", "buckets"]
    bounds: Literal["strata", "nonnegative"]
    iterations: int
    criterion: float | None
    observations: int
    buckets: int
    notes: tuple[Note, ...]
    partly_tested: tuple[PartlyTested, ...]


NotAnalysedCode = Literal[
    "not_asked",
    "no_record",
    "one_harvest_day",
    "one_treatment",
    "never_ready",
    "ready_at_once",
    "one_bucket_each",
    "not_settled",
    "no_variation",
    "confounded",
]


@dataclass(frozen=True)
class NotAnalysed:
    """Why a response has no answer.

    Attributes
    ----------
    code : str
        ``not_asked``: by the protocol. ``no_record``: no head has it. ``one_harvest_day``: fixed by the plan at every
        garden. ``one_treatment``: only one has a harvested head. ``never_ready``, ``ready_at_once``: no head of some
        treatments was ready when last seen, or all were when first seen. ``one_bucket_each``: no treatment has more.
        ``not_settled``: the variances. ``no_variation``: to judge by. ``confounded``: treatments with where they stood.
    treatments : tuple of Treatment
        That it is about.
    technical : str or None
        What a statistician should know of it.
    """

    code: NotAnalysedCode
    treatments: tuple[Treatment, ...] = ()
    technical: str | None = None


@dataclass(frozen=True)
class ResponseResult:
    """The answer for one response, or the reason why it has none.

    Attributes
    ----------
    name : str
        ``weight_g``: weight of the harvested heads. ``bucket_weight_g``: marketable weight of every bucket with a
        record, a lost head counting as nothing. ``days``: from transplanting to ready. ``degree_days``: the same in
        growing degree days above 4 degrees Celsius.
    unit : str
        Of every number of the response.
    status : str
        Whether it was analysed.
    not_analysed : NotAnalysed or None
        Why not.
    model : FittedModel or None
        The model that was fitted.
    variances : tuple of Variance
        Of every random term, and the residual.
    tests : tuple of EffectTest
        Of every effect of the factors.
    means : tuple of Mean
        Of every treatment.
    marginal_means : dict or None
        By column of a factor: the mean of every level.
    comparisons : tuple of Comparison
        Of every other treatment with the current practice.
    buckets : tuple of BucketMean
        The replicates.
    site_means : tuple of SiteMean
        Of every treatment at every garden.
    checks : tuple of check
        Of records and model.
    diagnostics : Diagnostics or None
        What the pictures of the checks show; None where the buckets leave too little to tell.
    gardens : Gardens or None
        The decision's alternative and the current practice, garden by garden.
    pairs : tuple of Pair
        Every pair of treatments, where that was asked for.
    dose : DoseAnswer or None
        What the doses say; None where the dose was not varied.
    """

    name: ResponseName
    unit: str
    status: Literal["analysed", "not analysed"]
    not_analysed: NotAnalysed | None
    model: FittedModel | None = None
    variances: tuple[Variance, ...] = ()
    tests: tuple[EffectTest, ...] = ()
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

    Attributes
    ----------
    planned : int
        Heads laid out.
    harvested : int
        Heads cut.
    lost : int
        Dead, bolted or missing.
    not_ready : int
        Still growing at the end.
    unrecorded : int
        Without a row in the records.
    unmarketable : int
        Of those harvested.
    """

    planned: int
    harvested: int
    lost: int
    not_ready: int
    unrecorded: int
    unmarketable: int


@dataclass(frozen=True)
class TreatmentLosses:
    """What became of the heads under one treatment.

    Attributes
    ----------
    treatment : Treatment
        Levels of the varied factors.
    heads : HeadCounts
        How many there were of each fate.
    share_usable : float or None
        Of the recorded heads, harvested and not unmarketable; None where none is recorded.
    usable : Interval or None
        That share with limits that allow for heads of a bucket faring alike.
    against_current : Interval or None
        Its difference from the current practice's share.
    """

    treatment: Treatment
    heads: HeadCounts
    share_usable: float | None
    usable: Interval | None
    against_current: Interval | None


@dataclass(frozen=True)
class FactorShare:
    """Share of usable heads under one level of a factor.

    Attributes
    ----------
    level : str or float
        Of the factor.
    recorded : int
        Heads with a record.
    usable : Interval
        Share of these that were harvested and not unmarketable.
    """

    level: Level
    recorded: int
    usable: Interval


@dataclass(frozen=True)
class FactorLosses:
    """Shares by level of one factor, and a test that they are the same.

    Attributes
    ----------
    column : str
        Of the factor.
    levels : tuple of FactorShare
        Those that have records.
    chi_square : float or None
        Allowing for heads of a bucket faring alike; None where too few were lost to tell.
    df : int
        Its degrees of freedom.
    p : float or None
        Of equal shares; None as chi-square.
    differ : bool
        Whether the levels differ, by that test at 5 %.
    """

    column: str
    levels: tuple[FactorShare, ...]
    chi_square: float | None
    df: int
    p: float | None
    differ: bool


@dataclass(frozen=True)
class SiteLosses:
    """What became of the heads at one garden.

    Attributes
    ----------
    site : str
        The garden.
    heads : HeadCounts
        How many there were of each fate.
    share_usable : float or None
        Of the recorded heads, harvested and not unmarketable; None where none is recorded.
    """

    site: str
    heads: HeadCounts
    share_usable: float | None


@dataclass(frozen=True)
class Losses:
    """What became of the heads of the trial.

    Attributes
    ----------
    heads : HeadCounts
        How many there were of each fate.
    recorded : int
        Rows of the records.
    dead : int
        Heads that died.
    bolted : int
        Heads that bolted.
    missing : int
        Heads that went missing.
    by_treatment : tuple of TreatmentLosses
        Of every treatment.
    by_site : tuple of SiteLosses
        Of every garden.
    by_factor : tuple of FactorLosses
        Of every varied factor.
    design_effect : float
        By how much heads count less than independent ones, because those of a bucket fare alike.
    treatments_vary : bool
        Whether shares of usable heads differ by more than a fifth between treatments.
    gardens_vary : bool
        Whether they do between gardens.
    unfinished : bool
        Whether more than a fifth of the planned heads have no record.
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
    treatments_vary: bool
    gardens_vary: bool
    unfinished: bool

    @property
    def go_with_the_treatment(self) -> bool:
        """Whether losses differ by treatment, so that weights of the survivors alone would mislead."""
        return self.treatments_vary or any(factor.differ for factor in self.by_factor)


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
class NoDecision:
    """Why there is no decision.

    Attributes
    ----------
    code : str
        ``yields_not_analysed``: for the reason that these have. ``no_practice_record``: nothing to compare with.
        ``too_small``: too few degrees of freedom for error.
    df : float or None
        Degrees of freedom of a difference from the current practice, where they are too few.
    """

    code: Literal["yields_not_analysed", "no_practice_record", "too_small"]
    df: float | None = None


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
