"""A small trial as it stands before its season: laid out, nothing recorded."""

from pathlib import Path

from honest_records import PROTOCOL, write_records
from trialkit.rules.trial_folder import CheckedTrial, read_trial

RECORDS = ("heads", "solution", "visits")


def laid_out(
    folder: Path, *, blind: bool = False, site_name: str = "Fernsedge School", title: str = "", language: str = ""
) -> CheckedTrial:
    """Write the trial, its records emptied to their headers, and read it as far as its layout.

    `language` is that of the garden Fernsedge.
    """
    write_records(folder)
    for name in RECORDS:
        path = folder / f"{name}.csv"
        path.write_text(path.read_text("utf-8").splitlines()[0] + "\n", "utf-8")
    more = ("\nblind = true" if blind else "") + (f"\ntitle = '{title}'" if title else "")
    told = PROTOCOL.replace('question = "Which dose?"', f'question = "Which one?"{more}')
    (folder / "trial.toml").write_text(told, "utf-8")
    sites = (folder / "sites.csv").read_text("utf-8").replace("Fernsedge School", site_name)
    if language:
        header, fern, *others = sites.splitlines()
        sites = "\n".join([f"{header},language", f"{fern},{language}", *(f"{row}," for row in others), ""])
    (folder / "sites.csv").write_text(sites, "utf-8")
    return read_trial(folder, stage="layout")
