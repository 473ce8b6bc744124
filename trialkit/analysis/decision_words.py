"""A decision in sentences to be read aloud: what to do, how sure, what would change it, what it covers."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from trialkit.analysis.answer import Candidate, Comparison, Verdict
from trialkit.analysis.derived_model import FEWEST_RANDOM_LEVELS
from trialkit.analysis.wording import chance, number, treatment_words
from trialkit.analysis.worth import Worth


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


@dataclass(frozen=True)
class Evidence:
    """How large the trial was, and how far its answer reaches.

    Attributes
    ----------
    buckets, sites : int
        That gave weights.
    season : str
    confounded : bool
        Whether the trial could not tell how much effects differ between gardens from how much buckets differ.
    """

    buckets: int
    sites: int
    season: str
    confounded: bool = False

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
    """Everything that the words are about."""

    verdict: Verdict
    current: Candidate
    chosen: Candidate
    alternative: Candidate | None
    candidates: tuple[Candidate, ...]
    comparisons: tuple[Comparison, ...]
    worth: Worth
    thresholds: Thresholds
    evidence: Evidence

    @property
    def gain(self) -> str:
        """The gain that would matter, at the place for which it is claimed."""
        after_costs = " after costs" if self.worth.in_money else ""
        return f"at least {number(self.thresholds.margin_g)} g a head{after_costs} {self.evidence.place}"


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
    chosen = judgement.chosen
    row = next(c for c in judgement.comparisons if c.treatment == chosen.treatment)
    return (
        f"Change the default to {treatment_words(chosen.treatment)}: heads weighed {row.difference:.0f} g more than "
        f"with the current default, {treatment_words(judgement.current.treatment)} "
        f"({judgement.thresholds.confidence * 100:g} % interval {row.lower:.0f} to {row.upper:.0f} g, allowing for all "
        "comparisons).",
        f"The chance that it gains {judgement.gain} is {_better(chosen)}, {judgement.evidence.seen}.",
    )


def _take_the_cheaper(judgement: Judgement) -> tuple[str, str]:
    chosen, thresholds = judgement.chosen, judgement.thresholds
    return (
        f"Change the default to {treatment_words(chosen.treatment)}, which {judgement.worth.saving} and does as well "
        f"as {treatment_words(judgement.current.treatment)}.",
        f"The chance that the two differ by less than {number(thresholds.equivalence_margin_g)} g a head "
        f"{judgement.evidence.place} is {chance(chosen.probability_equivalent or 0.0)}, {judgement.evidence.seen}.",
    )


def _keep(judgement: Judgement) -> tuple[str, str]:
    assert judgement.alternative is not None  # the verdict rests on the chances of at least one
    return (
        f"Keep the current default, {treatment_words(judgement.current.treatment)}.",
        f"For the most promising alternative, {treatment_words(judgement.alternative.treatment)}, the chance of "
        f"gaining {judgement.gain} is {_better(judgement.alternative)}, {judgement.evidence.seen}.",
    )


def _retest(judgement: Judgement) -> tuple[str, str]:
    practice, rival = treatment_words(judgement.current.treatment), judgement.alternative
    if rival is None:
        return (
            f"Keep the current default, {practice}, for now: under every alternative many more of the heads gave "
            "nothing to eat.",
            "Weights of the heads that came through can flatter such a treatment, so no chance is given, "
            f"{judgement.evidence.seen}.",
        )
    return (
        f"Keep the current default, {practice}, for now: the trial has not settled whether "
        f"{treatment_words(rival.treatment)} is better.",
        f"The chance that it gains {judgement.gain} is {_better(rival)}, {_why_not(rival, judgement.thresholds)}, "
        f"{judgement.evidence.seen}.",
    )


def _why_not(rival: Candidate, thresholds: Thresholds) -> str:
    """Say what a promising candidate lacks."""
    probability, asked = rival.probability_better or 0.0, thresholds.adopt_probability
    if probability >= asked:
        return "but the interval that allows for all comparisons does not exclude a loss"
    just = "just " if chance(probability) == chance(asked) else ""
    return f"{just}short of the {chance(asked)} that the protocol asks for"


def _better(candidate: Candidate) -> str:
    return chance(candidate.probability_better or 0.0)


def would_change(judgement: Judgement) -> tuple[str, ...]:
    """What result would change the answer."""
    thresholds, rival = judgement.thresholds, judgement.alternative
    sure, margin = chance(thresholds.adopt_probability), number(thresholds.margin_g)
    unlike = "A garden unlike these (water, sun, season) where it did worse than the current practice."
    if judgement.verdict == "adopt":
        return (f"A season in which the new default's chance of gaining {margin} g a head fell below {sure}.", unlike)
    if judgement.verdict == "no practical difference: take the cheaper":
        alike = number(thresholds.equivalence_margin_g)
        return (
            f"A season in which the chance that the two differ by less than {alike} g a head fell below {sure}.",
            unlike,
        )
    if rival is None:
        return ("A season in which as many heads come through under an alternative as under the current practice.",)
    return (
        f"Evidence that {treatment_words(rival.treatment)} gains at least {margin} g a head with a chance of {sure} or "
        "more.",
        f"A smaller margin than {margin} g, if a smaller gain would matter to a gardener.",
    )


def scope(judgement: Judgement) -> tuple[str, ...]:
    """What the answer covers and what it leaves out."""
    return tuple(_scope(judgement))


def _scope(judgement: Judgement) -> Iterator[str]:
    yield "Nothing is recommended outside the treatments tried."
    yield "Weights are of the heads that were harvested."
    for candidate in judgement.candidates:
        if not candidate.eligible:
            yield (
                f"Under {treatment_words(candidate.treatment)}, {candidate.share_unusable:.0%} of the planned heads "
                f"gave nothing to eat, against {judgement.current.share_unusable:.0%} under the current practice: it "
                "was not considered."
            )
    doses = [c.treatment["dose_tsp"] for c in judgement.candidates if "dose_tsp" in c.treatment]
    if doses and judgement.chosen.treatment["dose_tsp"] == max(doses):
        yield "The recommended dose is the largest tried: whether more would be better still is not known."
    if judgement.evidence.sites < FEWEST_RANDOM_LEVELS:
        yield "Fewer than three gardens gave weights: the answer holds for these gardens only."
    elif judgement.evidence.confounded:
        yield (
            "With so few buckets of a treatment in each garden, how much effects differ between gardens cannot be told "
            "from how much buckets differ: the answer is for the average of gardens like these, not for each."
        )
    yield from judgement.worth.notes
    yield "One season is one season: water, heat and light differ in the next."
