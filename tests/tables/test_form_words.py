"""Words of forms in any language: no heading, word or sheet stands for two things."""

from datetime import date

import pytest

from trialkit.domain.table_names import RECORD_TABLES, TableName
from trialkit.languages import LANGUAGES, gettext, speaking
from trialkit.tables.dates_elsewhere import named_days
from trialkit.tables.form_words import READ_ME_SHEET, sheet_name, values_by_plain_word, values_by_word
from trialkit.tables.headings import headings_anywhere, headings_of, matched
from trialkit.tables.table_schema import load_schema
from trialkit.tables.written_dates import other_weekday, several_readings


@pytest.mark.parametrize("table", RECORD_TABLES)
def test_a_heading_stands_for_one_column(table: TableName) -> None:
    """In whatever language: what it means in one is what it means in all."""
    for language in LANGUAGES:
        for plain, name in headings_of(table, language).items():
            assert headings_anywhere(table)[plain] == name, (language, plain)
        assert set(headings_of(table, language).values()) == set(load_schema(table).columns)


@pytest.mark.parametrize("table", RECORD_TABLES)
def test_a_word_of_a_list_stands_for_one_value(table: TableName) -> None:
    """Also without capitals and accents."""
    for field in load_schema(table).on_forms:
        for language in LANGUAGES:
            with speaking(language):
                assert [values_by_word(field).get(field.said(value)) for value in field.listed] == list(field.listed)
        assert len(values_by_plain_word(field)) == len(values_by_word(field))


@pytest.mark.parametrize("language", LANGUAGES)
def test_sheets_have_names_of_their_own(language: str) -> None:
    """None is named as the instructions are, which are not read."""
    with speaking(language):
        names = [gettext(READ_ME_SHEET), *map(sheet_name, RECORD_TABLES)]
    assert len({name.casefold() for name in names}) == len(names)


def test_english_goes_first() -> None:
    """Other languages are asked only where that is asked for."""
    spanish = ("Balde", "Lechuga", "Peso (g)")
    assert matched(spanish, "heads") == {}
    assert matched(spanish, "heads", anywhere=True) == {0: "bucket", 1: "head", 2: "weight_g"}


@pytest.mark.parametrize(
    "text",
    [
        "17 sep 2026", "17 sept. 2026", "17-sep-26", "17/sep/2026", "17 de septiembre de 2026",
        "17 de Septiembre del 2026", "septiembre 17, 2026", "jue 17 sep 2026", "jueves, 17 de septiembre de 2026",
        "17sep2026",
    ],
)  # fmt: skip
def test_spanish_days(text: str) -> None:
    """As locales of Spanish write them, and as people do; names are those of the Unicode CLDR, by Babel."""
    assert several_readings(text) == (date(2026, 9, 17),)


@pytest.mark.parametrize(
    ("text", "read"),
    [
        ("mar 17 nov 2026", (date(2026, 11, 17),)),  # a Tuesday (martes), as November is named
        ("mar 3 mar 2026", (date(2026, 3, 3),)),
        ("17 mar 2026", (date(2026, 3, 17),)),
        ("mar 18 nov 2026", ()),  # a Wednesday
        ("3 ma 2026", ()),
        ("31 de febrero de 2026", ()),
        ("2026 ene 3", ()),
        ("3 de enero, creo, de 2026", ()),
        ("3 de enero", ()),
    ],
)
def test_a_short_word_is_taken_for_what_the_rest_leaves(text: str, read: tuple[date, ...]) -> None:
    """Month or weekday by what else stands there; what does not fit is no date."""
    assert several_readings(text) == read


def test_a_weekday_that_does_not_fit_is_told() -> None:
    """In English, as it is told to the adviser."""
    assert other_weekday("mar 18 nov 2026") == "Wednesday"
    assert other_weekday("mié 18 nov 2026") is None


def test_a_day_without_a_year_is_known_as_one() -> None:
    """So that it can be said what is missing."""
    assert [(day.day, day.month, day.year) for day in named_days("17 de septiembre")] == [(17, 9, "")]
