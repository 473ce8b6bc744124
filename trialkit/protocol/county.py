"""The county's block, ``county.toml``: who stands behind a handout, set once for a folder and for the folders in it."""

import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Annotated, Any

from pydantic import AfterValidator, StringConstraints, ValidationError

from trialkit.documents.document import Closed, field_descriptions
from trialkit.documents.problems import Problem
from trialkit.domain.reading_budget import PROTOCOL, OverBudget
from trialkit.domain.table_names import COUNTY_FILE
from trialkit.domain.units import Measures
from trialkit.languages import Language
from trialkit.protocol.faults import problems_of_toml, problems_of_validation
from trialkit.protocol.logo import logo_problems
from trialkit.protocol.people_list import people_in
from trialkit.protocol.protocol_text import written
from trialkit.protocol.publication import Origin
from trialkit.protocol.sections import ONE_LINE, Line, Name, Section
from trialkit.protocol.starting import toml_value
from trialkit.tables.problem import TrialError, too_large
from trialkit.tables.source_file import read_bytes, read_source
from trialkit.tables.toml_text import toml_data

LOGO_FILE = "county-logo.png"
LongLine = Annotated[
    str,
    StringConstraints(strip_whitespace=True, max_length=160, pattern=ONE_LINE),
    AfterValidator(lambda text: unicodedata.normalize("NFC", text)),
]
FileName = Annotated[str, StringConstraints(max_length=60, pattern=r"^[A-Za-z0-9_-][A-Za-z0-9_. -]*$")]


class County(Section):
    """Who stands behind a handout, and how its gardeners are told."""

    name: Annotated[Name, "Name of the county."]
    programme: Annotated[Line, "Programme that gives out the handout, such as Garden Advice."] = ""
    contact: Annotated[LongLine, "Whom gardeners can ask, and how: a desk or role, a telephone number, an address."] = (
        ""
    )
    sowing: Annotated[
        LongLine, "When to sow in this county, in a sentence. If not given, pages tell what heat does to lettuce."
    ] = ""
    logo: Annotated[FileName | None, "Logo: the name of a PNG file beside county.toml."] = None
    language: Annotated[Language | None, "Language of the handout. If not given, that of the newest trial."] = None
    measures: Annotated[Measures, "Measures of new trials, as `trialkit new` writes them."] = "both"


class CountyFile(Section):
    """What county.toml holds."""

    county: Annotated[County, "The county's block."]
    publication: Annotated[
        Origin, "What data packages of the county's trials tell where their trial.toml does not."
    ] = Origin()


@dataclass(frozen=True)
class CountyBlock:
    """The county's block as pages print it."""

    file: Annotated[Path, "Where it was read."]
    county: Annotated[County, "What it says."]
    logo: Annotated[bytes | None, "Its logo, a PNG."]
    publication: Annotated[Origin, "What its data packages tell alike."] = field(default_factory=Origin)


@dataclass(frozen=True)
class CountyAnswer(Closed):
    """`trialkit county`: what is set."""

    file: Annotated[str | None, "Path of county.toml; None where there is none."]
    county: Annotated[County | None, "What it says."]
    publication: Annotated[Origin, "What data packages of its trials tell alike."]


def find_county(folder: Path) -> Path | None:
    """Find the county.toml that counts for a ledger or trial: in its folder, else in the folder that holds it."""
    places = (folder, folder.resolve().parent)
    return next((place / COUNTY_FILE for place in places if (place / COUNTY_FILE).exists()), None)


def read_county(folder: Path) -> CountyBlock | None:
    """Read the county's block that counts for a ledger or trial; None where none is set.

    Raises
    ------
    TrialError
        With every problem in county.toml and in its logo.
    """
    file = find_county(folder)
    if file is None:
        return None
    source = read_source(file.parent, file.name, budget=PROTOCOL)
    if isinstance(source, Problem):
        raise TrialError([source])
    told = parse_county(source.text)
    logo = told.county.logo
    return CountyBlock(file, told.county, None if logo is None else read_logo(file.parent / logo), told.publication)


def parse_county(text: str) -> CountyFile:
    """Read the text of a county.toml; raises as `read_county`."""
    try:
        data = toml_data(text)
    except OverBudget as over:
        raise TrialError([too_large(COUNTY_FILE, over)]) from over
    except ValueError as error:
        raise TrialError(problems_of_toml(COUNTY_FILE, error)) from error
    try:
        return CountyFile.model_validate(data)
    except ValidationError as error:
        raise TrialError(problems_of_validation(COUNTY_FILE, text, error, CountyFile)) from error


