"""What a published trial tells of itself: who, where, when, under which licence (``[publication]`` in trial.toml).

What is the same for all trials of a county stands once, under the same keys, in county.toml.
"""

from datetime import date
from typing import Annotated, Literal

from pydantic import Field, StringConstraints

from trialkit.protocol.sections import Line, Name, Section

Licence = Literal["CC-BY-4.0", "CC0-1.0"]
Role = Literal["author", "contact", "data collector", "data manager", "project leader", "researcher", "supervisor"]
MOST_PEOPLE = 50
Orcid = Annotated[str, StringConstraints(pattern=r"^(\d{4}-){3}\d{3}[\dX]$")]
Country = Annotated[str, StringConstraints(pattern=r"^[A-Z]{2}$")]
Version = Annotated[str, StringConstraints(pattern=r"^\d+\.\d+\.\d+$")]


class Person(Section):
    """Somebody who had a part in the trial, or an organisation that had."""

    name: Annotated[Name, "As it is to be cited."]
    roles: Annotated[
        Annotated[tuple[Role, ...], Field(min_length=1, max_length=7, strict=False)],
        "What they did; authors are cited.",
    ]
    orcid: Annotated[Orcid | None, "ORCID iD: four groups of four figures."] = None
    affiliation: Annotated[Line, "Where they work."] = ""
    organisation: Annotated[bool, "Whether it is an organisation, not a person."] = False


class Origin(Section):
    """What the data packages of a county tell alike of their origin; a key that trial.toml has goes first."""

    people: Annotated[
        Annotated[tuple[Person, ...], Field(max_length=MOST_PEOPLE, strict=False)], "Who had a part in it."
    ] = ()
    publisher: Annotated[Line, "Who makes the data public."] = ""
    licence: Annotated[Licence | None, "Under which others may use the data."] = None
    licence_holder: Annotated[Line, "Whose the data are."] = ""
    country: Annotated[Country | None, "Where the gardens are: the two letters of ISO 3166-1, such as US."] = None


class Publication(Origin):
    """What a data package tells of its origin; `trialkit pack --check` names what standards ask for and is missing."""

    version: Annotated[Version, "Of the data package."] = "1.0.0"
    published_on: Annotated[
        Annotated[date, Field(ge=date(2000, 1, 1), le=date(2100, 12, 31))] | None, "Day of its publication."
    ] = None
    facility: Annotated[Line, "What the plants grew in, as somebody who was not there has to know it."] = ""

    def completed(self, county: Origin) -> "Publication":
        """Take from the county what the trial is silent about."""
        silent = [key for key in Origin.model_fields if not getattr(self, key)]
        return self.model_copy(update={key: getattr(county, key) for key in silent})


def is_orcid(text: str) -> bool:
    """Tell whether the last figure of an ORCID iD is the check on the others (ISO 7064, MOD 11-2).

    Examples
    --------
    >>> is_orcid("0000-0002-1825-0097"), is_orcid("0000-0002-1825-0098")
    (True, False)
    """
    total = 0
    figures = text.replace("-", "")
    for figure in figures[:-1]:
        total = (total + int(figure)) * 2
    return "0123456789X"[(12 - total % 11) % 11] == figures[-1]
