"""What could be wrong with the answer: what is in doubt, and in one line what was looked at besides."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from functools import partial

from trialkit.documents.findings import Check, Interval, Losses
from trialkit.pages.numerals import ABSENT, difference_interval, plain, signed, whole_percent
from trialkit.pages.table import Row, Table, columns, make_table, text_column
from trialkit.report.figures.check_pictures import check_pictures
from trialkit.report.figures.picture import Picture
from trialkit.report.reading import Reading, is_analysed
from trialkit.words.check_words import check_words
from trialkit.words.decision_words import scope, would_change
from trialkit.words.departure_words import KIND_WORDS, amount_words
from trialkit.words.loss_words import losses_sentence
from trialkit.words.measures import Sentence
from trialkit.words.model_words import TOO_SMALL, note_sentence, variance_label
from trialkit.words.phrases import count
from trialkit.words.response_words import RESPONSE_LABELS


@dataclass(frozen=True)
class CheckSaid:
    """A check: what was looked at, what was found, what follows, its figures, and whether it is in order."""

    title: Sentence
    finding: Sentence
    consequence: Sentence
    figures: Sentence
    ok: bool


Checks = tuple[tuple[str, tuple[CheckSaid, ...]], ...]
"""By response, under its label."""


@dataclass(frozen=True)
class Found:
    """What a check found in one response."""

    of: str
    finding: Sentence


@dataclass(frozen=True)
class Trouble:
    """A check that is in doubt, for all responses in which it is."""

    title: Sentence
    findings: tuple[Found, ...]
    consequences: tuple[Sentence, ...]


@dataclass(frozen=True)
class Doubts:
    """Everything that limits the answer."""

    losses: Sentence
    troubles: tuple[Trouble, ...]
    passed: str
    loss_table: Table | None
    checks: Checks
    pictures: tuple[Picture, ...]
    would_change: tuple[Sentence, ...]
    scope: tuple[Sentence, ...]
    notes: tuple[str, ...]
    corrections: Table | None
    departures: Table | None


def doubts(reading: Reading) -> Doubts:
    """Collect losses, checks, scope and what would change the answer."""
    decision, checks = reading.decision, _checks(reading)
    return Doubts(
        losses=reading.said(lambda system: [losses_sentence(reading.results.losses, system, reading.site_names)])[0],
        troubles=tuple(_troubles(checks)),
        passed=_passed(checks),
        loss_table=_losses(reading),
        checks=checks,
        pictures=check_pictures(reading),
        would_change=reading.said(partial(would_change, decision)) if decision else (),
        scope=reading.said(partial(scope, decision)) if decision else (),
        notes=_notes(reading),
        corrections=_corrections(reading),
        departures=_departures(reading),
    )


def _notes(reading: Reading) -> tuple[str, ...]:
    """Notes on the model of the first response that was analysed."""
    models = [response.model for response in reading.results.responses.values() if response.model]
    return tuple(map(note_sentence, models[0].notes)) if models else ()


def _troubles(checks: Checks) -> Iterator[Trouble]:
    """Checks in doubt, each once: what it found in every response, and what follows."""
    found: dict[Sentence, list[tuple[str, CheckSaid]]] = defaultdict(list)
    for label, some in checks:
        for one in some:
            if not one.ok:
                found[one.title].append((label, one))
    for title, those in found.items():
        consequences = tuple(dict.fromkeys(one.consequence for _, one in those))
        yield Trouble(title, tuple(Found(_capitalised(label), one.finding) for label, one in those), consequences)


def _passed(checks: Checks) -> str:
    """Count what shows no sign of trouble, in one line."""
    fine = sum(one.ok for _, some in checks for one in some)
    if not fine:
        return ""
    return f"{count(fine, 'check')} {'shows' if fine == 1 else 'show'} no sign of trouble."


def _capitalised(words: str) -> str:
    return words[:1].upper() + words[1:]


def _checks(reading: Reading) -> Checks:
    """Checks by response, those that want attention first."""
    return tuple(
        (RESPONSE_LABELS[one.name], tuple(_finding(reading, check, one.unit) for check in sorted(one.checks, key=_ok)))
        for one in reading.results.responses.values()
        if one.checks and is_analysed(one)
    )


def _ok(check: Check) -> bool:
    return check.ok


def _finding(reading: Reading, check: Check, unit: str) -> CheckSaid:
    title, finding, consequence, figures = reading.said(partial(check_words, check, unit))
    return CheckSaid(title, finding, consequence, figures, check.ok)


HEAD_COUNTS = {
    "planned": "heads planned",
    "harvested": "harvested",
    "lost": "lost",
    "not_ready": "not ready",
    "unrecorded": "no record",
    "unmarketable": "not marketable",
}
ALWAYS_SHOWN = ("planned", "harvested", "lost")
LEAST_LOGIT = 0.05
"""A standard deviation that rounds to more than nothing."""


def _losses(reading: Reading) -> Table | None:
    losses = reading.results.losses
    total = asdict(losses.heads)
    shown = [name for name in HEAD_COUNTS if name in ALWAYS_SHOWN or total[name]]
    body = (
        Row(
            reading.label(row.treatment),
            (
                *(plain(asdict(row.heads)[name], 9) for name in shown),
                f"{whole_percent(row.share_usable)} ({_limits(row.usable)})"
                if row.usable
                else whole_percent(row.share_usable),
                _points(row.against_current),
            ),
        )
        for row in losses.by_treatment
    )
    note = f"Marketable counts the heads with a record. {shares_note(losses)}"
    heads = columns(
        "treatment",
        *(HEAD_COUNTS[name] for name in shown),
        "marketable",
        "against the current practice, points",
    )
    return make_table("losses", "What became of the heads under each treatment", heads, body, note)


def shares_note(losses: Losses) -> str:
    """Say what intervals of shares allow for, and whose they are."""
    kinds = "Clopper and Pearson's of a share, Newcombe's of a difference, each alone."
    if losses.share_sd_logit is None:
        return (
            "No model of losses could be fitted. Intervals and tests allow for heads of a bucket faring alike (design "
            f"effect {plain(losses.design_effect)}). They are {kinds}"
        )
    told = {variance_label(term, "heads"): sd for term, sd in losses.share_sd_logit.items()}
    spreads = [f"{name} {plain(sd, 2)}" for name, sd in told.items() if sd >= LEAST_LOGIT]
    whose = "on average over gardens like these" if "site" in losses.share_sd_logit else "for these gardens alone"
    vary = f"Standard deviations, logits: {', '.join(spreads) or TOO_SMALL}."
    return (
        f"Intervals are {whose}. They come from a logistic mixed model, widened by t, and so do tests. {vary} {kinds}"
    )


def _corrections(reading: Reading) -> Table | None:
    body = (
        Row(
            f"{one.table}.csv, {' '.join(one.key)}, {one.column}",
            (one.before or ABSENT, one.after or ABSENT, one.why, one.by, one.on),
        )
        for one in reading.results.corrections
    )
    heads = tuple(map(text_column, ("record", "it said", "it now says", "why", "corrected by", "on")))
    return make_table("corrections", "Values of the record that were put right", heads, body)


def _departures(reading: Reading) -> Table | None:
    """Every departure, as assigned and as applied."""
    body = (
        Row(
            f"{one.bucket}, {reading.site_names.get(one.site, one.site)}",
            (
                KIND_WORDS[one.kind],
                *(reading.said(partial(amount_words, one, level))[0] for level in (one.assigned, one.applied)),
                one.on or ABSENT,
                one.why or ABSENT,
            ),
        )
        for one in reading.results.departures
    )
    heads = tuple(map(text_column, ("bucket", "what", "as assigned", "as applied", "on", "its record says")))
    note = (
        "These were found in the records, whatever a note says. Days are those on which most of the garden's buckets "
        "were planted and mixed."
    )
    return make_table("departures", "Where a bucket was not treated as assigned", heads, body, note)


def _limits(share: Interval) -> str:
    """Limits of a share, in percent."""
    return f"{whole_percent(share.lower).removesuffix(' %')} to {whole_percent(share.upper)}"


def _points(difference: Interval | None) -> str:
    """A difference of shares with its limits, in percentage points."""
    if difference is None:
        return ABSENT
    limits = difference_interval(100 * difference.lower, 100 * difference.upper, "percentage points")
    return f"{signed(100 * difference.estimate, 'percentage points')} ({limits})"
