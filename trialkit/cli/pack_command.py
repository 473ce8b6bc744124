"""``trialkit pack``."""

from __future__ import annotations

from pathlib import Path

import click

from trialkit.cli.failures import speaks_plainly
from trialkit.cli.shared_options import trial_folder
from trialkit.cli.speaking import tell
from trialkit.cli.steps import RESULTS_FILE, RESULTS_FOLDER, changed_inputs, read_results
from trialkit.domain.errors import WrongCall


@click.command("pack")
@trial_folder
@click.option("--into", metavar="ZIP", type=click.Path(dir_okay=False, path_type=Path), help="The file to write.")
@click.option(
    "--licence",
    type=click.Choice(["CC-BY-4.0", "CC0-1.0"]),
    default="CC-BY-4.0",
    show_default=True,
    help="Licence under which others may use the data.",
)
@speaks_plainly
def command(folder: Path, into: Path | None, licence: str) -> None:
    """Pack the trial in DIR as open data that others can analyse again: a Frictionless Data Package.

    The trial must pass trialkit check. Names of gardens and notes go in as they are: read them before you publish.

    Example: trialkit pack autumn_dose
    """
    tell(pack_folder(folder, into, licence))


def pack_folder(folder: Path, into: Path | None, licence: str) -> str:
    """Write a trial's data package."""
    from trialkit.report.data_package import data_package
    from trialkit.rules.trial_folder import read_trial
    from trialkit.tables.atomic import write_bytes
    from trialkit.tables.committing import at_work, write_outputs
    from trialkit.tables.own_files import refuse_strangers

    if into is not None and into.suffix.lower() != ".zip":
        raise WrongCall(
            f'--into "{"" if into == Path() else into}" does not end in .zip: name a file such as trial.zip.'
        )
    with at_work(folder):
        trial = read_trial(folder)
        results, said = None, f"It holds no results: to have them in, run trialkit analyse {folder} first."
        path = folder / RESULTS_FOLDER / RESULTS_FILE
        if path.is_file():
            changed = changed_inputs(folder, read_results(folder))
            if changed:
                said = f"It holds no results, since {', '.join(changed)} changed after the analysis."
            else:
                results, said = path.read_bytes(), "It holds the results, too."
        data = data_package(trial, licence, results)
        name = f"{RESULTS_FOLDER}/{trial.protocol.trial.id}.zip"
        if into is None:
            write_outputs(folder, {name: data})
    target = into or folder / name
    if into is not None:
        refuse_strangers(into, data)
        into.parent.mkdir(parents=True, exist_ok=True)
        write_bytes(into, data)
    return (
        f"Packed {len(trial.heads)} heads in {len(trial.layout)} buckets: {target} ({len(data) / 1000:.0f} kB, data "
        f"under {licence}). {said} Names of gardens and notes are in it: read them before you publish."
    )
