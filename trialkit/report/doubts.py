"""The third section: what could be wrong with the answer."""

from __future__ import annotations

from dataclasses import dataclass

from trialkit.pages.numerals import ABSENT, difference_interval, is_number, percent, plain
from trialkit.pages.numerals import signed as points
from trialkit.pages.table import Row, Table, columns, make_table
from trialkit.report.figures.checks import check_pictures
from trialkit.report.figures.picture import Picture
from trialkit.report.reading import Reading, is_analysed, mapping, rows, texts
from trialkit.words.treatments import treatment_label


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
    pictures: tuple[Picture, ...]
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
        pictures=check_pictures(reading),
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


HEAD_COUNTS = {
    "planned": "heads planned",
    "harvested": "harvested",
    "lost": "lost",
    "not_ready": "not ready",
    "unrecorded": "no record",
    "unmarketable": "not marketable",
}
ALWAYS_SHOWN = ("planned", "harvested", "lost")


def _losses(reading: Reading) -> Table | None:
    losses = mapping(reading.results.get("losses"))
    total = mapping(losses.get("heads"))
    shown = [name for name in HEAD_COUNTS if name in ALWAYS_SHOWN or total.get(name)]
    body = (
        Row(
            treatment_label(mapping(row.get("treatment")), reading.columns),
            (
                *(plain(mapping(row.get("heads")).get(name), 9) for name in shown),
                percent(row.get("share_usable")),
                _share_interval(row.get("usable")),
                _share_interval(row.get("against_current"), signed=True),
            ),
        )
        for row in rows(losses, "by_treatment")
    )
    kinds = ", ".join(
        f"{plain(losses.get(kind), 9)} {kind}" for kind in ("dead", "bolted", "missing") if losses.get(kind) is not None
    )
    note = (
        f"{f'Lost in all: {kinds}. ' if kinds else ''}Intervals allow for heads of a bucket faring alike (design "
        f"effect {plain(losses.get('design_effect'))}): Clopper and Pearson's of a share, Newcombe's of a difference, "
        "each for itself."
    )
    heads = columns(
        "treatment",
        *(HEAD_COUNTS[name] for name in shown),
        "came to the table, of those recorded",
        "interval",
        "against the current practice, points",
    )
    return make_table("losses", "What became of the heads under each treatment", heads, body, note)


def _share_interval(given: object, *, signed: bool = False) -> str:
    """Limits of a share in percent, or of a difference of shares in percentage points."""
    row = mapping(given)
    low, high = row.get("lower"), row.get("upper")
    if not is_number(low) or not is_number(high):
        return ABSENT
    if not signed:
        return f"{percent(low)} to {percent(high)}"
    return f"{points(100 * float(row['estimate']), 0)} ({difference_interval(100 * low, 100 * high)})"
