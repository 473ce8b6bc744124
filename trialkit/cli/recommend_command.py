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

    Writes LEDGER/recommended.json, handout.html and care.html (how a bucket is set up and looked after: print both
    on one sheet), handout_large.html in large print, and all three as tagged PDF on A4 and Letter where WeasyPrint
    is installed (pip install weasyprint). They name the county that trialkit county set. Every version is kept in
    LEDGER/history; there is a new one only when the evidence changed.

    Example: trialkit recommend ledger
    """
    document, text = recommend_from(ledger)
    answer(document, text, as_json=as_json)
