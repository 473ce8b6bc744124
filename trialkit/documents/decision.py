"""What to recommend and how sure: one decision, of one trial or of many."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Annotated, Literal

from trialkit.domain.short_repr import ShortRepr
from trialkit.domain.treatment import Treatment

ValueUnit = Literal["g per transplanted head", "currency a bucket"]
Uncounted = Literal["nutrient", "acid", "waiting"]
"""A cost that the records do not tell."""
Caution = Literal["losses", "failed_gardens", "missing", "residuals", "shape", "spread", "outlier", "priors"]
Variation = Literal[
    "bucket",
    "block",
    "whole_plot",
    "garden",
    "garden_cultivar",
    "garden_dose",
    "garden_acidifier",
    "season_level",
    "season",
    "cultivar",
    "acidifier",
    "curve",
    "interaction",
    "surroundings",
]


class Verdict(StrEnum):
    """What to do with the default, and whether that is settled."""

    CHANGE = "change"
    CHANGE_AND_TEST = "change and test again"
    KEEP = "keep"
    KEEP_AND_TEST = "keep and test again"

    @property
    def changes(self) -> bool:
        """Whether another treatment becomes the default."""
        return self in (Verdict.CHANGE, Verdict.CHANGE_AND_TEST)

    @property
    def is_settled(self) -> bool:
        """Whether no further trial is asked for."""
        return self in (Verdict.CHANGE, Verdict.KEEP)


@dataclass(frozen=True)
class Gain:
    """What a treatment gives beyond the current practice, as the model estimates it: shrunk, so that it comes true."""

    estimate: Annotated[float, "Expected, g per transplanted head."]
    lower: Annotated[float, "Lower limit, on average over gardens and seasons."]
    upper: Annotated[float, "Upper limit."]


@dataclass(frozen=True)
class Stood:
    """How often a treatment stood in the records."""

    buckets: Annotated[int, "Under just this treatment, with a record."]
    gardens: Annotated[int, "That had it."]
    trials: Annotated[int, "That had it."]


@dataclass(frozen=True, repr=False)
class Candidate(ShortRepr):
    """A treatment that could be the default."""

    treatment: Annotated[Treatment, "Its dose in teaspoons of today's nutrient."]
    n_mg_l: Annotated[float | None, "Nitrogen in the bucket, mg/L; None where it is not known."]
    stood: Annotated[Stood, "How often it stood; nothing for a dose between those tried."]
    raw_yield_g: Annotated[
        float | None, "Mean of the buckets as recorded, g per transplanted head; None where none stood."
    ]
    yield_g: Annotated[float, "Expected marketable weight per transplanted head, lost ones counting as zero, g."]
    weight_g: Annotated[float, "Expected weight of a marketable head, g."]
    share_usable: Annotated[float, "Expected share of transplanted heads that become marketable, 0 to 1."]
    share_unrecorded: Annotated[float, "Share of its planned heads without a record."]
    expected_value: Annotated[float, "On average over gardens and seasons, in the decision's unit."]
    gain: Annotated[Gain | None, "Over the current practice; None of that itself."]
    probability_better: Annotated[
        float | None, "Of more value than the current practice in a new garden and season; None of that itself."
    ]
    probability_near_best: Annotated[
        float, "Of lying within the margin of the best of all candidates, on average over gardens and seasons."
    ]
    expected_loss: Annotated[float, "Value given up on average against whichever candidate is truly best."]
    is_current: Annotated[bool, "Whether it is the current practice."]
    is_recommended: Annotated[bool, "Whether it is recommended."]
    days: Annotated[float | None, "Expected days to harvest; None where they are not known."] = None


@dataclass(frozen=True)
class DosePoint:
    """What a dose gives, by the curve."""

    dose_tsp: Annotated[float, "Level teaspoons a bucket."]
    n_mg_l: Annotated[float | None, "Nitrogen in the bucket, mg/L; None where it is not known."]
    yield_g: Annotated[float, "Expected, g per transplanted head."]
    lower: Annotated[float, "Lower limit, g."]
    upper: Annotated[float, "Upper limit, g."]
    value: Annotated[float, "Expected, in the decision's unit."]
    raw_yield_g: Annotated[float | None, "Mean of the buckets that had it; None of a dose between."]
    buckets: Annotated[int, "That had it."]


@dataclass(frozen=True)
class DoseAdvice:
    """The dose curve of the recommended treatment, within the range tried."""

    points: Annotated[tuple[DosePoint, ...], "On the kitchen's measures and at the doses tried, from the least up."]
    good_from_tsp: Annotated[float, "Least dose whose value is near enough to the best."]
    good_to_tsp: Annotated[float, "Greatest such dose."]
    best_from_tsp: Annotated[float, "Lower limit of the interval of the dose that is truly best."]
    best_to_tsp: Annotated[float, "Its upper limit."]
    at_edge: Annotated[bool, "Whether the recommended dose is the greatest tried: more was not looked at."]


@dataclass(frozen=True)
class TippingPoint:
    """What would have to be true of heads without a record for the choice to turn."""

    treatment: Annotated[Treatment, "Whose heads have no record."]
    unrecorded: Annotated[int, "How many."]
    share_recorded: Annotated[
        float, "Of its recorded heads that were marketable; where it has none, the share that is expected."
    ]
    turns_at: Annotated[float | None, "Share of those without a record that would turn it; None where no share would."]


ReadingCode = Literal["as_applied", "all_lost"]


@dataclass(frozen=True)
class OtherReading:
    """What would be recommended if the records were read otherwise."""

    of: Annotated[
        ReadingCode,
        "``as_applied``: buckets by what was really done to them. ``all_lost``: heads without a record as lost ones.",
    ]
    treatment: Annotated[Treatment | None, "The default that would follow; None where nothing could be recommended."]
    verdict: Annotated[Verdict | None, "What would be done; None where nothing could be recommended."]
    is_same: Annotated[bool, "Whether that is what the decision recommends, or the dose next to it."]
    probability_near_best: Annotated[float | None, "Of lying within the margin of the best, by that reading."]
    concerned: Annotated[int, "Buckets that count under another treatment than assigned; or heads taken as lost."]
    left_out: Annotated[int, "Buckets that got what the trial did not try, or got it out of time."]


@dataclass(frozen=True)
class Spread:
    """A standard deviation of the model of weights, averaged over what the records leave open."""

    of: Annotated[
        Variation,
        "Between what: buckets, blocks, whole plots, gardens. Or what gardens do to each factor, and seasons to all. "
        "Or the effects of what was tried.",
    ]
    sd_g: Annotated[float, "Its mean, g of the weight of a marketable head."]
    lower_g: Annotated[float, "Lower limit."]
    upper_g: Annotated[float, "Upper limit."]


@dataclass(frozen=True)
class Thresholds:
    """What the protocol asks of a change."""

    margin_g: Annotated[float, "How near to the best is near enough, g per transplanted head."]
    change_cost_g: Annotated[float, "What a change of the handout must be worth, g per transplanted head."]
    adopt_probability: Annotated[float, "Chance from which a choice is settled, 0 to 1."]
    confidence: Annotated[float, "Of the intervals, 0 to 1."]
    price_per_kg: Annotated[float | None, "Of lettuce; None where it has none."]
    cost_per_bucket: Annotated[float, "Besides nutrient and acid."]
    delay_cost_per_day: Annotated[float, "Of a bucket that is not ready."]


@dataclass(frozen=True)
class Evidence:
    """All that went into the model."""

    buckets: Annotated[int, "With a record."]
    gardens: Annotated[int, "With a record; one that took part in several trials counts once."]
    trials: Annotated[int, "With a record."]
    seasons: Annotated[tuple[str, ...], "As stated, in their order; empty where none is."]
    failed_gardens: Annotated[tuple[str, ...], "In which no head became marketable."]


@dataclass(frozen=True)
class NoDecision:
    """Why there is no decision."""

    code: Annotated[
        Literal["not_asked", "nothing_usable", "no_practice_record", "one_treatment", "practice_lost", "too_open"],
        "``not_asked``: for weights, by the protocol. ``nothing_usable``: no head became marketable and was weighed. "
        "``no_practice_record``: nothing to compare with. ``practice_lost``: the current practice came to nothing, and "
        "too little is known of the others to recommend one of them. "
        "``one_treatment``: nothing else has a record. ``too_open``: the records leave the sizes of variation so open "
        "that no average over them settles.",
    ]


@dataclass(frozen=True, repr=False)
class Decision(ShortRepr):
    """What to recommend and how sure."""

    verdict: Annotated[Verdict, "What to do."]
    unit: Annotated[ValueUnit, "Of a candidate's value."]
    current: Annotated[Treatment, "The current practice."]
    recommended: Annotated[Treatment, "The default that follows."]
    alternative: Annotated[
        Treatment,
        "What the current practice is set beside: the treatment recommended or, where the practice stays, the best "
        "alternative.",
    ]
    thresholds: Annotated[Thresholds, "What the protocol asks for."]
    candidates: Annotated[
        tuple[Candidate, ...], "Every treatment with a record, and of the doses between those that are spoken of."
    ]
    evidence: Annotated[Evidence, "All that went into the model."]
    dose: Annotated[DoseAdvice | None, "None where one dose only was tried."]
    spreads: Annotated[tuple[Spread, ...], "Standard deviations."]
    effective_points: Annotated[
        float, "Number of equally weighted sets of standard deviations that the averages are worth."
    ]
    draws: Annotated[int, "That chances of being near the best were counted from."]
    uncounted: Annotated[tuple[Uncounted, ...], "Costs that are not known."] = ()
    days_later: Annotated[float | None, "The alternative's days to harvest beyond the practice's; None if unknown."] = (
        None
    )
    days_later_limits: Annotated[tuple[float, float] | None, "Of that, on average over gardens and seasons."] = None
    tipping: Annotated[tuple[TippingPoint, ...], "Treatments with heads that have no record."] = ()
    other_priors: Annotated[
        tuple[Treatment, ...], "What would be grown with priors half or twice as wide, where that is another one."
    ] = ()
    cautions: Annotated[tuple[Caution, ...], "What could well turn it."] = ()
    other_readings: Annotated[
        tuple[OtherReading, ...], "What would follow from the records read otherwise, where they can be."
    ] = ()

    def candidate(self, treatment: Treatment) -> Candidate:
        """The candidate that a treatment is."""
        return next(one for one in self.candidates if one.treatment == treatment)

    def stood_as(self, candidate: Candidate) -> tuple[Candidate, ...]:
        """The candidate itself where it stood; of a dose between those tried, the two that it lies between."""
        if candidate.stood.buckets:
            return (candidate,)
        mine = candidate.treatment
        alike = [
            one
            for one in self.candidates
            if one.stood.buckets
            and (one.treatment.cultivar, one.treatment.acidifier) == (mine.cultivar, mine.acidifier)
        ]
        below = [one for one in alike if (one.treatment.dose_tsp or 0.0) < (mine.dose_tsp or 0.0)]
        above = [one for one in alike if (one.treatment.dose_tsp or 0.0) > (mine.dose_tsp or 0.0)]
        if not below or not above:
            return ()
        return (
            max(below, key=lambda one: one.treatment.dose_tsp or 0.0),
            min(above, key=lambda one: one.treatment.dose_tsp or 0.0),
        )

    @property
    def chosen(self) -> Candidate:
        """The candidate that is recommended."""
        return self.candidate(self.recommended)

    @property
    def shown(self) -> Candidate:
        """The candidate that pictures and sentences set beside the current practice."""
        return self.candidate(self.alternative)
