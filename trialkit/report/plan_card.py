"""A plan's answer on one card: which design, what it takes, by when, and what it will find out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import partial

from trialkit.documents.plan import DesignRow, Plan, PlanVerdict
from trialkit.report.answer import AnswerCard, CardLine, Gained, Said, Sureness
from trialkit.words.measures import MeasureSystem, Sentence, joined
from trialkit.words.phrases import chance, chance_word
from trialkit.words.plan_card_words import (
    chances_of_trial,
    cost_in_short,
    gain_of_trial,
    takes_in_short,
    warnings_in_short,
    when_in_short,
)
from trialkit.words.plan_words import design_words, now_sentences, verdict_words, what_to_do

TONES: Mapping[PlanVerdict, str] = {
    PlanVerdict.RUN: "keep",
    PlanVerdict.ENLARGE: "change",
    PlanVerdict.ASK_LESS: "change",
    PlanVerdict.NOT_WORTH_IT: "none",
}
"""Classes of the style sheet for each verdict."""


def plan_card(plan: Plan, said: Said) -> AnswerCard:
    """Put the plan on a card: the design that is proposed, or the one asked for where none is."""
    one = plan.value.proposed if plan.proposed else plan.value.asked
    headline, detail = said(partial(gain_of_trial, plan, one))
    warning = warnings_in_short(plan)
    return AnswerCard(
        verdict=verdict_words(plan.verdict),
        tone=TONES[plan.verdict],
        lines=tuple(_lines(plan, said)),
        gained=Gained("What it should bring", headline, detail),
        sureness=tuple(
            Sureness(
                hundredths=round(min(max(100 * probability, 1.0), 99.0)),  # a picture claims no certainty either
                headline=chance(probability),
                word=chance_word(probability),
                meaning=joined(meaning),
            )
            for probability, meaning in chances_of_trial(one)
        ),
        sure_title="What it will find out",
        minds=(*said(partial(now_sentences, plan)), *([warning] if warning else [])),
        foot="",
        reasons=said(lambda system: [what_to_do(plan, system)]),
    )


def _lines(plan: Plan, said: Said) -> Iterator[CardLine]:
    asked, row = plan.designs[0], plan.designs[plan.proposed]
    title = "Asked for" if plan.verdict is PlanVerdict.NOT_WORTH_IT else "Run"
    before = joined("asked for: ", _design(plan, asked, said)) if plan.proposed else None
    yield CardLine(title, _design(plan, row, said), f"{row.treatments} treatments", before=before)
    yield CardLine("It takes", *takes_in_short(row))
    cost = cost_in_short(plan, row)
    if cost:
        yield CardLine("It costs", *cost)
    yield CardLine("By when", *when_in_short(plan))


def _design(plan: Plan, row: DesignRow, said: Said) -> Sentence:
    def told(system: MeasureSystem) -> list[str]:
        return [design_words(row, plan, system)]

    return said(told)[0]
