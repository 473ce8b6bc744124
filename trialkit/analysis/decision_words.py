"""A decision in sentences to be read aloud: what to do, how sure, what would change it, what it covers."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from trialkit._percent import in_percent
from trialkit.analysis.worth import Worth
from trialkit.documents.findings import Candidate, Comparison, NextTrial, Verdict
from trialkit.domain.thresholds import FEWEST_RANDOM_LEVELS
from trialkit.domain.treatment import Treatment
from trialkit.protocol.sections import Decision as ProtocolDecision
from trialkit.words.phrases import asked_chance, chance, number
from trialkit.words.treatments import treatment_words

NOTABLE_SHARE = 0.05
"""A twentieth of the heads is worth a word (common practice, no source)."""
ENOUGH_SITES = 8
"""Simulated claims of 97 in 100 came true in 82 to 90 of 100 trials at three or four gardens, in 94 at eight."""


@dataclass(frozen=True)
class Thresholds:
    """What the protocol asks of a change, in grams of head weight and probabilities."""

    margin_g: float
    equivalence_margin_g: float
    adopt_probability: float
    confidence: float
    price_per_kg: float | None
    cost_per_bucket: float
    delay_cost_per_day: float

    def as_dict(self) -> dict[str, float | None]:
        """Return every threshold by name, to be shown."""
        return dict(vars(self))


def thresholds_of(decision: ProtocolDecision) -> Thresholds:
    """Thresholds of a protocol's section on the decision."""
    return Thresholds(
        margin_g=decision.margin_g,
        equivalence_margin_g=decision.equivalence_margin_g,
        adopt_probability=decision.adopt_probability,
        confidence=decision.confidence,
        price_per_kg=decision.price_per_kg,
        cost_per_bucket=decision.cost_per_bucket,
        delay_cost_per_day=decision.delay_cost_per_day,
    )


@dataclass(frozen=True)
class Evidence:
    """How large the trial was, and how far its answer reaches.

    Attributes
    ----------
    buckets, sites : int
        That have records.
    season : str
    confounded : bool
        Whether the trial could not tell how much effects differ between gardens from how much buckets differ.
    unrecorded : tuple of Treatment
        Treatments of which there is no record.
    """

    buckets: int
    sites: int
    season: str
    confounded: bool = False
    unrecorded: tuple[Treatment, ...] = ()

    @property
    def place(self) -> str:
        """Where the answer holds: fewer than three gardens say nothing of others."""
        if self.sites < FEWEST_RANDOM_LEVELS:
            return "in the garden of this trial" if self.sites == 1 else "in the gardens of this trial"
        return "on average over gardens like these" if self.confounded else "in a new garden of this programme"

    @property
    def seen(self) -> str:
        """What the answer rests on."""
        gardens = "1 garden" if self.sites == 1 else f"{self.sites} gardens"
        season = f" in {self.season}" if self.season else ""
        return f"going by {self.buckets} buckets at {gardens}{season}"


@dataclass(frozen=True)
class Judgement:
    """Everything that the words are about; `sized` where the size of a next trial was asked for."""

    verdict: Verdict
    current: Candidate
    chosen: Candidate
    alternative: Candidate | None
    surely_gains: bool
    candidates: tuple[Candidate, ...]
    yield_comparisons: tuple[Comparison, ...]
    days_comparisons: tuple[Comparison, ...]
    worth: Worth
    thresholds: Thresholds
    evidence: Evidence
    next_trial: NextTrial | None = None
    sized: bool = False

    @property
    def after_costs(self) -> str:
        """What is said of a gain where costs were taken off."""
        return " after costs" if self.worth.in_money else ""

    @property
    def margin(self) -> str:
        """The gain that would matter."""
        margin = self.thresholds.margin_g
        return f"{f'at least {number(margin)} g a planted head' if margin else 'anything'}{self.after_costs}"

    @property
    def sure(self) -> str:
        """The chance that the protocol asks for."""
        return asked_chance(self.thresholds.adopt_probability)


