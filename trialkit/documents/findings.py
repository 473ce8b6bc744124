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
ValueUnit = Literal["g per transplanted head", "currency a bucket"]
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
    """A variance component."""

    term: Annotated[
        str, "Of the model, such as ``site:block``; ``residual``, or ``residual:`` and a garden where each has its own."
    ]
    variance: Annotated[float, "In the response's unit, squared."]
    sd: Annotated[float | None, "Its square root; None where it was too small to measure."]


@dataclass(frozen=True)
class EffectTest:
    """A Kenward-Roger F test of one term."""

    term: Annotated[str, "Columns of the factors, with colons between them where it is their interaction."]
    f: Annotated[float, "The statistic."]
    numerator_df: Annotated[int, "Degrees of freedom of the effect that could be tested."]
    denominator_df: Annotated[float, "Degrees of freedom for error."]
    p: Annotated[float, "Of no effect."]


@dataclass(frozen=True)
class Interval:
    """An estimate with its limits."""

    estimate: Annotated[float, "The most likely value."]
    lower: Annotated[float, "Lower limit."]
    upper: Annotated[float, "Upper limit."]


@dataclass(frozen=True)
class Mean:
    """Estimated mean of a treatment combination, in the response's unit, with its Kenward-Roger interval."""

    treatment: Annotated[Treatment, "Levels of the varied factors."]
    mean: Annotated[float, "Estimated on average over gardens."]
    se: Annotated[float, "Standard error."]
    df: Annotated[float, "Degrees of freedom of the interval."]
    lower: Annotated[float, "Lower limit of the mean."]
    upper: Annotated[float, "Upper limit of the mean."]
    buckets: Annotated[int, "With a record."]
    heads: Annotated[int, "With a record."]
    new_garden: Annotated[Interval | None, "The mean at a garden not yet seen; None where too few gardens tell."] = None


@dataclass(frozen=True)
class LevelMean:
    """Estimated marginal mean of one level of one factor."""

    level: Annotated[Level, "Of the factor."]
    mean: Annotated[float, "In the response's unit, the other factors' levels weighed alike."]
    se: Annotated[float, "Standard error."]
    df: Annotated[float, "Degrees of freedom of the interval."]
    lower: Annotated[float, "Lower limit of the mean."]
    upper: Annotated[float, "Upper limit of the mean."]


@dataclass(frozen=True)
class Equivalence:
    """Two one-sided tests that a difference lies within the protocol's margin, for this comparison alone."""

    lower: Annotated[
        float,
        "Lower limit of the interval that decides; its confidence is one minus twice the error rate, such as 90 %.",
    ]
    upper: Annotated[float, "Upper limit of that interval."]
    p: Annotated[float, "The larger of the two tests'."]
    equivalent: Annotated[bool, "Whether the interval lies within the margin."]


@dataclass(frozen=True)
class Comparison:
    """A treatment less the current practice, with simultaneous (Dunnett) limits and p."""

    treatment: Annotated[Treatment, "Levels of the varied factors."]
    difference: Annotated[float, "Its mean less the current practice's, in the response's unit."]
    se: Annotated[float, "Standard error."]
    df: Annotated[float, "Degrees of freedom for error."]
    lower: Annotated[float, "Lower limit of the difference."]
    upper: Annotated[float, "Upper limit of the difference."]
    p: Annotated[float, "Of no difference."]
    probability_of_superiority: Annotated[
        float | None,
        "Of all pairs of a bucket of this treatment and one of the practice, the share in which this treatment's has "
        "the higher mean; None where buckets do not vary.",
    ] = None
    equivalence: Annotated[Equivalence | None, "None where the response has no margin."] = None


@dataclass(frozen=True)
class Pair:
    """One treatment less another, with limits and p that allow for all pairs (Tukey, Kramer)."""

    first: Annotated[Treatment, "Levels of the varied factors."]
    second: Annotated[Treatment, "What is taken from the first."]
    difference: Annotated[float, "Of the means, in the response's unit."]
    se: Annotated[float, "Standard error."]
    df: Annotated[float, "Degrees of freedom for error."]
    lower: Annotated[float, "Lower limit of the difference."]
    upper: Annotated[float, "Upper limit of the difference."]
    p: Annotated[float, "Of no difference."]


