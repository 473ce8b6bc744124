"""A garden's bench as it stands, line by line, for the paper that it is printed on."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Annotated

from trialkit.documents.plan import BenchPlace, PlannedBench
from trialkit.forms.garden_buckets import label_measures, shared_out
from trialkit.pages.safe_text import safe_text
from trialkit.planning.benches import planned_benches
from trialkit.rules.trial_folder import Trial
from trialkit.words.treatment_names import treatment_label

MOST_ACROSS = 8
"""Buckets side by side that a sheet has room for."""


@dataclass(frozen=True)
class StandingBucket:
    """A bucket where it stands."""

    number: Annotated[int, "As the bucket's card and the layout count places: through the garden."]
    bucket: str
    treatment: Annotated[str, "Empty where it must not be told."]


@dataclass(frozen=True)
class Line:
    """Buckets side by side: a row of the bench or a block, or a part of one that is longer than a sheet is wide."""

    label: str
    places: tuple[StandingBucket, ...]
    goes_on: Annotated[bool, "Whether it goes on in the next line."]


@dataclass(frozen=True)
class Bench:
    """A garden's bench."""

    garden: str
    lines: tuple[Line, ...]


def bench_maps(trial: Trial, sites: Sequence[str], *, named: bool) -> tuple[Bench, ...]:
    """Draw the benches of some gardens; `named`: with the treatments."""
    columns, measures = trial.protocol.treatment_columns, label_measures(trial)
    numbers = dict(zip(trial.layout["bucket"].astype(str), trial.layout["position"].astype(int), strict=True))

    def place(one: BenchPlace) -> StandingBucket:
        told = safe_text(treatment_label(one.treatment, columns, measures)) if named else ""
        return StandingBucket(numbers[one.bucket], one.bucket, told)

    word = "volunteer" if trial.protocol.layout.kind == "volunteer blocks" else "block"
    benches = (bench for bench in planned_benches(trial, trial.layout) if bench.site in sites)
    return tuple(
        Bench(
            safe_text(bench.name),
            tuple(line for label, row in _rows(bench, word) for line in _lines(label, [place(one) for one in row])),
        )
        for bench in benches
    )


def _rows(bench: PlannedBench, word: str) -> Iterator[tuple[str, list[BenchPlace]]]:
    """Rows of the bench; of a bench of one row its blocks."""
    several = bench.rows > 1
    rows: dict[int, list[BenchPlace]] = {}
    for one in bench.places:
        rows.setdefault(one.row if several else one.block, []).append(one)
    yield from ((f"{'row' if several else word} {number}", row) for number, row in rows.items())


def _lines(label: str, row: Sequence[StandingBucket]) -> Iterator[Line]:
    """Break a row that is longer than a sheet is wide into lines as equal as can be."""
    parts = shared_out(row, math.ceil(len(row) / MOST_ACROSS))
    for number, part in enumerate(parts, 1):
        told = label if len(parts) == 1 else f"{label}, part {number} of {len(parts)}"
        yield Line(told, part, goes_on=number < len(parts))