def sentences(judgement: Judgement) -> tuple[str, str]:
    """Two sentences: what to do, and how sure."""
    writers = {
        "adopt": _adopt,
        "no practical difference: take the cheaper": _take_the_cheaper,
        "keep current": _keep,
        "keep current, retest": _retest,
    }
    return writers[judgement.verdict](judgement)


def _adopt(judgement: Judgement) -> tuple[str, str]:
    chosen, current = judgement.chosen, judgement.current
    return (
        f"Change the default to {treatment_words(chosen.treatment)}: {_found(judgement)} than with the current "
        f"default, {treatment_words(current.treatment)}{_aside(judgement)}.",
        f"The chance that it gains {judgement.margin} {judgement.evidence.place} is {_better(chosen)}, "
        f"{judgement.evidence.seen}.",
    )


def _found(judgement: Judgement) -> str:
    """The difference in what a planted head gave, with its interval."""
    row = next(c for c in judgement.yield_comparisons if c.treatment == judgement.chosen.treatment)
    sign, more = (1, "more") if row.difference >= 0 else (-1, "less")
    low, high = sorted((sign * row.lower, sign * row.upper))
    confidence = f"{judgement.thresholds.confidence * 100:g} %"
    return (
        f"a planted head gave {sign * row.difference:.0f} g {more} ({confidence} interval {low:.0f} to {high:.0f} g, "
        "allowing for all comparisons)"
    )


def _aside(judgement: Judgement) -> str:
    """Differences besides yield that the reader must know of: heads that came to the table, and days."""
    chosen, current = judgement.chosen, judgement.current
    parts = []
    if abs(chosen.share_usable - current.share_usable) >= NOTABLE_SHARE:
        parts.append(
            f"{in_percent(chosen.share_usable)} of its heads came to the table, against "
            f"{in_percent(current.share_usable)}"
        )
    row = next((c for c in judgement.days_comparisons if c.treatment == chosen.treatment), None)
    if row and row.lower * row.upper > 0:
        days = number(abs(row.difference), 2)
        parts.append(f"it was ready {days} days {'later' if row.difference > 0 else 'sooner'}")
    return f"; {' and '.join(parts)}" if parts else ""


def _take_the_cheaper(judgement: Judgement) -> tuple[str, str]:
    chosen, margin = judgement.chosen, number(judgement.thresholds.equivalence_margin_g)
    return (
        f"Change the default to {treatment_words(chosen.treatment)}, which {judgement.worth.saving} and yields as much "
        f"as {treatment_words(judgement.current.treatment)}{_aside(judgement)}.",
        f"The chance that the two differ by less than {margin} g a planted head{judgement.after_costs} "
        f"{judgement.evidence.place} is {chance(chosen.probability_equivalent or 0.0)}, {judgement.evidence.seen}.",
    )


def _keep(judgement: Judgement) -> tuple[str, str]:
    assert judgement.alternative is not None  # the verdict rests on the chances of at least one
    return (
        f"Keep the current default, {treatment_words(judgement.current.treatment)}.",
        f"For the most promising alternative, {treatment_words(judgement.alternative.treatment)}, the chance of "
        f"gaining {judgement.margin} {judgement.evidence.place} is {_better(judgement.alternative)}, "
        f"{judgement.evidence.seen}.",
    )


def _retest(judgement: Judgement) -> tuple[str, str]:
    rival = judgement.alternative
    keep = f"Keep the current default, {treatment_words(judgement.current.treatment)}, for now"
    if rival is None:
        return (
            f"{keep}: the records of every alternative are much more, or much less, complete than its own.",
            f"Heads without a record may have fared otherwise, so no chance is given, {judgement.evidence.seen}.",
        )
    return (
        f"{keep}: the trial has not settled whether {treatment_words(rival.treatment)} is better.",
        f"The chance that it gains {judgement.margin} {judgement.evidence.place} is {_better(rival)}, "
        f"{_why_not(rival, judgement)}, {judgement.evidence.seen}.",
    )


def _why_not(rival: Candidate, judgement: Judgement) -> str:
    """Say what a promising candidate lacks."""
    probability, asked = rival.probability_better or 0.0, judgement.thresholds.adopt_probability
    if probability >= asked:
        return "but the interval that allows for all comparisons does not exclude a loss"
    just = "just " if chance(probability) == judgement.sure else ""
    return f"{just}short of the {judgement.sure} that the protocol asks for"


