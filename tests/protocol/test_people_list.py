"""Who had a part in a trial, as a list that somebody types."""

from __future__ import annotations

import pytest

from trialkit.languages import LANGUAGES, speaking
from trialkit.protocol.people_list import people_in, people_list
from trialkit.protocol.publication import Person
from trialkit.tables.table_schema import load_schema

PEOPLE = [
    {
        "name": "Fern, A.",
        "roles": ["author", "data collector"],
        "orcid": "0000-0002-1825-0097",
        "affiliation": "The mill",
    },
    {"name": "Desk of Larkmoor", "roles": ["contact"], "organisation": True},
]


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("people", [PEOPLE, PEOPLE[1:], []])
def test_what_is_written_reads_back(language: str, people: list[dict[str, object]]) -> None:
    """In the words of any language, whatever language it is read in."""
    with speaking(language):
        text = "\n".join("\t".join(cells) for cells in people_list(people))
    assert people_in(text) == (people, ())


def test_a_spanish_list_says_roles_in_spanish() -> None:
    """Headings, roles and the yes of an organisation."""
    with speaking("es"):
        headings, _, desk = people_list(PEOPLE)
    assert headings == ["Nombre", "Funciones", "Número ORCID", "Institución", "Organización"]
    assert desk == ["Desk of Larkmoor", "contacto", "", "", "sí"]


def test_what_cannot_be_read_is_told() -> None:
    """A row without a name, a column that is none."""
    found = people_in("name,roles,shoe size\n,author,44\n")[1]
    assert {(one.rule, one.row) for one in found} == {("TK-C02", 1), ("TK-V01", 2)}


def test_columns_are_the_keys_of_a_person() -> None:
    """The list has just what trial.toml takes, and asks for what that needs."""
    fields = load_schema("people").fields
    assert [field.name for field in fields] == list(Person.model_fields)
    needed = {name for name, field in Person.model_fields.items() if field.is_required()}
    assert {field.name for field in fields if field.required} == needed
