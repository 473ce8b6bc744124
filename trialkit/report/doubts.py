"""The third section: what could be wrong with the answer."""

from __future__ import annotations

from dataclasses import dataclass

from trialkit.report.numerals import percent, plain
from trialkit.report.reading import Reading, is_analysed, mapping, rows, texts
from trialkit.report.table import Row, Table, columns, make_table
from trialkit.report.wording import treatment_label


@dataclass(frozen=True)
class Finding:
    """A check: what was looked at, what was seen, what follows, and whether it is in order."""

    title: str
    finding: str
    consequence: str
    is_fine: bool

    @property
    def state(self) -> str:
        """State in a word, so that no colour has to say it."""
        return "holds" if self.is_fine else "in doubt"


@dataclass(frozen=True)
class Doubts:
    """Everything that limits the answer."""

    losses: str
    loss_table: Table | None
    departures: tuple[str, ...]
    checks: tuple[tuple[str, tuple[Finding, ...]], ...]
    would_change: tuple[str, ...]
    scope: tuple[str, ...]
    notes: tuple[str, ...]


def doubts(reading: Reading) -> Doubts:
    """Collect losses, departures, checks, scope and what would change the answer."""
    return Doubts(
        losses=str(mapping(reading.results.get("losses")).get("statement") or ""),
        loss_table=_losses(reading),
        departures=texts(reading.results, "departures"),
        checks=_checks(reading),
        would_change=texts(reading.decision, "would_change"),
        scope=texts(reading.decision, "scope"),
        notes=texts(reading.design, "notes"),
    )


def _checks(reading: Reading) -> tuple[tuple[str, tuple[Finding, ...]], ...]:
    """Checks by response, those that want attention first."""
    checked = []
    for response in mapping(reading.results.get("responses")).values():
        found = [
            Finding(str(c.get("title")), str(c.get("finding")), str(c.get("consequence")), c.get("ok") is True)
            for c in rows(response, "checks")
        ]
        if found and is_analysed(response):
            checked.append((str(mapping(response).get("label")), tuple(sorted(found, key=lambda one: one.is_fine))))
    return tuple(checked)


def _losses(reading: Reading) -> Table | None:
    losses = mapping(reading.results.get("losses"))
    body = (
        Row(
            treatment_label(mapping(row.get("treatment")), reading.columns),
            (
                plain(row.get("planned"), 9),
                plain(row.get("harvested"), 9),
                plain(row.get("lost"), 9),
                percent(row["lost"] / row["planned"]) if row.get("planned") and row.get("lost") is not None else "–",
            ),
        )
        for row in rows(losses, "by_treatment")
    )
    kinds = {"dead": "dead", "bolted": "bolted", "missing": "missing", "not_ready": "not ready at the last visit"}
    note = ", ".join(
        f"{plain(losses.get(key), 9)} {words}" for key, words in kinds.items() if losses.get(key) is not None
    )
    heads = columns("treatment", "heads planned", "harvested", "lost", "share lost")
    return make_table("losses", "Heads lost under each treatment", heads, body, f"In all: {note}." if note else "")
