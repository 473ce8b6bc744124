"""What ``trialkit county`` does with a folder."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from trialkit.documents.problems import Problem
from trialkit.domain.table_names import COUNTY_FILE
from trialkit.protocol.county import (
    LOGO_FILE,
    CountyAnswer,
    changed_county,
    changed_origin,
    county_text,
    read_county,
)
from trialkit.protocol.publication import Origin
from trialkit.tables.committing import at_work, commit
from trialkit.tables.problem import TrialError
from trialkit.tables.source_file import read_source


def set_county(folder: Path, given: Mapping[str, str]) -> tuple[CountyAnswer, str]:
    """Change what a call names in the folder's county.toml, which is begun where there is none.

    Of the logo and of the list of people the call names files.
    """
    file = folder / COUNTY_FILE
    logo = Path(given["logo"]) if given.get("logo") else None
    of_data = {key: text for key, text in given.items() if key in Origin.model_fields and key != "people"}
    of_county = {key: text for key, text in given.items() if key not in Origin.model_fields}
    with at_work(folder):
        before = read_county(folder) if file.exists() else None
        county, picture = changed_county(before.county if before else None, of_county, logo)
        people = _list_in(Path(given["people"])) if "people" in given else None
        publication = changed_origin(before.publication if before else Origin(), of_data, people)
        pictures = {} if picture is None else {LOGO_FILE: picture}
        commit(folder, {COUNTY_FILE: county_text(county, publication).encode("utf-8"), **pictures})
    document = CountyAnswer(str(file), county, publication)
    return document, f"{_told(document)}\nNext, for the handout: trialkit recommend LEDGER"


def _list_in(path: Path) -> str:
    source = read_source(path.parent, path.name)
    if isinstance(source, Problem):
        raise TrialError([source])
    return source.text


def show_county(folder: Path) -> tuple[CountyAnswer, str]:
    """Tell what counts for a folder."""
    block = read_county(folder)
    document = (
        CountyAnswer(str(block.file), block.county, block.publication) if block else CountyAnswer(None, None, Origin())
    )
    return document, _told(document)


def county_of(folder: Path, changes: Mapping[str, str]) -> CountyAnswer:
    """Return what counts for a folder, after changes to its county.toml where there are any."""
    return (set_county(folder, changes) if changes else show_county(folder))[0]


def _told(document: CountyAnswer) -> str:
    if document.county is None:
        return f'No county is set, here or in the folder above. To write {COUNTY_FILE}: trialkit county --name "..."'
    people = ", ".join(person.name for person in document.publication.people)
    told = {**dict(document.county), **dict(document.publication), "people": people}
    rows = [(key.replace("_", " "), str(value or "not set")) for key, value in told.items()]
    return "\n".join([f"Set in {document.file}:", *(f"  {key:<14} {value}" for key, value in rows)])
