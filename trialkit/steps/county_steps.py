"""What ``trialkit county`` does with a folder."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from trialkit.domain.table_names import COUNTY_FILE
from trialkit.protocol.county import (
    LOGO_FILE,
    CountyAnswer,
    changed_county,
    county_text,
    read_county,
)
from trialkit.tables.committing import at_work, commit


def set_county(folder: Path, given: Mapping[str, str]) -> tuple[CountyAnswer, str]:
    """Change what a call names in the folder's county.toml, which is begun where there is none."""
    file = folder / COUNTY_FILE
    logo = Path(given["logo"]) if given.get("logo") else None
    with at_work(folder):
        before = read_county(folder) if file.exists() else None
        county, picture = changed_county(before.county if before else None, given, logo)
        pictures = {} if picture is None else {LOGO_FILE: picture}
        commit(
            folder,
            {COUNTY_FILE: county_text(county, before.publication if before else None).encode("utf-8"), **pictures},
        )
    document = CountyAnswer(str(file), county)
    return document, f"{_told(document)}\nNext, for the handout: trialkit recommend LEDGER"


def show_county(folder: Path) -> tuple[CountyAnswer, str]:
    """Tell what counts for a folder."""
    block = read_county(folder)
    document = CountyAnswer(str(block.file), block.county) if block else CountyAnswer(None, None)
    return document, _told(document)


def county_of(folder: Path, changes: Mapping[str, str]) -> CountyAnswer:
    """Return what counts for a folder, after changes to its county.toml where there are any."""
    return (set_county(folder, changes) if changes else show_county(folder))[0]


def _told(document: CountyAnswer) -> str:
    if document.county is None:
        return f'No county is set, here or in the folder above. To write {COUNTY_FILE}: trialkit county --name "..."'
    rows = [(key, str(value or "not set")) for key, value in document.county]
    return "\n".join([f"Set in {document.file}:", *(f"  {key:<10} {value}" for key, value in rows)])
