"""Changing a layout that stands: a garden joins, drawn by lot beside the others, withdraws or rejoins; that is all."""

import csv
import re
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Literal

import pandas as pd

from trialkit.documents.answers import SiteAnswer
from trialkit.documents.problems import Problem
from trialkit.domain.errors import WrongCall
from trialkit.domain.table_names import AMENDMENTS_FILE
from trialkit.languages import Language, Saying, translatable
from trialkit.protocol.randomise import AddedGarden, added_garden
from trialkit.rules.neighbours import labels_elsewhere
from trialkit.rules.trial_folder import CheckedTrial, read_trial
from trialkit.tables.atomic import csv_text
from trialkit.tables.committing import at_work, commit
from trialkit.tables.nearest import meant
from trialkit.tables.problem import TrialError
from trialkit.tables.raw_table import RawTable, parse_csv
from trialkit.tables.source_file import read_source
from trialkit.tables.table_schema import load_schema


def add_garden(
    folder: Path, site: str, *, blocks: int | None, why: str, on: date, language: Language | None = None
) -> SiteAnswer:
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
    language : str, optional
        Of what its volunteers get, for its row in sites.csv; the row's own, else the trial's, where not told.

    Raises
    ------
    TrialError
        If the folder itself has errors.
    WrongCall
        If it has no layout yet, has such a garden, or the garden cannot be laid out; with all that is in the way.
    OSError
        If a file cannot be read or written.
    """
    with at_work(folder):
        trial = _laid_out(folder)
        in_the_way = _call_faults(why, on)
        if site in set(trial.layout["site"]):
            in_the_way.append(
                Saying("{site} has buckets in this trial already: name a garden that has none.", site=site)
            )
        elif not re.fullmatch(load_schema("sites").field("site").pattern or "", site):
            in_the_way.append(
                Saying(
                    "A garden's short name has letters, figures, blanks and hyphens, at most 40; not {site!r}.",
                    site=site,
                )
            )
        _refuse(in_the_way)
        garden = AddedGarden(site, blocks or trial.protocol.layout.blocks)
        rows = added_garden(trial.protocol, trial.layout, garden)
        files = {"layout.csv": _with_rows(folder, "layout.csv", rows)}
        if language is not None:
            files["sites.csv"] = _spoken_at(folder, site, language)
        elif site not in set(trial.sites["site"]):
            files["sites.csv"] = _with_rows(folder, "sites.csv", pd.DataFrame({"site": [site]}))
        buckets = tuple(map(str, rows["bucket"]))
        version, changed = _commit(folder, trial, (on.isoformat(), site, "joined", garden.blocks, why.strip()), files)
    elsewhere = labels_elsewhere(folder, buckets)
    day = on.isoformat()
    return SiteAnswer(site, "joined", version, day, why.strip(), garden.blocks, buckets, elsewhere, changed)


def withdraw_garden(folder: Path, site: str, *, why: str, on: date) -> SiteAnswer:
    """Note that a garden withdrew: its records stay, and what it did not record is asked for no more.

    Arguments and errors are those of `add_garden`.
    """
    return _without_lots(folder, site, "withdrew", why, on)


def rejoin_garden(folder: Path, site: str, *, why: str, on: date) -> SiteAnswer:
    """Note that a garden that withdrew takes part again, with the lots that it had.

    Arguments and errors are those of `add_garden`.
    """
    return _without_lots(folder, site, "rejoined", why, on)


def _without_lots(folder: Path, site: str, change: Literal["withdrew", "rejoined"], why: str, on: date) -> SiteAnswer:
    """Note a change for which nothing is drawn."""
    with at_work(folder):
        trial = _laid_out(folder)
        in_the_way, known = _call_faults(why, on), sorted(set(map(str, trial.layout["site"])))
        if site not in known:
            in_the_way.append(
                Saying(
                    "The layout has no garden {site!r}, but {known}.{meant}",
                    site=site,
                    known=", ".join(known),
                    meant=meant(site, known),
                )
            )
        elif (site in trial.amended.withdrawn) != (change == "rejoined"):
            in_the_way.append(
                Saying(
                    "{site} withdrew already ({file}); should it take part again, give --rejoin.",
                    site=site,
                    file=AMENDMENTS_FILE,
                )
                if change == "withdrew"
                else Saying("{site} takes part: it did not withdraw ({file}).", site=site, file=AMENDMENTS_FILE)
            )
        _refuse(in_the_way)
        version, changed = _commit(folder, trial, (on.isoformat(), site, change, "", why.strip()), {})
    return SiteAnswer(site, change, version, on.isoformat(), why.strip(), None, (), (), changed)


def _laid_out(folder: Path) -> CheckedTrial:
    """Read a trial that has a layout."""
    if not (folder / "layout.csv").exists():
        raise WrongCall(
            translatable(
                "{folder} has no layout.csv yet: write the garden into sites.csv, then run trialkit layout {folder}."
            ),
            folder=folder,
        )
    return read_trial(folder, stage="layout")


def _call_faults(why: str, on: date) -> list[Saying]:
    """Tell of a reason or a day that amendments.csv does not take."""
    reason, day = (load_schema("amendments").field(name) for name in ("why", "amended_on"))
    longest = reason.max_length or 0
    faults: list[Saying] = []
    if not why.strip() or len(why) > longest or not why.isprintable():
        faults.append(
            Saying(
                "A change of the layout needs its reason: --why TEXT, one line of at most {longest} characters.",
                longest=longest,
            )
        )
    if not str(day.minimum) <= on.isoformat() <= str(day.maximum):
        faults.append(
            Saying(
                "The day of the change lies between {first} and {last}: not {day}.",
                first=day.minimum,
                last=day.maximum,
                day=on.isoformat(),
            )
        )
    return faults


def _refuse(in_the_way: list[Saying]) -> None:
    if in_the_way:
        raise WrongCall(*in_the_way)


def _commit(
    folder: Path, trial: CheckedTrial, amendment: tuple[str | int, ...], files: Mapping[str, bytes]
) -> tuple[int, tuple[str, ...]]:
    """Write a change, numbered, and what it changes, all of it or nothing; return its number and the files."""
    version = trial.amended.version + 1
    row = pd.DataFrame([(version, *amendment)], columns=load_schema("amendments").columns, dtype=object)
    changed = {**files, AMENDMENTS_FILE: _with_rows(folder, AMENDMENTS_FILE, row)}
    commit(folder, changed)
    return version, tuple(changed)


def _with_rows(folder: Path, file: str, rows: pd.DataFrame) -> bytes:
    """Return a table with rows after those that it has, which stay to the byte; a new one with its header."""
    path = folder / file
    if not path.exists():
        return csv_text(rows).encode("utf-8")
    source = read_source(folder, file)
    table = source if isinstance(source, Problem) else parse_csv(file, source.text)
    if not isinstance(table, RawTable):
        raise TrialError([table])
    heading = next(csv.reader([source.text.partition("\n")[0]])) if not isinstance(source, Problem) else []
    if [name.strip() for name in heading if name.strip()] != list(table.cells):
        raise WrongCall(
            translatable("{path} is not as trialkit writes it, with commas between cells: save it so, then try again."),
            path=path,
        )
    data = path.read_bytes()
    end = b"\r\n" if b"\r\n" in data else b"\n"
    lacking = {name: "" for name in table.cells if name not in rows.columns}
    text = csv_text(rows.assign(**lacking)[list(table.cells)]).partition("\n")[2]
    between = b"" if data.endswith((b"\n", b"\r")) else end
    return data + between + text.encode("utf-8").replace(b"\n", end)


def _spoken_at(folder: Path, site: str, language: Language) -> bytes:
    """Return sites.csv with a garden's language in its row; row and column are made where there are none."""
    source = read_source(folder, "sites.csv")
    table = source if isinstance(source, Problem) else parse_csv("sites.csv", source.text)
    if not isinstance(table, RawTable):
        raise TrialError([table])
    rows = pd.DataFrame(table.cells, dtype=object)
    if site not in set(rows["site"]):
        rows = pd.concat([rows, pd.DataFrame({"site": [site]}, dtype=object)], ignore_index=True)
    rows.loc[rows["site"] == site, "language"] = language
    return csv_text(rows.fillna("")).encode("utf-8")