@dataclass(frozen=True)
class BucketMean:
    """Mean of one bucket's heads: a replicate."""

    bucket: Annotated[str, "Its id."]
    site: Annotated[str, "Garden where it stood."]
    block: Annotated[str, "Block within the garden."]
    treatment: Annotated[Treatment, "Levels of the varied factors."]
    mean: Annotated[float, "In the response's unit."]
    heads: Annotated[int, "With a record."]


@dataclass(frozen=True)
class SiteMean:
    """Mean of the bucket means of a treatment at a site."""

    site: Annotated[str, "The garden."]
    treatment: Annotated[Treatment, "Levels of the varied factors."]
    mean: Annotated[float, "In the response's unit."]
    buckets: Annotated[int, "How many have a record."]


@dataclass(frozen=True, kw_only=True)
class MissingCheck:
    """Whether buckets without a record are spread evenly over the levels of each factor."""

    id: Annotated[Literal["missing"], "``missing``."] = "missing"
    ok: Annotated[bool, "Whether nothing says that they are not."]
    buckets: Annotated[int, "Laid out."]
    missing: Annotated[int, "Without a record."]
    p: Annotated[float, "Of an even spread (Fisher's exact test, allowing for all factors)."]
    column: Annotated[str | None, "Of the factor that they go with the most; None where none is missing."] = None
    level: Annotated[Level | None, "Of that factor, under which most are missing."] = None


@dataclass(frozen=True, kw_only=True)
class ReplicationCheck:
    """Whether there are degrees of freedom enough for error."""

    id: Annotated[Literal["replication"], "``replication``."] = "replication"
    ok: Annotated[bool, "Whether there are 12 or more."]
    term: Annotated[str | None, "The effect that the trial knows least about; None where that is a comparison."] = None
    treatment: Annotated[
        Treatment | None, "The treatment whose comparison with the current practice it knows least about."
    ] = None
    df: Annotated[float, "Degrees of freedom for error there."]


@dataclass(frozen=True, kw_only=True)
class ResidualsCheck:
    """That the buckets do not let the model be checked: too few, or not different at all."""

    id: Annotated[Literal["residuals"], "``residuals``."] = "residuals"
    ok: Annotated[bool, "Never."] = False
    vary: Annotated[bool, "Whether buckets treated alike in a block differ."]
    df: Annotated[int, "Degrees of freedom left among the bucket means."]


@dataclass(frozen=True, kw_only=True)
class ShapeCheck:
    """Whether the variation between buckets has the shape of a bell."""

    id: Annotated[Literal["shape"], "``shape``."] = "shape"
    ok: Annotated[bool, "Whether nothing says that it has not."]
    buckets: Annotated[int, "How many tell."]
    p: Annotated[float, "Of Shapiro and Wilk's test."]


@dataclass(frozen=True)
class SiteSpread:
    """Standard deviation between like buckets at a garden."""

    site: Annotated[str, "The garden."]
    buckets: Annotated[int, "How many tell."]
    df: Annotated[float, "Degrees of freedom that fall to the garden."]
    sd: Annotated[float, "In the response's unit."]


@dataclass(frozen=True, kw_only=True)
class SpreadCheck:
    """Whether buckets vary alike in every garden."""

    id: Annotated[Literal["spread"], "``spread``."] = "spread"
    ok: Annotated[bool, "Whether nothing says that they do not."]
    lowest: Annotated[SiteSpread, "Of the garden where they vary least."]
    highest: Annotated[SiteSpread, "Of the garden where they vary most."]
    p: Annotated[float, "Of Levene's test about medians."]
    uneven: Annotated[
        bool, "Whether the highest is so far above the lowest that each garden was given a variance of its own."
    ]


@dataclass(frozen=True, kw_only=True)
class OutlierCheck:
    """Whether the bucket that stands out the most may do so by chance."""

    id: Annotated[Literal["outlier"], "``outlier``."] = "outlier"
    ok: Annotated[bool, "Whether it may."]
    bucket: Annotated[str, "Its id."]
    site: Annotated[str, "Garden where it stood."]
    residual: Annotated[
        float, "How far it lies above what its treatment and block lead one to expect, in the response's unit."
    ]
    p: Annotated[float, "Of its studentised residual, allowing for all buckets."]


@dataclass(frozen=True, kw_only=True)
class ScaleCheck:
    """Whether the response fits on the scale that it is on."""

    id: Annotated[Literal["scale"], "``scale``."] = "scale"
    ok: Annotated[bool, "Whether the limits hold 1, the scale as it is."]
    power: Annotated[Interval, "Box and Cox's best power of the response."]
    chosen: Annotated[
        float,
        "Power of the scale that would fit better; 0 stands for the logarithm, 1 where there is none that has a name.",
    ]


