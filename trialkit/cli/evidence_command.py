"""``trialkit evidence``: accepted trials, kept and pooled."""

from __future__ import annotations

from pathlib import Path

import click

from trialkit.cli.conversation import Group
from trialkit.cli.failures import DataFailure, speaks_plainly
from trialkit.cli.shared_options import without_links
from trialkit.cli.speaking import answer, tell
from trialkit.steps.evidence_steps import add_means, add_trial, listing, pool_ledger, readmit_entry, withdraw_entry

ledger_folder = click.option(
    "--ledger",
    required=True,
    metavar="LEDGER",
    type=click.Path(file_okay=False, path_type=Path),
    help="The ledger's folder.",
)


@click.group("evidence", cls=Group)
def command() -> None:
    """Keep accepted trials in a ledger and pool them over seasons.

    A ledger is a plain folder. Put it under version control, and nothing in it can be lost or replaced unseen.

    Example: trialkit evidence add autumn_dose --ledger ledger
    """


@command.command("add", short_help="Accept an analysed trial, or older means.")
@click.argument("trial", metavar="TRIAL", type=click.Path(exists=True, path_type=Path), callback=without_links)
@ledger_folder
@speaks_plainly
def add(trial: Path, ledger: Path) -> None:
    """Accept TRIAL, the folder of an analysed trial, as evidence.

    Its protocol, tables and results are copied as they are. The records are analysed again, which takes seconds, and
    must give the same results.

    TRIAL may also be a CSV table of older means with their standard errors and citations, where nothing else is left
    of a trial. For its columns: trialkit schema means.

    Example: trialkit evidence add autumn_dose --ledger ledger
    """
    one, sentence = add_trial(trial, ledger) if trial.is_dir() else add_means(trial, ledger)
    answer(one)
    tell(sentence)


@command.command("list", short_help="List the entries and verify their digests.")
@ledger_folder
@speaks_plainly
def list_entries(ledger: Path) -> None:
    """List what the ledger holds, and compare every file with its digest.

    The exit status is 1 if anything was changed. Below the list are the versions of the defaults, each with the digest
    that its handout bears. Last comes the state of the ledger, a digest of all that ever happened to it. Two copies
    with the same state are the same.

    Example: trialkit evidence list --ledger ledger
    """
    document, text = listing(ledger)
    answer(document, text)
    if document.damaged:
        raise DataFailure("\n".join(document.damaged))


@command.command("pool", short_help="Pool all trials that count.")
@ledger_folder
@speaks_plainly
def pool(ledger: Path) -> None:
    """Pool all trials that count, and write LEDGER/pool.html.

    The page says what to grow, how sure that is, and what it rests on. One model takes in the buckets of all trials,
    the same one that answers for a single trial. The page also shows what each trial found, how the gain goes with
    what gardens are like, and what the next trial should ask.

    Example: trialkit evidence pool --ledger ledger
    """
    document, asked, done = pool_ledger(ledger)
    answer(document, asked)
    tell(done)


@command.command("withdraw", short_help="Withdraw an entry, with a reason.")
@click.argument("entry", metavar="ID")
@click.option("--why", required=True, help="The reason, for later seasons.")
@ledger_folder
@speaks_plainly
def withdraw(entry: str, why: str, ledger: Path) -> None:
    """Withdraw an entry: it stays in the ledger with the reason, and counts no more.

    ID is the beginning of an entry's id, as evidence list shows it, or the id of a trial.

    Example: trialkit evidence withdraw autumn-dose --why "the wrong nutrient was sold" --ledger ledger
    """
    one, sentence = withdraw_entry(ledger, entry, why)
    answer(one)
    tell(sentence)


@command.command("readmit", short_help="Let a withdrawn entry count again.")
@click.argument("entry", metavar="ID")
@click.option("--why", required=True, help="The reason, for later seasons.")
@ledger_folder
@speaks_plainly
def readmit(entry: str, why: str, ledger: Path) -> None:
    """Let a withdrawn entry count again, as it stands in the ledger. The ledger keeps both reasons.

    ID is the beginning of an entry's id, as evidence list shows it, or the id of a trial.

    Example: trialkit evidence readmit autumn-dose --why "the nutrient was right after all" --ledger ledger
    """
    one, sentence = readmit_entry(ledger, entry, why)
    answer(one)
    tell(sentence)
