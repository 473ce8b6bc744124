"""The first picture: every treatment tried, its raw mean and what is expected of it, over the raw buckets."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from functools import partial

from trialkit.documents.decision import Candidate, Decision
from trialkit.documents.findings import ResponseResult
from trialkit.domain.treatment import Treatment
from trialkit.domain.units import Measures
from trialkit.pages.head_weights import amount, as_told, gain_and_interval, gain_cells, in_unit, told_weight, unit_told
from trialkit.pages.numerals import percent, plain, told
from trialkit.pages.table import Column, Row, Table, columns, make_table, text_column
from trialkit.report.figures.interval_rows import MOST_ROWS, IntervalRow, draw_rows, probes
from trialkit.report.figures.marks import PART_NAMES
from trialkit.report.figures.picture import Picture, drawn_picture
from trialkit.report.reading import PART_WORDS, Reading
from trialkit.report.tables import WHY_THEY_DIFFER
from trialkit.words.decision_words import after_costs
from trialkit.words.measures import MeasureSystem, Sentence, each_way, head_unit, head_weight, joined
from trialkit.words.phrases import count, listed
from trialkit.words.treatment_names import treatment_label

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
    reference, measures = (current.yield_g, "current practice"), reading.design.measures
    finding = _finding(reading, decision)
    return drawn_picture(
        NAME,
        finding,
        _how_to_read(reading, decision, len(rows) - len(shown)),
        joined(
            f"Chart of {QUANTITY} by treatment: {len(rows)} raw means and estimates, with intervals of the gain. ",
            finding,
            " ",
            reading.said(lambda system: [_extremes(tried, reading.columns, system)])[0],
        ),
        lambda is_narrow: draw_rows(shown, QUANTITY, "g", measures, reference, is_narrow),
        (_drawn_table(reading, decision, tried), bucket_table(reading)),
        probes(shown, "g", measures),
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
            bucket_words(buckets.get(row.treatment, {}), "g", reading.design.measures),
            raw=row.raw_yield_g,
            value=each_way(partial(_written, row, decision), reading.design.measures),
        )
        for row in tried
    )


def _written(row: Candidate, decision: Decision, measures: Measures) -> str:
    """What stands beside a mark: what is expected, the gain over the current practice, the value where costs count."""
    written = [f"{told_weight(row.yield_g, measures)} {head_unit(measures)}"]
    if row.gain is not None:
        written.append(gain_and_interval(row.gain, measures)[0])
    if after_costs(decision):
        written.append(f"value {told(row.expected_value, 'money')}")
    return ", ".join(written)


def _bucket_yields(reading: Reading) -> Mapping[Treatment, Mapping[str, list[float]]]:
    """Weight per transplanted head of every bucket, by treatment and garden."""
    found: dict[Treatment, dict[str, list[float]]] = defaultdict(lambda: defaultdict(list))
    response = reading.results.responses.get(YIELD)
    for bucket in response.buckets if response else ():
        of_head = bucket.mean / reading.design.heads_per_bucket
        found[bucket.treatment][reading.site_names[bucket.site]].append(of_head)
    return found


def bucket_words(gardens: Mapping[str, Sequence[float]], unit: str, measures: Measures) -> str | Sentence:
    """Say the means of buckets, garden by garden; empty where there is none."""
    total = sum(map(len, gardens.values()))
    if not total:
        return ""

    def of_bucket(value: float, way: Measures) -> str:
        return told(*as_told(value, unit, way))

    def said(way: Measures) -> str:
        each = (
            f"{name} {', '.join(of_bucket(value, way) for value in sorted(values))}."
            for name, values in gardens.items()
        )
        return " ".join((f"{count(total, 'bucket')}, {unit_told(unit, way)}.", *each))

    return each_way(said, measures)


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
                amount(row.mean / reading.design.heads_per_bucket, "g", reading.design.measures, finer=True),
                plain(row.heads, 9),
            ),
        )
        for row in (response.buckets if response else ())
    )
    words = (text_column("bucket"), text_column("garden"), text_column("block"), text_column("treatment"))
    heads = (*words, Column(in_unit("{} per transplanted head".format, "g", reading.design.measures)), Column("heads"))
    return make_table(f"{NAME}-buckets", "The raw buckets", heads, body)


def _drawn_table(reading: Reading, decision: Decision, tried: Sequence[Candidate]) -> Table | None:
    measures = reading.design.measures
    body = (
        Row(
            reading.label(row.treatment),
            (
                amount(row.raw_yield_g, "g", measures),
                amount(row.yield_g, "g", measures),
                *gain_cells(row.gain, measures),
                plain(row.stood.buckets, 9),
            ),
            PART_WORDS[reading.part(row.treatment)],
        )
        for row in tried
    )
    told_of = ("raw mean", "estimate", "gain", f"{percent(decision.thresholds.confidence)} interval")
    heads = columns("treatment", *(in_unit(f"{one}, {{}}".format, "g", measures) for one in told_of), "buckets")
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


def _extremes(tried: Sequence[Candidate], columns: Sequence[str], system: MeasureSystem) -> str:
    measures, unit = system.measures, head_unit(system.measures)
    ranked = sorted(tried, key=lambda one: one.yield_g)
    high, low = (
        f"{treatment_label(one.treatment, columns, system)}, {told_weight(one.yield_g, measures)} {unit} (raw mean "
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