Check = Annotated[
    MissingCheck | ReplicationCheck | ResidualsCheck | ShapeCheck | SpreadCheck | OutlierCheck | ScaleCheck,
    Field(discriminator="id"),
]
"""Something that could be wrong: what was looked at, what was found, and whether it is in order."""


@dataclass(frozen=True)
class SiteDifference:
    """Raw mean of a treatment's buckets at a garden less that of the current practice's."""

    site: Annotated[str, "The garden."]
    difference: Annotated[float, "In the response's unit."]
    buckets: Annotated[int, "Of the treatment."]
    current_buckets: Annotated[int, "Of the current practice."]


@dataclass(frozen=True)
class Exploration:
    """Straight line of the gardens' differences on something known of the gardens; never a test."""

    covariate: Annotated[Covariate, "Column of sites.csv."]
    per: Annotated[float, "Units of it that the slope is for."]
    slope: Annotated[Interval, "Of the difference, in the response's unit."]
    p: Annotated[float, "Of no slope."]
    gardens: Annotated[int, "How many tell."]


@dataclass(frozen=True)
class Gardens:
    """A treatment and the current practice, garden by garden, and what the difference goes with."""

    treatment: Annotated[Treatment, "What the current practice is compared with: the decision's alternative."]
    differences: Annotated[tuple[SiteDifference, ...], "Of the gardens that have both."]
    explored: Annotated[tuple[Exploration, ...], "What the difference goes with."]


@dataclass(frozen=True)
class QuantilePoint:
    """A bucket's studentised residual, its normal quantile, and the band simulated for its rank."""

    bucket: Annotated[str, "Its id."]
    site: Annotated[str, "Garden where it stood."]
    studentised: Annotated[float, "Residual in standard deviations."]
    expected: Annotated[float, "Normal quantile of its rank."]
    lower: Annotated[float, "Lower end of the band."]
    upper: Annotated[float, "Upper end of the band."]


@dataclass(frozen=True)
class Power:
    """A power of the response, and how well it fits."""

    power: Annotated[float, "0 stands for the logarithm."]
    drop: Annotated[float, "How much -2 log likelihood is above that of the best power."]


@dataclass(frozen=True)
class Scale:
    """Box-Cox profile of a response."""

    estimate: Annotated[float, "Best power."]
    lower: Annotated[float, "Lower limit of the power."]
    upper: Annotated[float, "Upper limit of the power."]
    chosen: Annotated[
        float, "Power of the scale that could be taken; 1 where the response can stay as it is, 0 for the logarithm."
    ]
    profile: Annotated[tuple[Power, ...], "Of every power looked at."]


@dataclass(frozen=True)
class Diagnostics:
    """What the pictures of the checks show."""

    quantiles: Annotated[tuple[QuantilePoint, ...], "Of every bucket, in order of size."]
    spread: Annotated[tuple[SiteSpread, ...], "Of every garden that tells."]
    scale: Annotated[Scale | None, "None where a value is nil, or too few powers settle."]


@dataclass(frozen=True)
class DoseCurve:
    """One kind of dose curve."""

    curve: Annotated[str, "Its kind."]
    weight: Annotated[float, "Among the five, by Akaike's criterion; they add up to 1."]
    aicc: Annotated[float, "Akaike's criterion with its small-sample term, by number of buckets."]
    shape: Annotated[
        float | None,
        "Dose at which a plateau is reached, or asymptotic rate for each teaspoon; None for a curve without one.",
    ]
    shape_lower: Annotated[
        float | None,
        "Lower limit by profile likelihood; None where the interval reaches the end of the shapes looked at.",
    ]
    shape_upper: Annotated[float | None, "Upper limit by profile likelihood; None as the lower one."]
    shape_at_end: Annotated[bool, "Whether the best shape is the last one looked at."]


@dataclass(frozen=True)
class DosePoint:
    """The averaged curve at one dose."""

    dose_tsp: Annotated[float, "Level teaspoons a bucket."]
    mean: Annotated[float, "In the response's unit."]
    lower: Annotated[float, "Lower limit of the mean."]
    upper: Annotated[float, "Upper limit of the mean."]


