"""The PDFs for gardeners against PDF/UA-1 (ISO 14289-1:2014), from memory: each check by its clause, read by pypdf."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable
from io import BytesIO
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from once import value_once
from small_recommended import small_recommended, wordy_recommended
from tagged_pdf import Tag, identities, painted, tags
from trialkit.protocol.county import County, CountyBlock
from trialkit.report.care_page import care_html
from trialkit.report.handout import handout_html
from trialkit.report.handout_pdf import handout_pdf

pypdf = pytest.importorskip("pypdf")
BLOCK = CountyBlock(Path("county.toml"), County(name="Larkmoor County"), None)
PAGES: dict[str, Callable[[], str]] = {
    "handout": lambda: handout_html(small_recommended(), BLOCK),
    "hoja": lambda: handout_html(wordy_recommended(), BLOCK, "es"),
    "large print": lambda: handout_html(small_recommended(), BLOCK, large=True),
    "cuidados": lambda: care_html(small_recommended(), BLOCK, "es"),
}
TITLES = {
    "handout": "Grow lettuce in a bucket",
    "hoja": "Cultive lechuga en un balde",
    "large print": "Grow lettuce in a bucket (large print)",
    "cuidados": "Prepare y cuide un balde de lechuga",
}
TYPES = """
    Document Part Art Sect Div BlockQuote Caption TOC TOCI Index NonStruct Private P H H1 H2 H3 H4 H5 H6 L LI Lbl LBody
    Table TR TH TD THead TBody TFoot Span Quote Note Reference BibEntry Code Link Annot Ruby RB RT RP Warichu WT WP
    Figure Formula Form
"""
STANDARD = frozenset(TYPES.split())
"""Structure types of ISO 32000-1:2008, 14.8.4."""


@pytest.fixture(scope="module", params=PAGES)
def document(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Any:
    """A PDF, read."""
    pytest.importorskip("weasyprint", exc_type=ImportError)
    name = str(request.param)
    data = value_once(tmp_path_factory, f"pdf-ua-{name}", lambda: handout_pdf(PAGES[name](), "letter"))
    read = pypdf.PdfReader(BytesIO(data))
    read.name = name
    return read


def elements(document: Any) -> list[Tag]:
    """All elements of the structure tree."""
    return list(tags(document))


def metadata(document: Any) -> str:
    """The XMP packet."""
    return str(document.root_object["/Metadata"].get_data().decode("utf-8"))


def test_5_it_says_which_version_it_keeps_to(document: Any) -> None:
    """The metadata name part 1."""
    assert re.search(r"""pdfuaid:part(?:="1"|>1<)""", metadata(document))


def test_6_2_it_is_a_tagged_document(document: Any) -> None:
    """Marked, without suspects, with a tree whose root is a document."""
    about = document.root_object["/MarkInfo"]
    assert about["/Marked"] == True  # noqa: E712 -- an object of the file
    assert not about.get("/Suspects", False)
    assert elements(document)[0].kind == "Document"


def test_7_1_all_that_is_painted_is_in_the_tree_or_an_artifact(document: Any) -> None:
    """Nothing is both, nothing is neither; each number stands in the tree once."""
    held = Counter(identities(document))
    assert held
    assert max(held.values()) == 1
    found = set()
    for sheet in document.pages:
        marks = list(painted(document, sheet))
        assert marks
        assert [one for one in marks if (one.identity is None) != one.is_artifact] == []
        found |= {(sheet.indirect_reference.idnum, one.identity) for one in marks if one.identity is not None}
    assert found <= set(held)  # it also holds spaces, which paint nothing


def test_7_1_types_are_standard_or_mapped_to_such(document: Any) -> None:
    """So that a reader knows each; standard ones are not mapped to others."""
    roles = {
        str(key)[1:]: str(value)[1:]
        for key, value in document.root_object["/StructTreeRoot"].get("/RoleMap", {}).items()
    }
    assert {roles.get(tag.kind, tag.kind) for tag in elements(document)} <= STANDARD
    assert not STANDARD & set(roles)


def test_7_1_the_title_is_shown(document: Any) -> None:
    """That of the metadata, in the window's title."""
    title = TITLES[document.name]
    assert document.root_object["/ViewerPreferences"]["/DisplayDocTitle"] == True  # noqa: E712
    assert re.search(rf"<dc:title>.*>{re.escape(title)}<", metadata(document), re.DOTALL)
    assert document.metadata.title == title


