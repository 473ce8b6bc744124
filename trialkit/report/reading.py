"""Results as the page reads them: which response leads, and the part that each treatment plays."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from trialkit.documents.decision import Candidate, Decision
from trialkit.documents.findings import Comparison, ResponseResult
from trialkit.documents.results import Design, Results
from trialkit.domain.factors import FACTORS
from trialkit.domain.treatment import Level, Treatment
from trialkit.words.measures import MeasureSystem, Sentence, in_every_measure, nutrient_g_per_tsp
from trialkit.words.treatment_names import level_label, treatment_label

Part = Literal["recommended", "current", "kept", "rival", "recorded", "other"]

PART_WORDS: Mapping[Part, str] = {
    "recommended": "recommended",
    "current": "current practice",
    "kept": "current practice, kept",
    "rival": "best alternative",
    "recorded": "as recorded",
    "other": "",
}
NOTHING = Treatment()


@dataclass(frozen=True)
class Reading:
    """Results with the questions that every section asks of them; treatments are empty where there is no decision."""

    results: Results

    @property
    def design(self) -> Design:
        """The design's description."""
        return self.results.design

    @property
    def decision(self) -> Decision | None:
        """The decision."""
        return self.results.decision

    @property
    def columns(self) -> tuple[str, ...]:
        """Columns of the varied factors, in factorial order."""
        return tuple(factor.column for factor in self.design.factors)

    @property
    def response(self) -> ResponseResult | None:
        """The response that the pictures show: head weight, or days where only they could be analysed."""
        order = sorted(self.results.responses, key=lambda name: (name != "weight_g", name != "days", name))
        return next((response for name in order if (response := self.analysed(name))), None)

    def analysed(self, name: str) -> ResponseResult | None:
        """Response of a name; None where it has no answer."""
        response = self.results.responses.get(name)
        return response if response and is_analysed(response) else None

    @property
    def confidence(self) -> float:
        """Confidence of the intervals, 0 to 1."""
        return self.results.confidence

    @property
    def current(self) -> Treatment:
        """Treatment that is current practice."""
        return self.decision.current if self.decision else NOTHING

    @property
    def recommended(self) -> Treatment:
        """Treatment that is recommended."""
        return self.decision.recommended if self.decision else NOTHING

    @property
    def is_kept(self) -> bool:
        """Whether the current practice stays."""
        return bool(self.current) and self.current == self.recommended

    @property
    def rival(self) -> Treatment:
        """Candidate to set beside the current practice: the one recommended, or else the best of the others."""
        return self.decision.alternative if self.decision else NOTHING

    @property
    def fixed(self) -> Treatment:
        """Levels that were the same in every bucket."""
        levels = {factor.name: factor.level for factor in self.design.fixed}
        return Treatment.of({factor.column: levels.get(factor.name) for factor in FACTORS})

    @property
    def site_names(self) -> dict[str, str]:
        """What each garden is called."""
        return {site.site: site.name or site.site for site in self.design.sites}

    @property
    def candidates(self) -> tuple[Candidate, ...]:
        """Candidates of the decision."""
        return self.decision.candidates if self.decision else ()

    @property
    def nutrient_g_per_tsp(self) -> float | None:
        """Weight of a level teaspoon of the nutrient; None where it was not weighed."""
        return nutrient_g_per_tsp(self.results.water)

    def said(self, say: Callable[[MeasureSystem], Sequence[str]]) -> tuple[Sentence, ...]:
        """Say sentences in each measure system."""
        return in_every_measure(say, self.nutrient_g_per_tsp)

    def label(self, treatment: Treatment, columns: Sequence[str] | None = None) -> Sentence:
        """Short name of a treatment by some columns, else by all that were varied, in each measure system."""
        named = self.columns if columns is None else columns
        return self.said(lambda system: [treatment_label(treatment, named, system)])[0]

    def level_label(self, column: str, level: Level | None) -> Sentence:
        """Short name of a level in each measure system."""
        return self.said(lambda system: [level_label(column, level, system)])[0]

    def part(self, treatment: Treatment) -> Part:
        """Part that a treatment plays."""
        if self.decision is None:
            return "other"
        if treatment == self.current:
            return "kept" if self.is_kept else "current"
        if treatment == self.recommended:
            return "recommended"
        return "rival" if treatment and treatment == self.rival else "other"


def comparison_of(response: ResponseResult, treatment: Treatment) -> Comparison | None:
    """Comparison of a treatment with the current practice."""
    return next((row for row in response.comparisons if row.treatment == treatment), None)


def is_analysed(response: ResponseResult) -> bool:
    """Whether a response has an answer."""
    return response.status == "analysed"