@dataclass(frozen=True)
class RecommendedDose:
    """A dose that a curve recommends, never outside the range tried."""

    basis: Annotated[
        DoseBasis,
        "Why this one: it reaches a share of the gain that can be had, or has the greatest return after costs.",
    ]
    dose_tsp: Annotated[float, "Level teaspoons a bucket."]
    lower_tsp: Annotated[float, "Lower limit."]
    upper_tsp: Annotated[float, "Upper limit."]
    spoons_tsp: Annotated[float, "The next quarter of a teaspoon up."]
    reaches_lowest: Annotated[bool, "Whether the interval reaches the lowest dose tried."]
    reaches_highest: Annotated[bool, "Whether the interval reaches the highest dose tried."]


@dataclass(frozen=True)
class DoseGroup:
    """Dose curves of all treatments, or of those that share some levels."""

    treatment: Annotated[Treatment, "Levels that they share; empty where it is all treatments."]
    curves: Annotated[tuple[DoseCurve, ...], "The five kinds."]
    points: Annotated[tuple[DosePoint, ...], "Their average, from the lowest dose tried to the highest."]
    gain: Annotated[Interval, "The attainable one over the lowest dose."]
    p: Annotated[float, "Of no effect of the dose."]
    recommended: Annotated[tuple[RecommendedDose, ...], "Empty where no effect was shown."]
    levels_off: Annotated[bool, "Whether the response was seen to level off within the range tried."]


@dataclass(frozen=True)
class DoseAnswer:
    """What the doses of a response say."""

    status: Annotated[Literal["fitted", "not fitted"], "Whether curves were fitted."]
    not_fitted: Annotated[
        Literal["too_few_doses", "not_told_apart"] | None,
        "Why not: fewer than four doses, or curves that the records cannot tell apart.",
    ]
    technical: Annotated[str | None, "What a statistician should know of that."]
    doses: Annotated[tuple[float, ...], "Tried, level teaspoons a bucket."]
    share_of_gain: Annotated[float, "Of the attainable gain, that the recommended dose is to reach."]
    apart: Annotated[tuple[str, ...], "Columns of the factors whose levels have curves of their own."]
    tests: Annotated[tuple[EffectTest, ...], "Of the dose and of its interactions."]
    groups: Annotated[
        tuple[DoseGroup, ...], "One for all, or one for each combination of the levels that have curves of their own."
    ]


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
    """Something about how a response was fitted that a reader should know."""

    code: Annotated[
        NoteCode,
        "``few_levels``: a term has too few to stand for others, and is fixed. ``bucket_means``: they were analysed, "
        "each counting alike. ``heads_alike``: the heads of a bucket were all recorded alike. ``spread_by_garden``: "
        "each garden has a variance of its own. ``variances_held``: at zero or above, so that tests are approximate. "
        "``days_drawn``: between two visits. ``not_ready``: at the last visit, and counted so. ``weather_unknown``: "
        "heads left out for that. ``heads_unrecorded``: buckets scaled up to the full number of heads. "
        "``heads_unweighed``: buckets left out for that. ``garden_failed``: nothing was usable there, and it is left "
        "out.",
    ]
    count: Annotated[int | None, "Levels, heads or buckets that it is about."] = None
    term: Annotated[str | None, "Of the model, that it is about."] = None
    site: Annotated[str | None, "Garden that it is about."] = None


@dataclass(frozen=True)
class PartlyTested:
    """An effect that missing combinations of levels leave untested, in whole or in part."""

    term: Annotated[str, "The effect."]
    df: Annotated[int, "Its degrees of freedom that could be tested."]
    full_df: Annotated[int, "Its degrees of freedom, had every combination been harvested."]