def _better(candidate: Candidate) -> str:
    return chance(candidate.probability_better or 0.0)


def would_change(judgement: Judgement) -> tuple[str, ...]:
    """What result would change the answer."""
    thresholds, rival, sure = judgement.thresholds, judgement.alternative, judgement.sure
    unlike = "A garden unlike these (water, sun, season) where it did worse than the current practice."
    if judgement.verdict == "adopt":
        return (f"A season in which the new default's chance of gaining {judgement.margin} fell below {sure}.", unlike)
    if judgement.verdict == "no practical difference: take the cheaper":
        alike = f"{number(thresholds.equivalence_margin_g)} g a planted head{judgement.after_costs}"
        return (f"A season in which the chance that the two differ by less than {alike} fell below {sure}.", unlike)
    if rival is None:
        return ("The records that are missing.",)
    name = treatment_words(rival.treatment)
    wanted = [f"Evidence that {name} gains {judgement.margin} with a chance of {sure}."]
    if (rival.probability_better or 0.0) >= thresholds.adopt_probability and not judgement.surely_gains:
        wanted = [f"More gardens or buckets, so that the interval of the gain from {name} excludes a loss."]
    wanted += _next_size(judgement)
    if thresholds.margin_g:
        margin = number(thresholds.margin_g)
        wanted.append(f"A smaller margin than {margin} g, if a smaller gain would matter to a gardener.")
    return tuple(wanted)


def _next_size(judgement: Judgement) -> Iterator[str]:
    """How many buckets the next trial needs, where this one has not settled it."""
    if judgement.verdict != "keep current, retest" or not judgement.sized:
        return
    size, rival = judgement.next_trial, judgement.alternative
    assert rival is not None
    if size is None:
        yield (
            "No number of buckets would settle it at gardens like these: the gain differs too much from garden to "
            "garden, or none is in sight."
        )
        return
    yield (
        f"A trial of {size.buckets} buckets of {treatment_words(rival.treatment)} and the current practice together, "
        f"at {size.gardens} gardens like these: if the gain is {number(size.gain_g, 2)} g a planted head, "
        f"{size.power * 100:g} of 100 such trials would settle it."
    )


def scope(judgement: Judgement) -> tuple[str, ...]:
    """What the answer covers and what it leaves out."""
    return tuple(_scope(judgement))


def _scope(judgement: Judgement) -> Iterator[str]:
    evidence, candidates = judgement.evidence, judgement.candidates
    yield "Nothing is recommended outside the treatments tried."
    yield (
        "What a planted head gave is its marketable weight; one that was lost, not ready at the end or not marketable "
        "counts as nothing."
    )
    for treatment in evidence.unrecorded:
        yield f"There is no record of {treatment_words(treatment)}, so it was not considered."
    for candidate in candidates:
        if not candidate.eligible:
            yield (
                f"{in_percent(candidate.share_unrecorded)} of the heads of {treatment_words(candidate.treatment)} "
                "have no "
                f"record, against {in_percent(judgement.current.share_unrecorded)} under the current practice: it "
                "was not "
                "considered."
            )
    doses = [c.treatment.dose_tsp for c in candidates if c.treatment.dose_tsp is not None]
    if doses and judgement.chosen.treatment.dose_tsp == max(doses):
        yield "The recommended dose is the largest tried: whether more would be better still is not known."
    if evidence.sites < FEWEST_RANDOM_LEVELS:
        these = "this garden" if evidence.sites == 1 else "these gardens"
        yield f"Fewer than three gardens gave records: the answer holds for {these} only."
    elif evidence.confounded:
        yield (
            "With so few buckets of a treatment in each garden, how much effects differ between gardens cannot be told "
            "from how much buckets differ: the answer is for the average of gardens like these, not for each."
        )
    elif evidence.sites < ENOUGH_SITES:
        yield (
            f"How much effects differ between gardens was judged from {evidence.sites} gardens only, and was taken as "
            "known: chances near certainty are somewhat too high."
        )
    yield from judgement.worth.notes
    yield "One season is one season: water, heat and light differ in the next."
