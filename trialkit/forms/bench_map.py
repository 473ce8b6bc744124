"""A garden's bench as it stands, line by line, for the paper that it is printed on."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Literal

from trialkit.documents.plan import BenchPlace, PlannedBench
from trialkit.forms.garden_buckets import label_measures, shared_out
from trialkit.languages import gettext, translatable
from trialkit.pages.safe_text import safe_text
from trialkit.planning.benches import planned_benches
from trialkit.rules.trial_folder import CheckedTrial
from trialkit.words.treatment_names import treatment_label

MOST_ACROSS = 8
"""Buckets side by side that a sheet has room for."""
Stand = Literal["one row", "several rows", "volunteers"]
"""How a garden's buckets stand: in one row, block after block; in rows, the first at the back; volunteers' apart."""

LABELS: Mapping[Stand, str] = {
    "one row": translatable("block {number}"),
    "several rows": translatable("row {number}"),
    "volunteers": translatable("volunteer {number}"),
}


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
    stand: Stand
    lines: tuple[Line, ...]

    @property
    def is_narrow(self) -> bool:
        """Whether there is room to draw its buckets twice as wide."""
        return all(2 * len(line.places) <= MOST_ACROSS for line in self.lines)

    @property
    def goes_on(self) -> bool:
        """Whether some row takes more than one line."""
        return any(line.goes_on for line in self.lines)


def bench_maps(trial: CheckedTrial, sites: Sequence[str], *, named: bool) -> tuple[Bench, ...]:
    """Draw the benches of some gardens; `named`: with the treatments."""
    columns, measures = trial.protocol.treatment_columns, label_measures(trial)
    numbers = dict(zip(trial.layout["bucket"].astype(str), trial.layout["position"].astype(int), strict=True))

    def place(one: BenchPlace) -> StandingBucket:
        told = safe_text(treatment_label(one.treatment, columns, measures)) if named else ""
        return StandingBucket(numbers[one.bucket], one.bucket, told)

    def drawn(bench: PlannedBench) -> Bench:
        stand = _stand(trial, bench)
        rows = {number: [place(one) for one in row] for number, row in _rows(bench, stand).items()}
        lines = [
            line
            for number, row in rows.items()
            for line in _lines(
                gettext(LABELS[stand], number=number), row, goes_on=stand == "one row" and number != max(rows)
            )
        ]
        return Bench(safe_text(bench.name), stand, tuple(lines))

    return tuple(drawn(bench) for bench in planned_benches(trial, trial.layout) if bench.site in sites)


def _stand(trial: CheckedTrial, bench: PlannedBench) -> Stand:
    if trial.protocol.layout.kind == "volunteer blocks":
        return "volunteers"
    return "several rows" if bench.rows > 1 else "one row"


def _rows(bench: PlannedBench, stand: Stand) -> dict[int, list[BenchPlace]]:
    """Rows of the bench by their numbers; of a bench of one row its blocks."""
    rows: dict[int, list[BenchPlace]] = {}
    for one in bench.places:
        rows.setdefault(one.block if stand == "one row" else one.row, []).append(one)
    return rows


def _lines(label: str, row: Sequence[StandingBucket], *, goes_on: bool) -> Iterator[Line]:
    """Break a row that is longer than a sheet is wide into lines as equal as can be; `goes_on`: beyond its end."""
    parts = shared_out(row, math.ceil(len(row) / MOST_ACROSS))
    for number, part in enumerate(parts, 1):
        if len(parts) > 1:
            told = gettext("{row}, part {number} of {last}", row=label, number=number, last=len(parts))
        else:
            told = label
        yield Line(told, part, goes_on=goes_on or number < len(parts))
