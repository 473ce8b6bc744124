"""Damaged files through the desk: said as the command says it, or in Spanish; no traceback, nothing written."""

from __future__ import annotations

import html
import io
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from contents import contents
from desk_visitor import Visitor, told, visit
from english_left import english_said, texts_of
from hostile_files import RETURNED
from returned_files import good_return
from trialkit.pages.safe_text import safe_text
from trialkit.returns.merge_files import Turn, look_at_files
from trialkit.words.repair_words import told_finding, what_was_found

from . import damaged_cells, damaged_files
from .catalogue import CATALOGUE, Kind

assert damaged_cells
assert damaged_files
KINDS = [kind for kind in CATALOGUE if not kind.before][::2]
"""Half of them: the page says of each what the command says."""
OF_THE_FILES = ("Autumn dose trial", "hoja heads", "hoja visits", "hoja Sheet5", "tabla heads", "Weight (kg)",
                "bucket en la primera")  # fmt: skip
"""What trial, sheets, tables and columns are called."""
DEAR = ("a shared text of 20 MB in 480 cells", "a thousand million entities", "9.9 MB of open braces")


@pytest.fixture(scope="module")
def visitor(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Visitor]:
    """A desk with two trials that are laid out; one has odd labels."""
    folder = tmp_path_factory.mktemp("damaged") / "desk"
    for odd in (False, True):
        good_return(odd=odd).write_trial(folder / ("odd" if odd else "plain"))
    yield from visit(folder)


def plain(text: str) -> str:
    """A text as it is read: entities resolved, one blank for all white space."""
    return re.sub(r"\s+", " ", html.unescape(text))


def looked_at(visitor: Visitor, trial: str, name: str, data: bytes) -> tuple[str, Path]:
    """Drop a file: the post room as it is read then, and where the file waits."""
    post = f"/trial/{trial}/post/"
    assert visitor.post(f"{post}drop", {"files": [(io.BytesIO(data), name)]}).status_code == 303
    (waiting,) = visitor.desk.tray.files(trial)
    page = visitor.get(post)
    assert page.status_code == 200
    return plain(told(page)), waiting.path


def in_spanish(visitor: Visitor, trial: str, file: str) -> list[str]:
    """What of the post room is English for whoever reads Spanish, but for the sheet's own cells and what is quoted."""
    visitor.client.set_cookie("desk-language", "es", domain="127.0.0.1")
    page = re.sub(
        r"<table>.*?</table>|<select.*?</select>", "", visitor.get(f"/trial/{trial}/post/").text, flags=re.DOTALL
    )
    visitor.client.delete_cookie("desk-language", domain="127.0.0.1")
    assert 'lang="en"' not in page.partition("<main")[2].partition("</main>")[0]
    return english_said(texts_of(page), (file, *OF_THE_FILES))


@pytest.mark.parametrize("kind", KINDS, ids=[kind.name.replace(" ", "-") for kind in KINDS])
def test_it_is_told_as_the_command_tells_it(kind: Kind, visitor: Visitor) -> None:
    """Refusals word by word; each question has a field; what is in order can be merged."""
    trial = "odd" if kind.odd else "plain"
    folder = visitor.desk.workspace.folder / trial
    before = contents(folder)
    page, path = looked_at(visitor, trial, kind.file, kind.make(good_return(odd=kind.odd)))
    (outcome,) = look_at_files(folder, [Turn((path,))])[0].files
    verdicts = {one.verdict for one in outcome.findings}
    for one in outcome.findings[:3]:
        if one.verdict == "refused":
            assert plain(safe_text(what_was_found(told_finding(one, at_desk=True)))) in page
    assert {"repaired": "can be merged", "asked": "waits for your answer", "refused": "cannot be merged"}[
        kind.verdict
    ] in page
    if "question" in verdicts and "refused" not in verdicts:
        assert re.search(r'name="[0-9a-f]{16}\.(option|accept|heading)\.', visitor.get(f"/trial/{trial}/post/").text)
    english = in_spanish(visitor, trial, kind.file)
    visitor.desk.tray.throw_away(trial, path.parent.name)
    assert english == []
    assert contents(folder) == before


@pytest.mark.parametrize("title", DEAR)
def test_what_is_dear_to_read_is_refused(title: str, visitor: Visitor) -> None:
    """By the same budgets."""
    folder = visitor.desk.workspace.folder / "plain"
    before = contents(folder)
    name, make = RETURNED[title]
    page, path = looked_at(visitor, "plain", name, make())
    assert "cannot be merged" in page
    visitor.desk.tray.throw_away("plain", path.parent.name)
    assert contents(folder) == before
