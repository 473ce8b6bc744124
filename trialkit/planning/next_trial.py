"""The next trial of a ledger: the levels and buckets of greatest expected value, over treatments not yet tried too.

Levels are added one at a time to what is recommended now, the one that raises the value of the trial most each time
(Frazier, Powell & Dayanik 2009, INFORMS J. Computing 21, 599-613, on correlated beliefs), and what buys next to nothing
is left out again. Gardens count as ones not seen before: what is told of a garden that comes back is for it alone.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import chain

import pandas as pd

from trialkit.analysis.advising import Advice
from trialkit.documents.plan import PlanVerdict, StatedLimits
from trialkit.documents.recommended import ProposedTrial
from trialkit.domain.factors import FACTOR_COLUMNS, FactorName
from trialkit.domain.progress import working_on
from trialkit.domain.thresholds import FEWEST_ERROR_DF, SAME_VALUE_G
from trialkit.domain.treatment import Level, Treatment, is_same_dose, is_same_strength
from trialkit.evidence.ledger_contents import LedgerContents
from trialkit.planning.assumptions import Assumptions
from trialkit.planning.beliefs import Known, Outlook, outlook
from trialkit.planning.effort import effort
from trialkit.planning.trial_value import (
    TrialDesign,
    choose,
    design_rows,
    laid_out,
    stated_limits,
    valued,
    with_layout,
    without_levels,
    worth_a_year,
)
from trialkit.protocol.sections import FactorLevels, Layout
from trialkit.protocol.trial_protocol import MOST_TREATMENTS, Protocol
from trialkit.rules.trial_folder import CheckedTrial

LEAST_RISE_G = SAME_VALUE_G / 10
"""That a level must raise the value by to be tried."""
MOST_LEVELS: Mapping[FactorName, int] = {"cultivar": 6, "dose": 6, "acidifier": 4}
LEAST_WORTH_G = LEAST_RISE_G / 10
"""Levels of each factor that are looked at: those of which it is worth most to know, and worth so much to know."""
KITCHEN_PARTS = 4
"""Of a teaspoon, that measuring spoons have."""
TOLD_DIGITS = 6
"""Of values that are compared: what another order of sums does to the rest is no difference."""

Levels = Mapping[FactorName, tuple[Level, ...]]


def propose(found: LedgerContents, advice: Advice) -> ProposedTrial | None:
    """Propose the next trial; None where not even two treatments fit the limits of the newest protocol.

    Parameters
    ----------
    found : LedgerContents
    advice : Advice
        What the ledger says now.
    """
    working_on("what is known")
    search = _Search.of(found, advice)
    working_on("levels of the next trial")
    best = search.enough(search.best())
    if best is None:
        return None
    working_on("what it is worth")
    return _proposed(found, search, best)


def levels_of(proposed: ProposedTrial) -> Levels:
    """Levels of a proposal by the names of their factors; a factor that plays no part is left out."""
    of: Levels = {"cultivar": proposed.cultivars, "dose": proposed.doses_tsp, "acidifier": proposed.acidifiers}
    return {name: levels for name, levels in of.items() if levels}


def with_levels(protocol: Protocol, levels: Levels, practice: Treatment) -> Protocol:
    """Return a protocol that tries other levels beside a practice; what doses are made of stays."""
    known = protocol.factors
    factors = {
        name: known[name].model_copy(update={"levels": some}) if name in known else FactorLevels(levels=some)
        for name, some in levels.items()
    }
    now = {name: practice.levels[FACTOR_COLUMNS[name]] for name in levels}
    decision = protocol.decision.model_copy(update={"current_practice": now})
    return protocol.model_copy(update={"factors": factors, "decision": decision})


def layout_for(newest: Protocol, treatments: int, blocks: int, seed: int | None) -> Layout:
    """Lay so many treatments out as the newest trial was, as far as that can be: complete blocks, or volunteers'."""
    of, size = newest.layout, newest.layout.block_size
    if of.kind == "volunteer blocks" and size is not None and treatments > size:
        return Layout(kind=of.kind, blocks=of.blocks, block_size=size, seed=seed)
    return Layout(blocks=blocks, keep_apart=of.keep_apart, bench_columns=of.bench_columns, seed=seed)


def _proposed(found: LedgerContents, search: _Search, best: TrialDesign) -> ProposedTrial:
    """Tell of a design."""
    protocol, thought = best.protocol, search.thought
    one = valued(thought, best)
    row = design_rows(thought, [one], search.limits, _per_year(search.newest))[0]
    levels = {name: factor.levels for name, factor in protocol.factors.items()}
    return ProposedTrial(
        kind=protocol.layout.kind,
        cultivars=tuple(map(str, levels.get("cultivar", ()))),
        doses_tsp=tuple(map(float, levels.get("dose", ()))),
        acidifiers=tuple(map(str, levels.get("acidifier", ()))),
        sites=found.sites[0],
        blocks=protocol.layout.blocks,
        block_size=protocol.layout.block_size,
        heads=best.heads,
        treatments=row.treatments,
        buckets=row.buckets,
        value_g=row.value_g,
        change=one.foreseen.change,
        worth_it=choose([row])[0] is not PlanVerdict.NOT_WORTH_IT,
        left_out=found.sites[1],
    )


