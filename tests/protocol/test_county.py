"""The county's block: read, written, changed, found from the folder that holds it; logos that are no pictures."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable
from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image

from trialkit.protocol.county import (
    County,
    CountyFile,
    changed_county,
    county_text,
    parse_county,
    read_county,
    read_logo,
)
from trialkit.protocol.county_schema import county_schema_text
from trialkit.protocol.logo import LARGEST_BYTES, PNG_SIGNATURE, SIDE_PIXELS
from trialkit.protocol.publication import Origin, Person, Publication
from trialkit.steps.county_steps import set_county
from trialkit.tables.problem import TrialError
from trialkit.words.problem_words import problem_sentence

WHOLE = County(
    name='Larkmoor "West" County',
    programme="Garden Advice",
    contact="Horticulture desk \\ 12 Mill Lane",
    sowing="Sow in mid March.",
    logo="county-logo.png",
    measures="kitchen",
)


def picture(width: int = 60, height: int = 40, kind: str = "PNG") -> bytes:
    """Return a picture of one colour."""
    stream = BytesIO()
    Image.new("RGB", (width, height), "#1c6b3a").save(stream, kind)
    return stream.getvalue()


def announced(width: int, height: int) -> bytes:
    """Return a file that claims to be a picture of a size, and holds next to nothing."""
    head = b"IHDR" + struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return PNG_SIGNATURE + struct.pack(">I", 13) + head + struct.pack(">I", zlib.crc32(head))


def said(error: pytest.ExceptionInfo[TrialError]) -> list[str]:
    """Sentences of the problems."""
    return [problem_sentence(one) for one in error.value.problems]


@pytest.mark.parametrize("county", [WHOLE, County(name="Larkmoor")])
def test_it_reads_back_as_it_was_written(county: County) -> None:
    """Whatever is left out; quotation marks and backslashes too."""
    assert parse_county(county_text(county)) == CountyFile(county=county)


def test_what_packages_tell_alike_is_kept(tmp_path: Path) -> None:
    """People, licence and the like are edited by hand; `trialkit county` changes its block and keeps them."""
    told = Origin(
        people=(
            Person(
                name='Ada "Leaf" Fenn', roles=("author", "contact"), orcid="0000-0002-1825-0097", affiliation="Desk"
            ),
            Person(name="Gardeners", roles=("data collector",), organisation=True),
        ),
        publisher="Larkmoor Extension",
        licence="CC0-1.0",
        licence_holder="Larkmoor",
        country="US",
    )
    text = county_text(WHOLE, told)
    assert parse_county(text) == CountyFile(county=WHOLE, publication=told)
    (tmp_path / "county.toml").write_text(county_text(County(name="Larkmoor"), told), "utf-8")
    set_county(tmp_path, {"contact": "Desk"})
    block = read_county(tmp_path)
    assert block is not None
    assert (block.county.contact, block.publication) == ("Desk", told)


def test_a_trial_goes_before_its_county() -> None:
    """Key by key; people are one key."""
    county = Origin(publisher="Larkmoor Extension", country="US", licence="CC0-1.0")
    found = Publication(publisher="Fen School", version="2.0.0").completed(county)
    assert found == Publication(publisher="Fen School", version="2.0.0", country="US", licence="CC0-1.0")


def test_it_counts_for_its_folder_and_those_right_below(tmp_path: Path) -> None:
    """One of a folder's own comes first; two floors down it does not count."""
    below = tmp_path / "spring" / "ledger"
    below.mkdir(parents=True)
    assert read_county(tmp_path) is None
    (tmp_path / "county.toml").write_text(county_text(County(name="Larkmoor")), "utf-8")
    for folder in (tmp_path, tmp_path / "spring"):
        block = read_county(folder)
        assert block is not None
        assert (block.county.name, block.logo) == ("Larkmoor", None)
    assert read_county(below) is None
    (tmp_path / "spring" / "county.toml").write_text(county_text(WHOLE), "utf-8")
    (tmp_path / "spring" / "county-logo.png").write_bytes(picture())
    block = read_county(below)
    assert block is not None
    assert (block.county, block.logo) == (WHOLE, picture())


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("name = 1", ("row 1, county: found nothing", "row 1, name: ")),
        (
            '[county]\nname = 3\nlanguage = "xx"\nnme = ""',
            ("row 2, county.name", "row 3, county.language", 'mean "name"'),
        ),
        ('[county]\nname = "L"\ncontact = "a\\nb"', ("row 3, county.contact", "one line of text")),
        ('[county]\nname = "L"\nlogo = "../secret.png"', ("row 3, county.logo",)),
        ("[county\n", ("row 1", "a county's block in TOML")),
    ],
)
def test_all_that_is_wrong_is_told_with_its_line(text: str, wanted: tuple[str, ...]) -> None:
    """Unknown keys, values that do not fit, a path out of the folder, and what is no TOML."""
    with pytest.raises(TrialError) as error:
        parse_county(text)
    told = " ".join(said(error))
    for part in wanted:
        assert part.replace("row 1, county: found nothing", "Expected a section [county]") in told or part in told


@pytest.mark.parametrize(
    ("data", "wanted"),
    [
        (picture(kind="JPEG"), "found a file of another kind. Expected a PNG picture"),
        (b"<svg xmlns='http://www.w3.org/2000/svg' onload='x()'/>", "found a file of another kind"),
        (picture()[:-30], "Expected a PNG picture that can be read to its end"),
        (PNG_SIGNATURE + b"<script>", "Expected a PNG picture that can be read to its end"),
        (announced(60, 60), "found one that is cut off or damaged"),
        (picture(SIDE_PIXELS[1] + 1, 20), "found 2001 by 20 pixels. Expected 16 to 2000 pixels on each side"),
        (announced(60_000, 60_000), "found 60000 by 60000 pixels"),
        (picture() + b"x" * LARGEST_BYTES, "kB. Expected at most 300 kB"),
    ],
)
def test_what_is_no_logo_is_refused(tmp_path: Path, data: bytes, wanted: str) -> None:
    """Other kinds, cut off, too large: by what the file holds, not by its name."""
    (tmp_path / "logo.png").write_bytes(data)
    with pytest.raises(TrialError) as error:
        read_logo(tmp_path / "logo.png")
    assert wanted in " ".join(said(error))
    assert error.value.problems[0].file == "logo.png"


def test_a_change_keeps_the_rest(tmp_path: Path) -> None:
    """Keys that are not named stay, an empty text takes one away, and a logo gets its name."""
    path = tmp_path / "emblem.png"
    path.write_bytes(picture())
    county, logo = changed_county(WHOLE, {"contact": "Desk", "sowing": ""}, path)
    assert county == WHOLE.model_copy(update={"contact": "Desk", "sowing": ""})
    assert logo == picture()
    assert changed_county(WHOLE, {"logo": ""}, None) == (WHOLE.model_copy(update={"logo": None}), None)


def test_the_published_schema_is_current(schema_text: Callable[[str], str]) -> None:
    """schemas/county.schema.json is that of the class; `python -m trialkit.protocol.county_schema` prints it."""
    assert schema_text("county.schema.json") == county_schema_text()
