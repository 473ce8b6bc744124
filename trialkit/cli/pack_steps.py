"""What ``trialkit pack`` does with a trial folder."""

from __future__ import annotations

from pathlib import Path

from trialkit.cli.steps import RESULTS_FILE, RESULTS_FOLDER, changed_inputs, read_results


def pack_folder(folder: Path, into: Path | None, licence: str) -> str:
    """Write a trial's data package."""
    from trialkit.report.data_package import data_package
    from trialkit.rules.trial_folder import read_trial
    from trialkit.tables.atomic import write_bytes

    trial = read_trial(folder)
    results, said = None, "Without results: trialkit analyse it first, to have them in."
    path = folder / RESULTS_FOLDER / RESULTS_FILE
    if path.is_file():
        changed = changed_inputs(folder, read_results(folder))
        if changed:
            said = f"Without results: {', '.join(changed)} changed since the analysis."
        else:
            results, said = path.read_bytes(), "Its results are in."
    target = into or folder / RESULTS_FOLDER / f"{trial.protocol.trial.id}.zip"
    target.parent.mkdir(parents=True, exist_ok=True)
    data = data_package(trial, licence, results)
    write_bytes(target, data)
    return (
        f"Packed {len(trial.heads)} heads in {len(trial.layout)} buckets: {target} ({len(data) / 1000:.0f} kB, data "
        f"under {licence}). {said} Names of gardens and notes are in it: look before you publish."
    )
