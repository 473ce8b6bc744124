"""The results of a trial on one screen of a terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from trialkit.documents.decision import Decision
from trialkit.documents.results import Results
from trialkit.domain.units import Measures
from trialkit.pages.head_weights import told_weight
from trialkit.pages.numerals import chance_percent, told
from trialkit.words.check_words import check_words
from trialkit.words.decision_words import MONEY, cautions, no_decision_words, sentences
from trialkit.words.departure_words import departures_words
from trialkit.words.dose_words import dose_sentences
from trialkit.words.loss_words import nothing_left_words
from trialkit.words.measures import MeasureSystem, head_unit, measures_of
from trialkit.words.phrases import number
from trialkit.words.response_words import not_analysed_sentence
from trialkit.words.treatment_names import treatment_label

WIDTH = 80
LINES = 24
MOST_MEANS = 3


def summary(results: Results) -> str:
    """Say what to do, how sure, what to mind, and the figures behind it, in 24 lines of 80 columns."""
    decision, system = results.decision, measures_of(results)
    said: tuple[str, ...] = (f"No recommendation. {no_decision_words(results, system)}",)
    if decision:
        said = (*sentences(decision, system), *nothing_left_words(results.losses, system))
    words = [line for text in (*said, *departures_words(results, system)) for line in _wrapped(text)]
    doses = _doses(decision, system) if decision else ()
    tail = [*doses, *_days(results), *_losses(results), *_checks(results)]
    room = LINES - len(words) - len(tail) - 1
    means = list(_means(decision, system.measures))[: max(room - 1, 2)] if decision else []
    tail, room = [*means, *tail], room - len(means)
    minded = [line for text in cautions(results) for line in _wrapped(f"But mind: {text}", "  ")]
    if len(minded) > room:
        minded = [*minded[: room - 1], "  (more in the report)"] if room > 1 else ["But mind the doubts in the report."]
    return "\n".join([*words, *minded, "", *tail])


def _wrapped(text: str, indent: str = "") -> list[str]:
    return textwrap.wrap(text, WIDTH, subsequent_indent=indent, break_on_hyphens=False)


def _clipped(text: str) -> str:
    return text if len(text) <= WIDTH else f"{text[: WIDTH - 1]}…"


def _means(decision: Decision, measures: Measures) -> Iterator[str]:
    """The best candidates and the current practice: as recorded, expected, both chances, what it gives up."""
    ranked = sorted((row for row in decision.candidates if row.stood.buckets), key=lambda row: -row.expected_value)
    shown = ranked[:MOST_MEANS]
    shown += [row for row in decision.candidates if (row.is_current or row.is_recommended) and row not in shown]
    raw = f"raw {head_unit(measures)}"
    yield f"{raw:>6} {'estimate':>8} {'better':>6} {'near best':>9} {'gives up':>8}  treatment"
    in_grams = decision.unit == "g per transplanted head"
    for row in shown:
        mark = "current: " if row.is_current else "recommended: " if row.is_recommended else ""
        raw = "" if row.raw_yield_g is None else told_weight(row.raw_yield_g, measures)
        better = "" if row.probability_better is None else chance_percent(row.probability_better)
        near = chance_percent(row.probability_near_best)
        loss = row.expected_loss
        given_up = told_weight(loss, measures, finer=True) if in_grams else told(loss, "money")
        name = treatment_label(row.treatment, tuple(row.treatment.levels))
        expected = told_weight(row.yield_g, measures)
        yield _clipped(f"{raw:>6} {expected:>8} {better:>6} {near:>9} {given_up:>8}  {mark}{name}")
    left = len(ranked) - len([row for row in shown if row.stood.buckets])
    if left:
        yield f"  and {left} more"
    if not in_grams:
        yield f"  (gives up: a bucket, {MONEY})"


def _doses(decision: Decision, system: MeasureSystem) -> Iterator[str]:
    for sentence in dose_sentences(decision, system)[:1]:
        yield _clipped(sentence)


def _days(results: Results) -> Iterator[str]:
    days = results.responses["days"]
    if days.status != "analysed":
        reason = not_analysed_sentence(days.not_analysed) if days.not_analysed else ""
        yield _clipped(f"Days to harvest: not analysed. {reason}")
        return
    means = [row.mean for row in days.means]
    yield f"Days to harvest: {number(min(means))} to {number(max(means))} by treatment"


def _losses(results: Results) -> Iterator[str]:
    heads = results.losses.heads
    yield _clipped(
        f"Heads: {heads.planned} planned, {heads.harvested} harvested, {heads.lost} lost, "
        f"{heads.not_ready} not ready, {heads.unrecorded} without a record"
    )


def _checks(results: Results) -> Iterator[str]:
    found = [(check, response.unit) for response in results.responses.values() for check in response.checks]
    doubtful = dict.fromkeys(check_words(check, unit).title.lower() for check, unit in found if not check.ok)
    yield _clipped(f"Checks: {len(found)}, in doubt: {', '.join(doubtful) or 'none'}")
