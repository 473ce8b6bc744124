"""The first picture: every treatment tried, its raw mean and what is expected of it, over the raw buckets."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence

from trialkit.documents.decision import Candidate, Decision
from trialkit.documents.findings import ResponseResult
from trialkit.domain.treatment import Treatment
from trialkit.domain.units import Measures
from trialkit.pages.numerals import (
    ABSENT,
    fixed,
    gain_and_interval,
    percent,
    plain,
    signed,
    told_weight,
)
from trialkit.pages.table import Column, Row, Table, columns, make_table, text_column
from trialkit.report.figures.interval_rows import MOST_ROWS, IntervalRow, draw_rows, probes
from trialkit.report.figures.marks import PART_NAMES
from trialkit.report.figures.picture import Picture, drawn_picture
from trialkit.report.reading import PART_WORDS, Reading
from trialkit.report.tables import WHY_THEY_DIFFER
from trialkit.words.decision_words import after_costs
from trialkit.words.measures import Sentence, head_unit, head_weight, joined, kitchen_words
from trialkit.words.phrases import count, listed

NAME = "treatments"
YIELD = "bucket_weight_g"
QUANTITY = "marketable weight per transplanted head"


def candidates_picture(reading: Reading) -> Picture | None:
    """Draw the treatments tried; None without a decision."""
    decision = reading.decision
    if decision is None:
        return None
    tried = _tried(decision)
    rows = candidate_rows(reading, decision, tried)
    shown, current = rows[:MOST_ROWS], decision.candidate(decision.current)
    reference = (current.yield_g, "current practice")
    finding = _finding(reading, decision)
    return drawn_picture(
        NAME,
        finding,
        _how_to_read(reading, decision, len(rows) - len(shown)),
        f"Chart of {QUANTITY} by treatment: {len(rows)} raw means and estimates, with intervals of the gain. "
        f"{kitchen_words(finding)} {_extremes(reading, tried)}",
        lambda is_narrow: draw_rows(shown, QUANTITY, "g", reference, is_narrow),
        (_drawn_table(reading, decision, tried), bucket_table(reading)),
        probes(shown, "g"),
    )


def _tried(decision: Decision) -> tuple[Candidate, ...]:
    """Candidates that stood, and what is recommended: the most valuable first."""
    named = (decision.current, decision.alternative)
    shown = (one for one in decision.candidates if one.stood.buckets or one.treatment in named)
    return tuple(sorted(shown, key=lambda one: -one.expected_value))


def candidate_rows(reading: Reading, decision: Decision, tried: Sequence[Candidate]) -> tuple[IntervalRow, ...]:
    """Rows of the picture; an interval is that of the gain, counted from the current practice."""
    base, buckets = decision.candidate(decision.current).yield_g, _bucket_yields(reading)
    return tuple(
        IntervalRow(
            "",
            reading.label(row.treatment),
            row.yield_g,
            base + row.gain.lower if row.gain else base,
            base + row.gain.upper if row.gain else base,
            tuple(value for some in buckets.get(row.treatment, {}).values() for value in some),
            reading.part(row.treatment),
            bucket_words(buckets.get(row.treatment, {}), "g"),
            raw=row.raw_yield_g,
            value=_written(row, decision, reading.design.measures),
        )
        for row in tried
    )


def _written(row: Candidate, decision: Decision, measures: Measures) -> str:
    """What stands beside a mark: what is expected, the gain over the current practice, the value where costs count."""
    written = [f"{told_weight(row.yield_g, measures)} {head_unit(measures)}"]
    if row.gain is not None:
        kitchen = measures == "kitchen"
        written.append(gain_and_interval(row.gain, measures)[0] if kitchen else signed(row.gain.estimate, 0))
    if after_costs(decision):
        written.append(f"value {fixed(row.expected_value, 2)}")
    return ", ".join(written)


def _bucket_yields(reading: Reading) -> Mapping[Treatment, Mapping[str, list[float]]]:
    """Weight per transplanted head of every bucket, by treatment and garden."""
    found: dict[Treatment, dict[str, list[float]]] = defaultdict(lambda: defaultdict(list))
    response = reading.results.responses.get(YIELD)
    for bucket in response.buckets if response else ():
        of_head = bucket.mean / reading.design.heads_per_bucket
        found[bucket.treatment][reading.site_names[bucket.site]].append(of_head)
    return found


def bucket_words(gardens: Mapping[str, Sequence[float]], unit: str) -> str:
    """Say the means of buckets, garden by garden; empty where there is none."""
    total = sum(map(len, gardens.values()))
    if not total:
        return ""
    each = (f"{name} {', '.join(fixed(v, 0) for v in sorted(values))}." for name, values in gardens.items())
    return " ".join((f"{count(total, 'bucket')}, {unit}.", *each))


def bucket_table(reading: Reading) -> Table | None:
    """Every bucket as drawn."""
    response: ResponseResult | None = reading.results.responses.get(YIELD)
    body = (
        Row(
            row.bucket,
            (
                row.site,
                row.block,
                reading.label(row.treatment),
                fixed(row.mean / reading.design.heads_per_bucket),
                plain(row.heads, 9),
            ),
        )
        for row in (response.buckets if response else ())
    )
    words = (text_column("bucket"), text_column("garden"), text_column("block"), text_column("treatment"))
    heads = (*words, Column("g per transplanted head"), Column("heads"))
    return make_table(f"{NAME}-buckets", "The raw buckets", heads, body)


def _drawn_table(reading: Reading, decision: Decision, tried: Sequence[Candidate]) -> Table | None:
    measures = reading.design.measures
    body = (
        Row(
            reading.label(row.treatment),
            (
                told_weight(row.raw_yield_g, measures),
                told_weight(row.yield_g, measures),
                *(gain_and_interval(row.gain, measures) if row.gain else (ABSENT, ABSENT)),
                plain(row.stood.buckets, 9),
            ),
            PART_WORDS[reading.part(row.treatment)],
        )
        for row in tried
    )
    told = ("raw mean", "estimate", "gain", f"{percent(decision.thresholds.confidence)} interval")
    heads = columns("treatment", *(f"{one}, {head_unit(measures)}" for one in told), "buckets")
    return make_table(f"{NAME}-drawn", "Raw means and estimates, per transplanted head", heads, body)


def _finding(reading: Reading, decision: Decision) -> Sentence:
    """Say what is expected of the treatment that leads, and of which the raw mean was the largest."""
    tried = [one for one in decision.candidates if one.stood.buckets]
    best, now = max(tried, key=lambda one: one.yield_g), decision.candidate(decision.current)
    if best is now:
        first = joined("We expect most from the current practice, ", reading.label(now.treatment))
        return joined(first, ": ", _told(reading, now), " per transplanted head.")
    return joined(
        "We expect most from ",
        reading.label(best.treatment),
        ": ",
        _told(reading, best),
        " per transplanted head. The current practice should give ",
        _told(reading, now),
        ".",
    )


def _told(reading: Reading, one: Candidate) -> Sentence:
    return reading.said(lambda system: [head_weight(one.yield_g, system)])[0]


def _extremes(reading: Reading, tried: Sequence[Candidate]) -> str:
    measures, unit = reading.design.measures, head_unit(reading.design.measures)
    ranked = sorted(tried, key=lambda one: one.yield_g)
    high, low = (
        f"{kitchen_words(reading.label(one.treatment))}, {told_weight(one.yield_g, measures)} {unit} (raw mean "
        f"{told_weight(one.raw_yield_g, measures)} {unit})"
        for one in (ranked[-1], ranked[0])
    )
    return f"Highest: {high}. Lowest: {low}."


def _how_to_read(reading: Reading, decision: Decision, left_out: int) -> str:
    parts = {reading.part(row.treatment) for row in _tried(decision)}
    names = "; ".join(words for part, words in PART_NAMES.items() if part in parts)
    failed = decision.evidence.failed_gardens
    zeros = f" Buckets at {listed(failed)} gave nothing, and only raw means count them." if failed else ""
    more = f" {left_out} more are in the table below." if left_out else ""
    costs = ", by value after costs" if after_costs(decision) else ""
    return (
        f"The best stands first{costs}. Large marks are estimates ({names}). Small dots are buckets, and open circles "
        f"their raw means. {WHY_THEY_DIFFER} Each line is the {percent(decision.thresholds.confidence)} interval of "
        "the gain over the current practice, which is the dashed line. Where it crosses the dashed line, either of the "
        f"two may be better.{zeros}{more}"
    )