@dataclass(frozen=True)
class FittedModel:
    """The model behind a response's numbers and how its variances were found."""

    formula: Annotated[str, "Response and fixed part."]
    random: Annotated[tuple[str, ...], "Random terms besides the residual."]
    residual: Annotated[
        Literal["heads", "buckets"],
        "What the residual variance is between: the heads of a bucket, or buckets treated alike.",
    ]
    bounds: Annotated[
        Literal["strata", "nonnegative"], "Of the variances: those of the strata free, or all of them zero or above."
    ]
    iterations: Annotated[int, "Until they settled."]
    criterion: Annotated[
        float | None,
        "-2 log restricted likelihood; None where days were drawn between visits, each completed set having its own.",
    ]
    observations: Annotated[int, "Rows that were fitted."]
    buckets: Annotated[int, "That they are of."]
    notes: Annotated[tuple[Note, ...], "How it came to be this model, and what was left out."]
    partly_tested: Annotated[tuple[PartlyTested, ...], "Effects that missing combinations leave untested."]


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
    """Why a response has no answer."""

    code: Annotated[
        NotAnalysedCode,
        "``not_asked``: by the protocol. ``no_record``: no head has it. ``one_harvest_day``: fixed by the plan at "
        "every garden. ``one_treatment``: only one has a harvested head. ``never_ready``, ``ready_at_once``: no head "
        "of some treatments was ready when last seen, or all were when first seen. ``one_bucket_each``: no treatment "
        "has more. ``not_settled``: the variances. ``no_variation``: to judge by. ``confounded``: treatments with "
        "where they stood.",
    ]
    treatments: Annotated[tuple[Treatment, ...], "That it is about."] = ()
    technical: Annotated[str | None, "What a statistician should know of it."] = None


@dataclass(frozen=True)
class ResponseResult:
    """The answer for one response, or the reason why it has none."""

    name: Annotated[
        ResponseName,
        "``weight_g``: weight of the harvested heads. ``bucket_weight_g``: marketable weight of every bucket with a "
        "record, a lost head counting as nothing. ``days``: from transplanting to ready. ``degree_days``: the same in"
        " growing degree days above 4 degrees Celsius.",
    ]
    unit: Annotated[str, "Of every number of the response."]
    status: Annotated[Literal["analysed", "not analysed"], "Whether it was analysed."]
    not_analysed: Annotated[NotAnalysed | None, "Why not."]
    model: Annotated[FittedModel | None, "The model that was fitted."] = None
    variances: Annotated[tuple[Variance, ...], "Of every random term, and the residual."] = ()
    tests: Annotated[tuple[EffectTest, ...], "Of every effect of the factors."] = ()
    means: Annotated[tuple[Mean, ...], "Of every treatment."] = ()
    marginal_means: Annotated[
        dict[str, tuple[LevelMean, ...]] | None, "By column of a factor: the mean of every level."
    ] = None
    comparisons: Annotated[tuple[Comparison, ...], "Of every other treatment with the current practice."] = ()
    buckets: Annotated[tuple[BucketMean, ...], "The replicates."] = ()
    site_means: Annotated[tuple[SiteMean, ...], "Of every treatment at every garden."] = ()
    checks: Annotated[tuple[Check, ...], "Of records and model."] = ()
    diagnostics: Annotated[
        Diagnostics | None, "What the pictures of the checks show; None where the buckets leave too little to tell."
    ] = None
    gardens: Annotated[Gardens | None, "The decision's alternative and the current practice, garden by garden."] = None
    pairs: Annotated[tuple[Pair, ...], "Every pair of treatments, where that was asked for."] = ()
    dose: Annotated[DoseAnswer | None, "What the doses say; None where the dose was not varied."] = None


@dataclass(frozen=True)
class HeadCounts:
    """What became of the planned heads of one group."""

    planned: Annotated[int, "Heads laid out."]
    harvested: Annotated[int, "Heads cut."]
    lost: Annotated[int, "Dead, bolted or missing."]
    not_ready: Annotated[int, "Still growing at the end."]
    unrecorded: Annotated[int, "Without a row in the records."]
    unmarketable: Annotated[int, "Of those harvested."]


@dataclass(frozen=True)
class TreatmentLosses:
    """What became of the heads under one treatment."""

    treatment: Annotated[Treatment, "Levels of the varied factors."]
    heads: Annotated[HeadCounts, "How many there were of each fate."]
    share_usable: Annotated[
        float | None, "Of the recorded heads, harvested and not unmarketable; None where none is recorded."
    ]
    usable: Annotated[Interval | None, "That share with limits that allow for heads of a bucket faring alike."]
    against_current: Annotated[Interval | None, "Its difference from the current practice's share."]


@dataclass(frozen=True)
class FactorShare:
    """Share of usable heads under one level of a factor."""

    level: Annotated[Level, "Of the factor."]
    recorded: Annotated[int, "Heads with a record."]
    usable: Annotated[Interval, "Share of these that were harvested and not unmarketable."]


