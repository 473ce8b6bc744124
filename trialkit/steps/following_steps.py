"""What ``trialkit new --from`` does: the folder of the trial that follows a ledger, or a single trial."""

from __future__ import annotations

import secrets
from pathlib import Path

from trialkit.domain.errors import NotComputed
from trialkit.domain.progress import working_on
from trialkit.protocol.starting import LARGEST_SEED


def start_following(folder: Path, source: Path, seed: int | None) -> str:
    """Start the trial that is worth most after those of a ledger, or after one analysed trial."""
    from trialkit._version import __version__
    from trialkit.evidence.ledger_contents import read_ledger
    from trialkit.evidence.versions import pool_now
    from trialkit.planning.following_trial import following_files
    from trialkit.planning.next_trial import propose
    from trialkit.protocol.starting import refuse_if_filled, write_folder
    from trialkit.steps.evidence_steps import as_ledger
    from trialkit.words import default_words as words

    refuse_if_filled(folder)
    with as_ledger(source) as ledger:
        working_on("what all trials say")
        found = read_ledger(ledger)
        document = pool_now(ledger, __version__, propose)
        proposed = document.next_trial
        if proposed is None:
            raise NotComputed(
                f"{words.next_trial(document, document.measures)} {words.why_next(document, document.measures)}"
            )
        files = following_files(
            found,
            document,
            proposed,
            folder.resolve().name,
            words.next_question(proposed),
            secrets.randbelow(LARGEST_SEED) if seed is None else seed,
        )
    write_folder(folder, files)
    return "\n".join(
        [
            f"Started {folder}, with gardens, products and practice carried over.",
            words.proposed_words(proposed),
            (words.why_next if proposed.worth_it else words.next_trial)(document, document.measures),
            "Fill in the season and the day of sowing in trial.toml, and look through gardens and products. "
            f"Next: trialkit plan {folder} --ledger {source}",
        ]
    )
