"""What the commands about evidence do with a ledger, and the sentences they say."""

from __future__ import annotations

import unicodedata
from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import Any

from trialkit.cli.steps import RESULTS_FILE, RESULTS_FOLDER, read_results

SHOWN_DIGITS = 12


def add_trial(folder: Path, ledger: Path) -> str:
    """Accept an analysed trial."""
    from trialkit.evidence.accepting import trial_contents
    from trialkit.evidence.ledger import add
    from trialkit.trial.check import read_trial

    trial = read_trial(folder)
    document = read_results(folder)
    contents = trial_contents(trial, document, (folder / RESULTS_FOLDER / RESULTS_FILE).read_bytes())
    one = add(ledger, contents, date.today())
    return (
        f"Added {one.id[:SHOWN_DIGITS]} to {ledger}: {_named(one.trial, one.season)}, {one.heads} heads in "
        f"{one.buckets} buckets at {one.gardens} garden{'' if one.gardens == 1 else 's'}."
    )


def withdraw_entry(ledger: Path, start: str, why: str) -> str:
    """Withdraw an entry."""
    from trialkit.evidence.ledger import withdraw

    one = withdraw(ledger, start, why, date.today())
    return (
        f"Withdrawn: {one.id[:SHOWN_DIGITS]}, {_named(one.trial, one.season)}. It stays in {ledger}, with the reason."
    )


def listing(ledger: Path) -> tuple[dict[str, Any], str]:
    """List a ledger, as data and as text, with what is wrong with it."""
    from trialkit.evidence.ledger import damages, read_index

    index, damaged = read_index(ledger), damages(ledger)
    document = {
        "schema": "trialkit-evidence-list-1",
        "entries": [asdict(one) for one in index],
        "damaged": list(damaged),
    }
    rows = [("id", "trial", "season", "gardens", "buckets", "heads", "")]
    rows += [
        (
            one.id[:SHOWN_DIGITS],
            one.trial,
            one.season,
            str(one.gardens),
            str(one.buckets),
            str(one.heads),
            "" if one.counts else f"withdrawn {one.withdrawn_on}: {one.why}",
        )
        for one in index
    ]
    widths = [max(_width(row[i]) for row in rows) for i in range(len(rows[0]))]
    lines = ["  ".join(_padded(cell, width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]
    counted = sum(one.counts for one in index)
    sound = "every file is as it was put there" if not damaged else f"{len(damaged)} damaged"
    lines.append(f"{counted} of {len(index)} {'entry counts' if len(index) == 1 else 'entries count'}; {sound}.")
    return document, "\n".join(lines)


def _named(trial: str, season: str) -> str:
    return f"{trial} ({season})" if season else trial


def _width(text: str) -> int:
    """Columns of a terminal that a text takes."""
    return sum(
        0 if unicodedata.combining(mark) else 2 if unicodedata.east_asian_width(mark) in "WF" else 1 for mark in text
    )


def _padded(text: str, width: int) -> str:
    return text + " " * (width - _width(text))
