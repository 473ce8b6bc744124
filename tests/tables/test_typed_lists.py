"""Lists of gardens and products as people type and copy them."""

from __future__ import annotations

import pytest

from trialkit.tables.table_schema import load_schema
from trialkit.tables.typed_lists import read_list
from trialkit.words.problem_words import told_problem

SITES, PRODUCTS = load_schema("sites"), load_schema("products")


@pytest.mark.parametrize(
    ("text", "rows"),
    [
        ("FERN\nMILL\n", [{"site": "FERN"}, {"site": "MILL"}]),
        ("\n FERN \r\n\r\nSt. Mary's\n", [{"site": "FERN"}, {"site": "St Marys", "name": "St. Mary's"}]),
        ("FERN\tSpanish\nMILL\tinglés\n", [{"site": "FERN", "language": "es"}, {"site": "MILL", "language": "en"}]),
        ("Garden,Language\nFERN,ESPAÑOL\nMILL\n", [{"site": "FERN", "language": "es"}, {"site": "MILL"}]),
        ("Alkalinity (mg/L)\tSite\n180\tFERN\n", [{"site": "FERN", "alkalinity_mg_l_caco3": 180.0}]),
        ("Alcalinidad (mg/L);Huerto\n180;FERN\n", [{"site": "FERN", "alkalinity_mg_l_caco3": 180.0}]),
        ("name\nOak Lane\n", [{"site": "Oak Lane", "name": "Oak Lane"}]),
        ('Site,Note\nFERN,"=1+1, so"\n', [{"site": "FERN", "note": "=1+1, so"}]),
    ],
)
def test_what_is_understood(text: str, rows: list[dict[str, object]]) -> None:
    """With or without headings, in any language, whatever stands between cells."""
    found = read_list(SITES, text)
    assert [one for one in found.problems if one.severity == "error"] == []
    frame = found.reading.frame
    told = [{k: v for k, v in row.items() if v == v and v != ""} for row in frame.to_dict("records")]
    assert told == rows


@pytest.mark.parametrize(
    ("text", "faults"),
    [
        ("", [("TK-F08", None, None)]),
        ("FERN\nMILL\nFERN\n", [("TK-K01", 3, "site")]),
        ("FERN,x\n", [("TK-C02", 1, None)]),
        ("Site,Alkalinty,Sun\nFERN,3,\n", [("TK-C02", 1, "Alkalinty")]),
        ("Site\tHours of sun\nFERN\t99\nMILL\tmany\n", [("TK-V10", 2, "sun_hours"), ("TK-V02", 3, "sun_hours")]),
        ("Site,Site\nA,B\n", [("TK-C03", 1, "site")]),
        ("Site\nFERN,extra\n", [("TK-F09", 2, None)]),
        ('Site\n"FERN\n', [("TK-F06", None, None)]),
        ("Site,Language\nFERN,Klingon\n", [("TK-V11", 2, "language")]),
    ],
)
def test_faults_stand_beside_their_line(text: str, faults: list[tuple[str, int | None, str | None]]) -> None:
    """Each with what to do."""
    found = [one for one in read_list(SITES, text).problems if one.severity == "error"]
    assert [(one.rule, one.row, one.column) for one in found] == faults
    assert all(told_problem(one).how_to_fix for one in found)


def test_listed_words_of_products_in_any_language() -> None:
    """Kinds and acids as people write them."""
    found = read_list(PRODUCTS, "Product\tKind\tAcid\nwhite vinegar\tÁcido\tAcetic\n")
    assert found.problems == ()
    assert found.reading.frame.iloc[0][["kind", "acid"]].tolist() == ["acid", "acetic"]
