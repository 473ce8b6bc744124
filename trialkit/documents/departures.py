"""Where a bucket was treated otherwise than it was randomised to be, kind by kind."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from trialkit.domain.treatment import Level

DepartureKind = Literal["dose", "acid", "volume", "transplanting", "mixing", "cultivar"]


@dataclass(frozen=True)
class Departure:
    """A bucket that was treated otherwise than assigned; the answer counts it as assigned all the same."""

    bucket: Annotated[str, "Its identity."]
    site: Annotated[str, "Its garden."]
    kind: Annotated[
        DepartureKind,
        "What was done otherwise: ``dose``, ``acid`` (some for none, or none for some), ``volume``, ``cultivar``. Or "
        "the day of ``transplanting`` or ``mixing``, where most buckets of the garden have another.",
    ]
    assigned: Annotated[Level, "As randomised or planned: a number in the unit, a name, or a day (ISO 8601)."]
    applied: Annotated[Level | None, "As recorded; None where the records do not tell which."]
    unit: Annotated[str | None, "Of the numbers, by UCUM; None of names and days."]
    on: Annotated[str | None, "Day of the record, ISO 8601; None where it has none."]
    why: Annotated[str, "What the note in that row of the record says, or a correction of it; empty: nothing."]
