"""``trialkit recommend``."""

from __future__ import annotations

from pathlib import Path

import click

from trialkit.cli.evidence_steps import recommend_from
from trialkit.cli.failures import speaks_plainly
from trialkit.cli.shared_options import as_json
from trialkit.cli.speaking import answer


@click.command("recommend")
@click.argument("ledger", metavar="LEDGER", type=click.Path(exists=True, file_okay=False, path_type=Path))
@as_json
@speaks_plainly
def command(ledger: Path, as_json: bool) -> None:
    """Work out the recommended defaults from all trials in LEDGER, and write the handout for gardeners.

    It writes into LEDGER. handout.html is the handout, and care.html tells how to set up a bucket and look after it:
    print both on one sheet. handout_large.html is in large print. All three also come as tagged PDF on A4 and Letter,
    if WeasyPrint is installed (pip install weasyprint). They name the county that trialkit county set.
    recommended.json is for programs. Every version is kept in LEDGER/history. There is a new version only when the
    evidence changed.

    Example: trialkit recommend ledger
    """
    document, text = recommend_from(ledger)
    answer(document, text, as_json=as_json)
