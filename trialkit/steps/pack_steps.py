"""What ``trialkit pack`` does with a trial folder."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from trialkit.domain.errors import WrongCall
from trialkit.domain.progress import working_on
from trialkit.steps.trial_steps import RESULTS_FILE, RESULTS_FOLDER, changed_inputs, read_results

if TYPE_CHECKING:
    from trialkit.documents.answers import Gap, PackAnswer
    from trialkit.protocol.publication import Licence
    from trialkit.rules.trial_folder import CheckedTrial

USUAL_LICENCE: Licence = "CC-BY-4.0"


def _trial_to_publish(folder: Path) -> CheckedTrial:
    """Read a trial whose county's block, which tells what trial.toml does not, is without faults."""
    from trialkit.protocol.county import read_county
    from trialkit.rules.trial_folder import read_trial

    read_county(folder)
    return read_trial(folder)


def pack_folder(folder: Path, into: Path | None, licence: Licence | None = None) -> tuple[PackAnswer, str]:
    """Write a trial's data package; say what was written, for programs and for people."""
    from trialkit.documents.answers import PackAnswer
    from trialkit.report.data_package import data_package
    from trialkit.report.metadata import gaps
    from trialkit.tables.atomic import write_bytes
    from trialkit.tables.committing import at_work, write_outputs
    from trialkit.tables.own_files import refuse_strangers

    if into is not None and into.suffix.lower() != ".zip":
        raise WrongCall(
            f'--into "{"" if into == Path() else into}" does not end in .zip: name a file such as trial.zip.'
        )
    with at_work(folder):
        trial = _trial_to_publish(folder)
        used = licence or trial.publication.licence or USUAL_LICENCE
        results, said = None, f"It holds no results: to have them in, run trialkit analyse {folder} first."
        path = folder / RESULTS_FOLDER / RESULTS_FILE
        if path.is_file():
            changed = changed_inputs(folder, read_results(folder))
            if changed:
                said = f"It holds no results, since {', '.join(changed)} changed after the analysis."
            else:
                results, said = path.read_bytes(), "It holds the results, too."
        working_on("the data package")
        data = data_package(trial, used, results)
        name = f"{RESULTS_FOLDER}/{trial.protocol.trial.id}.zip"
        if into is None:
            write_outputs(folder, {name: data})
    target = into or folder / name
    if into is not None:
        refuse_strangers(into, data)
        into.parent.mkdir(parents=True, exist_ok=True)
        write_bytes(into, data)
    packed = PackAnswer(str(target), len(data), used, results is not None, gaps(trial))
    lacking = f" To be cited it lacks something: trialkit pack {folder} --check." if packed.missing else ""
    heads, buckets = len(trial.counting_heads), len(trial.counting_buckets)
    return packed, (
        f"Packed {heads} heads in {buckets} buckets: {target} ({len(data) / 1000:.0f} kB, data "
        f"under {used}). {said} Names of gardens and notes are in it: read them before you publish.{lacking}"
    )


def pack_gaps(folder: Path) -> tuple[Gap, ...]:
    """Name what a citable publication of a trial still lacks."""
    from trialkit.report.metadata import gaps

    return gaps(_trial_to_publish(folder))