@dataclass(frozen=True)
class FactorLosses:
    """Shares by level of one factor, and a test that they are the same."""

    column: Annotated[str, "Of the factor."]
    levels: Annotated[tuple[FactorShare, ...], "Those that have records."]
    chi_square: Annotated[
        float | None, "Allowing for heads of a bucket faring alike; None where too few were lost to tell."
    ]
    df: Annotated[int, "Its degrees of freedom."]
    p: Annotated[float | None, "Of equal shares; None as chi-square."]
    differ: Annotated[bool, "Whether the levels differ, by that test at 5 %."]


@dataclass(frozen=True)
class SiteLosses:
    """What became of the heads at one garden."""

    site: Annotated[str, "The garden."]
    heads: Annotated[HeadCounts, "How many there were of each fate."]
    share_usable: Annotated[
        float | None, "Of the recorded heads, harvested and not unmarketable; None where none is recorded."
    ]


@dataclass(frozen=True)
class Losses:
    """What became of the heads of the trial."""

    heads: Annotated[HeadCounts, "How many there were of each fate."]
    recorded: Annotated[int, "Rows of the records."]
    dead: Annotated[int, "Heads that died."]
    bolted: Annotated[int, "Heads that bolted."]
    missing: Annotated[int, "Heads that went missing."]
    by_treatment: Annotated[tuple[TreatmentLosses, ...], "Of every treatment."]
    by_site: Annotated[tuple[SiteLosses, ...], "Of every garden."]
    by_factor: Annotated[tuple[FactorLosses, ...], "Of every varied factor."]
    design_effect: Annotated[
        float, "By how much heads count less than independent ones, because those of a bucket fare alike."
    ]
    treatments_vary: Annotated[bool, "Whether shares of usable heads differ by more than a fifth between treatments."]
    gardens_vary: Annotated[bool, "Whether they do between gardens."]
    unfinished: Annotated[bool, "Whether more than a fifth of the planned heads have no record."]

    @property
    def go_with_the_treatment(self) -> bool:
        """Whether losses differ by treatment, so that weights of the survivors alone would mislead."""
        return self.treatments_vary or any(factor.differ for factor in self.by_factor)


@dataclass(frozen=True)
class Candidate:
    """A treatment as a candidate default."""

    treatment: Annotated[Treatment, "Levels of the varied factors."]
    yield_g: Annotated[
        float, "Marketable weight per transplanted head, lost ones counted as nothing, g: what the value counts."
    ]
    share_usable: Annotated[float, "Share of the recorded heads that were harvested and marketable."]
    share_unrecorded: Annotated[float, "Share of the planned heads without a record."]
    expected_value: Annotated[float, "On average over gardens, in the decision's unit."]
    probability_best: Annotated[
        float | None, "Of the greatest value among the eligible; None where it is not eligible."
    ]
    probability_better: Annotated[
        float | None,
        "Of gaining the margin or more over the current practice; None of that itself, and where it is not eligible.",
    ]
    probability_equivalent: Annotated[
        float | None, "Of lying within the equivalence margin of the current practice; None likewise."
    ]
    expected_loss: Annotated[
        float | None, "Value given up against whichever eligible one is truly best; None where it is not eligible."
    ]
    eligible: Annotated[bool, "Whether its records are complete enough to be set beside the current practice's."]
    is_current: Annotated[bool, "Whether it is the current practice."]
    is_recommended: Annotated[bool, "Whether it is recommended."]


@dataclass(frozen=True)
class Thresholds:
    """What the protocol asks of a change."""

    margin_g: Annotated[float, "Gain that matters, g per transplanted head."]
    equivalence_margin_g: Annotated[float, "Difference that does not matter, g per transplanted head."]
    adopt_probability: Annotated[float, "Chance that is asked for, 0 to 1."]
    confidence: Annotated[float, "Of the intervals, 0 to 1."]
    price_per_kg: Annotated[float | None, "Of lettuce; None where it has none."]
    cost_per_bucket: Annotated[float, "Besides nutrient and acid."]
    delay_cost_per_day: Annotated[float, "Of a bucket that is not ready."]


@dataclass(frozen=True)
class Evidence:
    """How much a decision rests on, and how far it reaches."""

    buckets: Annotated[int, "With a record."]
    sites: Annotated[int, "With a record."]
    seasons: Annotated[tuple[str, ...], "As stated, in their order; empty where none is."] = ()
    trials: Annotated[int | None, "Pooled ones; None where a trial is judged by itself."] = None
    confounded: Annotated[
        bool, "Whether the trial could not tell how much effects differ between gardens from how much buckets differ."
    ] = False
    unrecorded: Annotated[tuple[Treatment, ...], "Treatments without a record."] = ()


