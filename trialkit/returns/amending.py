"""Changing a layout that stands: a garden joins, drawn by lot beside the others, or withdraws; nothing else moves."""

import re
from collections.abc import Mapping
from datetime import date
from pathlib import Path

import pandas as pd

from trialkit.documents.answers import SiteAnswer
from trialkit.documents.problems import Problem
from trialkit.domain.errors import WrongCall
from trialkit.domain.table_names import AMENDMENTS_FILE
from trialkit.protocol.randomise import AddedGarden, added_garden
from trialkit.returns import store
from trialkit.rules.neighbours import labels_elsewhere
from trialkit.rules.trial_folder import Trial, read_trial
from trialkit.tables.atomic import csv_text
from trialkit.tables.nearest import nearest_name
from trialkit.tables.problem import TrialError
from trialkit.tables.raw_table import RawTable, parse_csv
from trialkit.tables.source_file import read_source
from trialkit.tables.table_schema import load_schema


def add_garden(folder: Path, site: str, *, blocks: int | None, why: str, on: date) -> SiteAnswer:
    """Lay out one garden more, by lot; what stands in the layout stays to the byte.

    Parameters
    ----------
    folder : Path
        The trial folder; protocol, sites, products and layout must be without errors.
    site : str
        Short name of the garden; its row in sites.csv is made where it has none.
    blocks : int, optional
        That it gets; as many as the protocol gives each garden where not told.
    why : str
        The reason.
    on : date
        The day.

    Raises
    ------
    TrialError
        If the folder itself has errors.
    WrongCall
        If it has no layout yet, has such a garden, or the garden cannot be laid out; with all that is in the way.
    OSError
        If a file cannot be read or written.
    """
    with store.locked(folder):
        trial = _laid_out(folder)
        in_the_way = _without_reason(why)
        if site in set(trial.layout["site"]):
            in_the_way.append(f"{site} has buckets in this trial already: name a garden that has none.")
        elif not re.fullmatch(load_schema("sites").field("site").pattern or "", site):
            in_the_way.append(
                f"A garden's short name has letters, figures, blanks and hyphens, at most 40; not {site!r}."
            )
        _refuse(in_the_way)
        garden = AddedGarden(site, blocks or trial.protocol.layout.blocks)
        rows = added_garden(trial.protocol, trial.layout, garden)
        files = {"layout.csv": _with_rows(folder, "layout.csv", rows)}
        if site not in set(trial.sites["site"]):
            files["sites.csv"] = _with_rows(folder, "sites.csv", pd.DataFrame({"site": [site]}))
        buckets = tuple(map(str, rows["bucket"]))
        made = _amended(folder, trial, site, "joined", files, blocks=garden.blocks, buckets=buckets, why=why, on=on)
    return made


def withdraw_garden(folder: Path, site: str, *, why: str, on: date) -> SiteAnswer:
    """Note that a garden withdrew: its records stay, and what it did not record is asked for no more.

    Arguments and errors are those of `add_garden`.
    """
    with store.locked(folder):
        trial = _laid_out(folder)
        in_the_way, known = _without_reason(why), sorted(set(map(str, trial.layout["site"])))
        if site not in known:
            near = nearest_name(site, known)
            hint = f" Did you mean {near}?" if near else ""
            in_the_way.append(f"The layout has no garden {site!r}, but {', '.join(known)}.{hint}")
        elif site in trial.amended.withdrawn:
            in_the_way.append(
                f"{site} withdrew already ({AMENDMENTS_FILE}); should it record anything after all, merge it as ever."
            )
        _refuse(in_the_way)
        made = _amended(folder, trial, site, "withdrew", {}, blocks=None, buckets=(), why=why, on=on)
    return made


def _laid_out(folder: Path) -> Trial:
    """Read a trial that has a layout, whatever an earlier change has left unfinished."""
    store.safe_returned(folder)
    store.finish(folder)
    if not (folder / "layout.csv").exists():
        raise WrongCall(
            f"{folder} has no layout.csv yet: write the garden into sites.csv, then run trialkit layout {folder}."
        )
    return read_trial(folder, stage="layout")


def _without_reason(why: str) -> list[str]:
    longest = load_schema("amendments").field("why").max_length or 0
    if why.strip() and len(why) <= longest and why.isprintable():
        return []
    return [f"A change of the layout needs its reason: --why TEXT, one line of at most {longest} characters."]


def _refuse(in_the_way: list[str]) -> None:
    if in_the_way:
        raise WrongCall("\n".join(in_the_way))


def _amended(
    folder: Path,
    trial: Trial,
    site: str,
    change: str,
    files: Mapping[str, bytes],
    *,
    blocks: int | None,
    buckets: tuple[str, ...],
    why: str,
    on: date,
) -> SiteAnswer:
    """Write a change with its number, day and reason, all of it or nothing."""
    version = trial.amended.version + 1
    row = {
        "layout_version": version,
        "amended_on": on.isoformat(),
        "site": site,
        "change": change,
        "blocks": blocks or "",
    }
    amendments = _with_rows(folder, AMENDMENTS_FILE, pd.DataFrame([{**row, "why": why.strip()}]))
    changed = {**files, AMENDMENTS_FILE: amendments}
    store.commit(folder, changed)
    elsewhere = labels_elsewhere(folder, buckets)
    return SiteAnswer(site, change, version, on.isoformat(), why.strip(), blocks, buckets, elsewhere, tuple(changed))


def _with_rows(folder: Path, file: str, rows: pd.DataFrame) -> bytes:
    """Return a table with rows after those that it has, which stay to the byte; a new one with its header."""
    path = folder / file
    if not path.exists():
        return csv_text(rows).encode("utf-8")
    source = read_source(folder, file)
    table = source if isinstance(source, Problem) else parse_csv(file, source.text)
    if not isinstance(table, RawTable):
        raise TrialError([table])
    data = path.read_bytes()
    end = b"\r\n" if b"\r\n" in data else b"\n"
    lacking = {name: "" for name in table.cells if name not in rows.columns}
    text = csv_text(rows.assign(**lacking)[list(table.cells)]).partition("\n")[2]
    between = b"" if data.endswith((b"\n", b"\r")) else end
    return data + between + text.encode("utf-8").replace(b"\n", end)