def read_logo(path: Path) -> bytes:
    """Read a logo and see that it is a picture that pages can carry.

    Raises
    ------
    TrialError
        With every problem that it has.
    """
    data = read_bytes(path.parent, path.name)
    problems = [data] if isinstance(data, Problem) else list(logo_problems(path.name, data))
    if isinstance(data, Problem) or problems:
        raise TrialError(problems)
    return data


def changed_county(before: County | None, changes: Mapping[str, str], logo: Path | None) -> tuple[County, bytes | None]:
    """Apply what a call asks for to the block as it was, if there was one; an empty text takes a key away.

    Parameters
    ----------
    before : County or None
    changes : mapping of str to str
        By key.
    logo : Path or None
        PNG file to take as the logo.

    Returns
    -------
    County
    bytes or None
        The logo where there is a new one.

    Raises
    ------
    TrialError
        With every problem of the call, that of the logo included; each is at its option, as no line is written yet.
    """
    kept = {} if before is None else before.model_dump(exclude_defaults=True)
    data: dict[str, Any] = {key: value for key, value in {**kept, **changes}.items() if value != "" or key == "name"}
    problems: list[Problem] = []
    picture = None
    if logo is not None:
        data["logo"] = LOGO_FILE
        try:
            picture = read_logo(logo)
        except TrialError as error:
            problems += (replace(one, column="--logo") for one in error.problems)
    try:
        county = CountyFile.model_validate({"county": data}).county
    except ValidationError as error:
        found = problems_of_validation(COUNTY_FILE, "", error, CountyFile)
        problems += (replace(one, row=None, column=f"--{str(one.column).rpartition('.')[2]}") for one in found)
    if problems:
        raise TrialError(problems)
    return county, picture


def changed_origin(before: Origin, changes: Mapping[str, str], people: str | None) -> Origin:
    """Apply what a call asks for to what data packages of the county tell alike; an empty text takes a key away.

    Parameters
    ----------
    before : Origin
    changes : mapping of str to str
        By key.
    people : str or None
        List of all people, where they are others.

    Raises
    ------
    TrialError
        With every problem of the call, each at its option.
    """
    data: dict[str, Any] = {**before.model_dump(exclude_defaults=True), **changes}
    if people is not None:
        data["people"], problems = people_in(people)
        if errors := [one for one in problems if one.severity == "error"]:
            raise TrialError(errors)
    try:
        return Origin.model_validate({key: value for key, value in data.items() if value not in ("", [])})
    except ValidationError as error:
        found = problems_of_validation(COUNTY_FILE, "", error, Origin)
        raise TrialError([replace(one, row=None, column=option_of(str(one.column))) for one in found]) from error


def option_of(key: str) -> str:
    """Name the option that sets a key.

    Examples
    --------
    >>> option_of("licence_holder"), option_of("people.1.orcid")
    ('--licence-holder', '--people')
    """
    return f"--{key.partition('.')[0].partition('[')[0].replace('_', '-')}"


def county_text(county: County, publication: Origin | None = None) -> str:
    """Write a county's block as a commented county.toml that reads back as the same."""
    return "\n".join([*_lines(county), *_publication_lines(publication or Origin())]) + "\n"


def _lines(county: County) -> Iterator[str]:
    yield "# The county that the handout names, for the trials and the ledger in this folder."
    yield "# trialkit county changes it."
    yield ""
    yield "[county]"
    for key, remark in field_descriptions(County).items():
        value = getattr(county, key)
        yield f"# {remark}"
        yield f"{key} = {toml_value(value)}" if value else f"# {key} ="


def _publication_lines(publication: Origin) -> Iterator[str]:
    """What is the same in every data package."""
    yield ""
    yield "# What trialkit pack tells of every trial here, where its own trial.toml says nothing under [publication]."
    yield "[publication]"
    remarks = field_descriptions(Origin)
    for key in Origin.model_fields:
        value = getattr(publication, key)
        if key != "people":
            yield f"# {remarks[key]}"
            yield f"{key} = {toml_value(value)}" if value else f"# {key} ="
    yield f"# {remarks['people']} Begin each with [[publication.people]]; the keys are those of trial.toml."
    for person in publication.people:
        yield "[[publication.people]]"
        yield from (f"{key} = {written(value)}" for key, value in person.model_dump(exclude_defaults=True).items())