@dataclass(frozen=True)
class NoDecision:
    """Why there is no decision."""

    code: Annotated[
        Literal["yields_not_analysed", "no_practice_record", "too_small"],
        "``yields_not_analysed``: for the reason that these have. ``no_practice_record``: nothing to compare with. "
        "``too_small``: too few degrees of freedom for error.",
    ]
    df: Annotated[
        float | None, "Degrees of freedom of a difference from the current practice, where they are too few."
    ] = None


@dataclass(frozen=True)
class Choice:
    """A verdict, and what it recommends."""

    verdict: Annotated[Verdict, "What to do."]
    recommended: Annotated[Treatment, "The default that follows."]


@dataclass(frozen=True)
class WithoutBucket:
    """The decision without one bucket."""

    bucket: Annotated[str, "That is left out."]
    site: Annotated[str, "Where it stood."]
    treatment: Annotated[Treatment, "That it had."]
    difference: Annotated[
        float,
        "Yield of a transplanted head under the alternative less that under the current practice, at the trial's "
        "variances, g.",
    ]
    choice: Annotated[Choice | None, "None where it is the same as that of all buckets."]


@dataclass(frozen=True)
class Influence:
    """What single buckets do to the decision."""

    difference: Annotated[float, "As that without a bucket, but with all of them, g per transplanted head."]
    buckets: Annotated[tuple[WithoutBucket, ...], "Every bucket in turn."]
    more: Annotated[bool, "Whether others may turn the decision too: only those that move it most were looked at."]
    ok: Annotated[bool, "Whether the verdict stays, whichever bucket is left out."]


@dataclass(frozen=True)
class NextTrial:
    """Size of a trial like this one that would settle what it did not."""

    buckets: Annotated[int, "Of the alternative and the current practice together."]
    gardens: Annotated[int, "Over which they are spread."]
    gain_g: Annotated[float, "That the alternative is taken to have, g per transplanted head."]
    power: Annotated[float, "Share of such trials that would settle it."]


@dataclass(frozen=True)
class Decision:
    """What to recommend and how sure."""

    verdict: Annotated[Verdict, "What to do."]
    unit: Annotated[ValueUnit, "Of a candidate's value."]
    place: Annotated[Place, "Where the chances hold."]
    current: Annotated[Treatment, "The current practice."]
    recommended: Annotated[Treatment, "The default that follows."]
    alternative: Annotated[
        Treatment | None,
        "What the current practice is set beside: the treatment recommended or, where the practice stays, the other "
        "candidate with the greatest chance of being better; None where no other is eligible.",
    ]
    thresholds: Annotated[Thresholds, "What the protocol asks for."]
    candidates: Annotated[tuple[Candidate, ...], "Every treatment with a record."]
    evidence: Annotated[Evidence, "What it rests on."]
    gain_g: Annotated[
        Interval | None,
        "The alternative's yield per transplanted head less the current practice's, g, with limits that allow for all "
        "comparisons.",
    ]
    days_later: Annotated[Interval | None, "The same of the days to harvest; None where they could not be compared."]
    excludes_loss: Annotated[
        bool, "Whether the simultaneous interval of the alternative's gain in value excludes no gain."
    ]
    saving: Annotated[Saving | None, "How a cheaper treatment is cheaper; None where none was taken for being so."]
    uncounted: Annotated[tuple[Uncounted, ...], "Costs that are not known."]
    draws: Annotated[int, "That the chances were counted from."]
    cautions: Annotated[tuple[Caution, ...], "What could well turn it."] = ()
    in_grams: Annotated[
        Choice | None, "What would follow on the scale of grams, where another scale was taken and decides otherwise."
    ] = None
    influence: Annotated[Influence | None, "What single buckets do to it; None where another scale was taken."] = None
    next_trial: Annotated[
        NextTrial | None, "What would settle it, where it is not settled; None where nothing would."
    ] = None

    @property
    def choice(self) -> Choice:
        """The verdict and what it recommends."""
        return Choice(self.verdict, self.recommended)

    def candidate(self, treatment: Treatment) -> Candidate:
        """The candidate that a treatment is."""
        return next(one for one in self.candidates if one.treatment == treatment)
