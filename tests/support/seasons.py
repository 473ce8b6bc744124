"""A few small invented seasons in a ledger."""

from datetime import date
from pathlib import Path
from typing import Any

from small_trial import small_trial
from trialkit.documents.document import as_text, from_text
from trialkit.documents.ledger_entry import Listed, TrialFacts
from trialkit.documents.results import Results
from trialkit.evidence.accepting import trial_entry
from trialkit.evidence.ledger import NewEntry, add
from trialkit.rules.trial_folder import read_trial

ON = date(2026, 11, 1)


def season(folder: Path, name: str, when: str, started: str, **options: Any) -> Path:
    """Lay out, draw and analyse a small trial of a season; returns its folder."""
    about = f'season = "{when}"\nstarted_on = {started}\n'
    results = small_trial(folder, id=name, about=about, **options)
    (folder / "results").mkdir(exist_ok=True)
    (folder / "results" / "results.json").write_text(as_text(results), "utf-8")
    return folder


def accept(ledger: Path, folder: Path, on: date = ON) -> Listed:
    """Put an analysed trial in a ledger."""
    written = (folder / "results" / "results.json").read_bytes()
    results = from_text(Results, written.decode("utf-8"))
    return add(ledger, trial_entry(read_trial(folder), results, written), on)


def three_seasons(ledger: Path, trials: Path) -> tuple[Path, ...]:
    """Two cultivars with two doses each in three seasons at two gardens, two blocks in each."""
    made = tuple(
        season(trials / name, name, when, started, sites=2, blocks=2, cultivars=2, doses=2, seed=seed)
        for name, when, started, seed in (
            ("one", "spring 2026", "2026-03-01", 11),
            ("two", "summer 2026", "2026-05-01", 12),
            ("three", "autumn 2026", "2026-08-01", 13),
        )
    )
    for folder in made:
        accept(ledger, folder)
    return made


def new_entry(trial: str, text: str = "") -> NewEntry:
    """A tiny entry that tells nothing."""
    files = {"a.csv": (text or trial).encode()}
    facts = TrialFacts(made_with={}, product=None, sites=(), verdict=None, head_scatter=None)
    return NewEntry("trial", trial, "A title", "spring 2026", "2026-03-01", 4, 8, 1, files, {}, facts)
