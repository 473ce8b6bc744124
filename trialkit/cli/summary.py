"""The results of a trial on one screen of a terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from trialkit.documents.findings import Decision
from trialkit.documents.results import Results
from trialkit.pages.numerals import chance_percent
from trialkit.words.check_words import check_words
from trialkit.words.decision_words import cautions, no_decision_words, sentences
from trialkit.words.phrases import number
from trialkit.words.response_words import not_analysed_sentence
from trialkit.words.treatment_names import treatment_label, treatment_words

WIDTH = 80
LINES = 24
MOST_MEANS = 5


def summary(results: Results) -> str:
    """Say what to do, how sure, what to mind, and the figures behind it, in 24 lines of 80 columns."""
    decision = results.decision
    said = sentences(decision) if decision else (f"No recommendation. {no_decision_words(results)}",)
    words = [line for text in said for line in _wrapped(text)]
    means = _means(decision) if decision else ()
    tail = [*means, *_doses(results), *_days(results), *_losses(results), *_checks(results)]
    room = LINES - len(words) - len(tail) - 1
    minded = [line for text in cautions(results) for line in _wrapped(f"But mind: {text}", "  ")]
    if len(minded) > room:
        minded = [*minded[: max(room - 1, 0)], "  (more in the report)"]
    return "\n".join([*words, *minded, "", *tail])


def _wrapped(text: str, indent: str = "") -> list[str]:
    return textwrap.wrap(text, WIDTH, subsequent_indent=indent, break_on_hyphens=False)


def _clipped(text: str) -> str:
    return text if len(text) <= WIDTH else f"{text[: WIDTH - 1]}…"


def _means(decision: Decision) -> Iterator[str]:
    """The best candidates and the current practice: yield, its chance of being better, what it gives up."""
    ranked = sorted(decision.candidates, key=lambda row: -row.expected_value)
    shown = ranked[:MOST_MEANS]
    shown = [*shown, *(row for row in ranked if row.is_current and row not in shown)]
    yield f"{'g a head':>16}  {'better':>6}  {'gives up':>8}  treatment"
    for row in shown:
        mark = " (current)" if row.is_current else " (recommended)" if row.is_recommended else ""
        chance = "" if row.probability_better is None else chance_percent(row.probability_better)
        given_up = "" if row.expected_loss is None else number(row.expected_loss, 2)
        name = treatment_label(row.treatment, tuple(row.treatment.levels))
        yield _clipped(f"{row.yield_g:16.0f}  {chance:>6}  {given_up:>8}  {name}{mark}")
    left = len(ranked) - len(shown)
    if left:
        yield _clipped(f"{'':26}  and {left} more; gives up in {decision.unit}")


def _doses(results: Results) -> Iterator[str]:
    dose = results.responses["bucket_weight_g"].dose
    for group in dose.groups if dose else ():
        for found in group.recommended[:1]:
            whose = f" for {treatment_words(group.treatment)}" if group.treatment else ""
            yield _clipped(
                f"Dose that is enough{whose}: {number(found.dose_tsp, 2)} teaspoons a bucket "
                f"({number(found.lower_tsp, 2)} to {number(found.upper_tsp, 2)})"
            )


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
    doubtful = dict.fromkeys(check_words(check, unit)[0].lower() for check, unit in found if not check.ok)
    yield _clipped(f"Checks: {len(found)}, in doubt: {', '.join(doubtful) or 'none'}")