def test_7_2_the_language_is_told(document: Any) -> None:
    """Of the whole document: that in which it is written."""
    assert document.root_object["/Lang"] == ("es-US" if document.name in {"hoja", "cuidados"} else "en")


def test_7_3_pictures_are_told_in_words(document: Any) -> None:
    """Each has a text in its place."""
    told = [tag.alternative for tag in elements(document) if tag.kind == "Figure"]
    mark, spoons, drawing = {
        "handout": ("A lettuce in a bucket", "8 level teaspoons of Blend L 9-12-30 (40 g)", "A bucket cut open."),
        "hoja": (
            "Una lechuga en un balde",
            "7 cucharaditas rasas de Blend L 9-12-30 (35 g)",
            "Un balde visto por dentro.",
        ),
        "large print": ("A lettuce in a bucket", "8 level teaspoons of Blend L 9-12-30 (40 g)", "A bucket cut open."),
        "cuidados": ("", "", "Un balde visto por dentro."),
    }[document.name]
    assert told[:-1] == [text for text in (mark, spoons) if text]
    assert told[-1].startswith(drawing)


def test_7_4_headings_go_down_by_single_steps(document: Any) -> None:
    """From one of the first level."""
    levels = [int(tag.kind[1]) for tag in elements(document) if re.fullmatch(r"H\d", tag.kind)]
    assert levels.count(1) == 1
    assert levels[0] == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))


def test_7_5_cells_say_what_heads_them(document: Any) -> None:
    """Each names the headings of its column and its row, which are in the index of elements."""
    cells = [tag for tag in elements(document) if tag.kind == "TD"]
    assert bool(cells) == (document.name != "cuidados")
    headings = {str(tag.entries["/ID"]) for tag in elements(document) if tag.kind == "TH"}
    index = document.root_object["/StructTreeRoot"].get("/IDTree", {}).get("/Names", [])
    assert headings == set(map(str, index[::2]))
    assert list(map(str, index[::2])) == sorted(headings)
    for tag in cells:
        assert len(tag.attributes["/Headers"]) == 2
        assert {str(name) for name in tag.attributes["/Headers"]} <= headings


def test_7_6_lists_are_lists(document: Any) -> None:
    """Items stand in lists, with a label and a body."""
    above: list[str] = []
    kinds = Counter()
    for tag in elements(document):
        del above[tag.depth :]
        if tag.kind in {"LI", "Lbl", "LBody"}:
            assert above[-1] == ("L" if tag.kind == "LI" else "LI")
        kinds[tag.kind] += 1
        above.append(tag.kind)
    assert kinds["LI"] == kinds["LBody"] > 5


def test_7_8_numbers_of_pages_are_not_read_aloud(document: Any) -> None:
    """They are artifacts of pagination; large print alone has them."""
    texts = [sheet.get_contents().get_data() for sheet in document.pages]
    assert all((b"/Pagination" in text) == (document.name == "large print") for text in texts)


def test_7_16_a_reader_may_take_the_text(document: Any) -> None:
    """It is not encrypted."""
    assert not document.is_encrypted


def test_7_18_there_is_nothing_to_click(document: Any) -> None:
    """No annotations, which would need an order of tabs and words of their own."""
    assert not any(sheet.get("/Annots") for sheet in document.pages)


def test_7_21_letters_have_their_shapes_and_meanings_with_them(document: Any) -> None:
    """Every font is embedded, and tells which letters it shows."""
    fonts = [font.get_object() for sheet in document.pages for font in sheet["/Resources"].get("/Font", {}).values()]
    assert fonts
    for font in fonts:
        assert "/ToUnicode" in font
        about = font.get("/DescendantFonts", [font])[0].get_object()["/FontDescriptor"]
        assert {"/FontFile", "/FontFile2", "/FontFile3"} & set(about)
