"""Results as values: what an analysis found, ready to be written, drawn or checked."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import Field

from trialkit.domain.short_repr import ShortRepr
from trialkit.domain.treatment import Level, Treatment

ResponseName = Literal["weight_g", "bucket_weight_g", "days", "degree_days"]
Covariate = Literal["sun_hours", "alkalinity_mg_l_caco3"]


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
        "How often a bucket of this treatment has a higher mean than one of the practice, over all such pairs. None "
        "where buckets do not vary.",
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
    own_mean: Annotated[
        float | None,
        "Of days, by what was seen of its own heads alone, for the advice; None of other responses, and where these "
        "tell nothing.",
    ] = None
    own_se: Annotated[float | None, "What that errs by, beside what the bucket differs from like ones, days."] = None


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
    buckets: Annotated[int, "Laid out; of gardens that withdrew, those with a record alone."]
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
    """A bucket's studentised residual, its normal quantile, and the band simulated for all ranks together."""

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


NoteCode = Literal[
    "few_levels",
    "bucket_means",
    "heads_alike",
    "spread_by_garden",
    "variances_held",
    "days_drawn",
    "ready_at_first",
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
        "``days_drawn``: between two visits. ``ready_at_first``: at the first visit, and counted so. ``not_ready``: at "
        "the last visit, and counted so. ``weather_unknown``: "
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


@dataclass(frozen=True, repr=False)
class ResponseResult(ShortRepr):
    """The answer for one response, or the reason why it has none."""

    name: Annotated[
        ResponseName,
        "``weight_g``: weight of the harvested heads. ``bucket_weight_g``: marketable weight of every bucket with a "
        "record, a lost head counting as zero. ``days``: from transplanting to ready. ``degree_days``: the same in"
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


@dataclass(frozen=True)
class HeadCounts:
    """What became of the planned heads of one group."""

    planned: Annotated[int, "Heads laid out; of gardens that withdrew, those with a record alone."]
    harvested: Annotated[int, "Heads cut."]
    lost: Annotated[int, "Dead, bolted or eaten."]
    not_ready: Annotated[int, "Still growing at the end."]
    unrecorded: Annotated[int, "Of which the records say nothing: stolen, never planted, given up, missing, or no row."]
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
        float | None,
        "Score statistic of equal shares, allowing for gardens, blocks and buckets as intervals do; None where nothing "
        "or everything was lost.",
    ]
    df: Annotated[int, "Its degrees of freedom."]
    p: Annotated[float | None, "Of equal shares; None where too few were lost to tell."]
    differ: Annotated[bool, "Whether the levels differ, by that test at 5 %."]
    denominator_df: Annotated[
        float | None,
        "Of F, which is chi-square over its degrees of freedom and gives p; None where p is chi-square's own.",
    ] = None


@dataclass(frozen=True)
class SiteLosses:
    """What became of the heads at one garden."""

    site: Annotated[str, "The garden."]
    heads: Annotated[HeadCounts, "How many there were of each fate."]
    share_usable: Annotated[
        float | None, "Of the recorded heads, harvested and not unmarketable; None where none is recorded."
    ]


@dataclass(frozen=True, repr=False)
class Losses(ShortRepr):
    """What became of the heads of the trial."""

    heads: Annotated[HeadCounts, "How many there were of each fate."]
    recorded: Annotated[int, "Heads of which the records say what became."]
    outcomes: Annotated[dict[str, int], "Heads by outcome, as heads.csv names it; those that occur."]
    by_treatment: Annotated[tuple[TreatmentLosses, ...], "Of every treatment."]
    by_site: Annotated[tuple[SiteLosses, ...], "Of every garden."]
    by_factor: Annotated[tuple[FactorLosses, ...], "Of every varied factor."]
    design_effect: Annotated[
        float,
        "By how much heads count less than independent ones, as those of a bucket fare alike. It is used in tests and "
        "intervals where no model of losses could be fitted.",
    ]
    treatments_vary: Annotated[bool, "Whether shares of usable heads differ by more than a fifth between treatments."]
    gardens_vary: Annotated[bool, "Whether they do between gardens."]
    unfinished: Annotated[bool, "Whether more than a fifth of the planned heads have no record."]
    share_sd_logit: Annotated[
        dict[str, float] | None,
        "Fitted standard deviations of the logit of a share, by what varies: garden, block, bucket. None where no "
        "model could be fitted.",
    ] = None

    @property
    def go_with_the_treatment(self) -> bool:
        """Whether losses differ by treatment, so that weights of the survivors alone would mislead."""
        return self.treatments_vary or any(factor.differ for factor in self.by_factor)