def _per_year(protocol: Protocol) -> Callable[[float], float | None]:
    return lambda value_g: worth_a_year(protocol, value_g)


@dataclass
class _Search:
    """Search over levels.

    Attributes
    ----------
    newest : Protocol
    thought : Outlook
        What is thought before the trial.
    known : mapping
        Levels that are looked at, the recommended one first.
    sites : tuple of str
        Gardens that were not seen before, as many as the newest trial has.
    limits : StatedLimits
    """

    newest: Protocol
    thought: Outlook
    known: Levels
    sites: tuple[str, ...]
    limits: StatedLimits
    tried: dict[tuple[tuple[Level, ...], ...], tuple[float, TrialDesign | None]] = field(default_factory=dict)

    @classmethod
    def of(cls, found: LedgerContents, advice: Advice) -> _Search:
        newest, question = found.latest.protocol, advice.asked.question
        practice = advice.decision.recommended
        known = dict(_worth_looking_at(advice))
        base = with_levels(newest, {name: some[:1] for name, some in known.items()}, practice)
        sites = tuple(f"~{i:03d}" for i in range(len(found.sites[0])))
        strength = (practice.dose_tsp or 0.0) * question.per_tsp
        question = replace(question, practice=practice, practice_dose=round(strength, 3))
        effect = advice.shares.model.design_effect
        records = Known(advice.asked.records, effect, (advice.weights, advice.shares))
        every = with_levels(newest, known, practice).treatments()
        one: CheckedTrial = replace(found.latest, protocol=base, sites=pd.DataFrame({"site": sites[:1]}))
        thought = outlook(one, question, every, Assumptions(), records)
        return cls(newest, thought, known, sites, stated_limits(newest, len(sites)))

    @property
    def practice(self) -> Levels:
        """What is recommended now."""
        return {name: some[:1] for name, some in self.known.items()}

    def best(self) -> Levels:
        """Levels of greatest value: grown from the practice, then left out or exchanged where that is as good."""
        levels = self._grown()
        while (better := self._less(levels) or self._exchanged(levels)) is not None:
            levels = better
        return levels

    def value(self, levels: Levels) -> float:
        """What a trial of these is expected to bring, g per transplanted head; below nothing if it cannot be."""
        return self._tried(levels)[0]

    def _tried(self, levels: Levels) -> tuple[float, TrialDesign | None]:
        key = tuple(levels.values())
        if key not in self.tried:
            design = self._design(levels)
            per_gram = self.thought.beliefs.value.per_gram
            value = valued(self.thought, design).foreseen.value / per_gram if design else -1.0
            self.tried[key] = round(value, TOLD_DIGITS), design
        return self.tried[key]

    def _design(self, levels: Levels) -> TrialDesign | None:
        """These levels in as many complete blocks as the newest trial had, or as few as the limits leave."""
        protocol = with_levels(self.newest, levels, self.thought.candidacy.question.practice)
        treatments = len(protocol.treatments())
        if not 2 <= treatments <= MOST_TREATMENTS:
            return None
        for blocks in range(max(min(self._blocks, self.limits.buckets_per_site // treatments), 1), 0, -1):
            layout = layout_for(self.newest, treatments, blocks, self.newest.seed)
            one = protocol.model_copy(update={"layout": layout})
            if design := laid_out("asked", one, self.sites, self.newest.bucket.heads, self.limits):
                return design
        return None

    @property
    def _blocks(self) -> int:
        """How often each treatment stood in a garden of the newest trial; volunteers where these had the blocks."""
        newest = self.newest
        if newest.layout.kind == "volunteer blocks":
            return newest.layout.blocks
        return max(effort(newest, 1, newest.bucket.heads).buckets_per_site // len(newest.treatments()), 1)

    def _grown(self) -> Levels:
        """Add to the practice the level that raises the value most, again and again; one at least."""
        levels, now = self.practice, 0.0
        rises: dict[tuple[FactorName, Level], float] = {}
        while True:
            best = None
            # A level seldom brings more beside others than it did alone: those that brought more come first.
            for one in sorted(self._open(levels), key=lambda one: -rises.get(one, math.inf)):
                if best and rises.get(one, math.inf) <= rises[best]:
                    break
                rises[one] = self.value(_with(levels, *one)) - now
                best = one if best is None or rises[one] > rises[best] else best
            if best is None or (levels != self.practice and rises[best] < LEAST_RISE_G):
                return levels
            levels = _with(levels, *best)
            now = self.value(levels)

    def _less(self, levels: Levels) -> Levels | None:
        """Leave out the level that brings least beside the others, where that is next to nothing."""
        least = max(self._without(levels), key=lambda one: self.value(one[0]), default=None)
        if least is None or self.value(least[0]) <= max(self.value(levels) - LEAST_RISE_G, 0.0):
            return None
        return least[0]

    def _exchanged(self, levels: Levels) -> Levels | None:
        """Take another level of the same factor for one of these, where that raises the value."""
        others = (
            _with(less, name, level)
            for less, left in self._without(levels)
            for name, level in self._open(less)
            if name == left and level not in levels[name]
        )
        best = max(others, key=self.value, default=levels)
        return best if self.value(best) > self.value(levels) + LEAST_RISE_G else None

    def _without(self, levels: Levels) -> Iterator[tuple[Levels, FactorName]]:
        """These less one that is not the practice's, and of which factor that is."""
        for name, some in levels.items():
            for level in some:
                if level not in self.practice[name]:
                    yield {**levels, name: tuple(one for one in some if one != level)}, name

    def _open(self, levels: Levels) -> Iterator[tuple[FactorName, Level]]:
        """Levels that could be added; a dose only where it is another than those that are in."""
        for name, some in self.known.items():
            for level in some:
                if level not in levels[name] and not (name == "dose" and self._is_near(level, levels[name])):
                    yield name, level

    def _is_near(self, dose: Level, doses: tuple[Level, ...]) -> bool:
        question = self.thought.candidacy.question
        pairs = [(float(dose), float(other)) for other in doses]
        per_tsp = question.per_tsp
        return any(
            is_same_dose(*pair) or (question.in_nitrogen and is_same_strength(*(one * per_tsp for one in pair)))
            for pair in pairs
        )

    def enough(self, levels: Levels) -> TrialDesign | None:
        """Fewer buckets where they bring nearly the same, by the rule of a plan, as long as they tell their error."""
        design = self._tried(levels)[1]
        while design is not None:
            least = min(FEWEST_ERROR_DF, _error_df(design))
            smaller = (one for one in self._smaller(design) if _error_df(one) >= least)
            found = [valued(self.thought, one) for one in chain([design], smaller)]
            rows = design_rows(self.thought, found, self.limits, _per_year(self.newest))
            verdict, place = choose(rows)
            if verdict is not PlanVerdict.ASK_LESS or place == 0:
                break
            if rows[0].value_g >= SAME_VALUE_G > rows[place].value_g and rows[place].worth_a_year is None:
                break  # what is worth its buckets is not cut down to what is not
            design = found[place].design
        return design

    def _smaller(self, design: TrialDesign) -> Iterator[TrialDesign]:
        protocol = design.protocol
        if protocol.layout.kind != "volunteer blocks":
            for blocks in range(1, protocol.layout.blocks):
                one = with_layout(protocol, blocks=blocks)
                if fewer := laid_out("size", one, self.sites, design.heads, self.limits):
                    yield fewer
        yield from filter(None, without_levels(design, self.limits, is_known=True))


def _error_df(design: TrialDesign) -> int:
    """Degrees of freedom that are left for error beside blocks and treatments."""
    return design.buckets - design.size.sites * design.size.blocks - len(design.protocol.treatments()) + 1


def _worth_looking_at(advice: Advice) -> Iterator[tuple[FactorName, tuple[Level, ...]]]:
    """Levels of each factor, the recommended one first, then those of the treatments that it is worth most to know."""
    worth = advice.worth_of_knowing()
    for name, column in FACTOR_COLUMNS.items():
        now = advice.decision.recommended.level(column)
        if now is None:
            continue
        best: dict[Level, float] = {}
        for treatment, grams in worth.items():
            level = treatment.level(column)
            if level is not None and level != now and (name != "dose" or _is_kitchen(level)):
                best[level] = max(best.get(level, 0.0), round(grams, TOLD_DIGITS))
        ranked = sorted(best, key=lambda level: (-best[level], level))
        ranked = [level for level in ranked if best[level] >= LEAST_WORTH_G * advice.asked.prices.per_gram] or ranked[
            :1
        ]
        yield name, (now, *ranked[: MOST_LEVELS[name] - 1])


def _is_kitchen(dose_tsp: Level) -> bool:
    return (float(dose_tsp) * KITCHEN_PARTS).is_integer()


def _with(levels: Levels, name: FactorName, level: Level) -> Levels:
    """Add a level: the practice's first among names, doses in order."""
    first, *rest = (*levels[name], level)
    return {**levels, name: tuple(sorted([first, *rest]) if name == "dose" else [first, *sorted(rest)])}
