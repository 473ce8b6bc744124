"""The post room in a real browser: every page serves every reader; what the script adds."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

import trialkit
from chromium import serves_every_reader
from desk_server import served
from returned_files import Good, good_return

POST, GARDEN = "/trial/fern/post/", "/trial/fern/garden/"


@pytest.fixture(scope="module")
def good() -> Good:
    """What a garden returns."""
    return good_return()


@pytest.fixture(scope="module")
def post_room(tmp_path_factory: pytest.TempPathFactory, browser: Any, good: Good) -> Iterator[tuple[str, Any]]:
    """A desk with a trial: a file is merged, one taken back; others ask, differ or are refused. A garden is gone."""
    folder, mail = tmp_path_factory.mktemp("desk"), tmp_path_factory.mktemp("mail")
    good.write_trial(folder / "fern")
    trial = trialkit.Trial(folder / "fern")
    trial.add_site("POND", why="a teacher asked")
    trial.withdraw_site("POND", why="moved away")
    files = {
        "asks.csv": good.with_column("solution", "measured_on", lambda _: "03/09/26").csv("solution"),
        "asks two.csv": good.csv().replace("note", "Remarks of ours", 1).replace(good.buckets[0], "434X"),
        "differs.csv": good.with_cell("heads", 0, "weight_g", "150").csv(),
        "wrong.csv": good.with_cell("heads", 3, "harvested_on", "31/09/2026").csv(),
    }
    for name, text in files.items():
        (mail / name).write_text(text, "utf-8")
    (mail / "fern.json").write_bytes(good.phone())
    (mail / "old.csv").write_text(good.with_cell("heads", 0, "note", "of before").csv(), "utf-8")
    with served(folder) as (_, link):
        context = browser.new_context(permissions=["clipboard-read", "clipboard-write"])
        page, base = context.new_page(), link.partition("/open")[0]
        page.goto(link)
        page.goto(base + POST)
        for name in ("old.csv", "fern.json"):
            page.set_input_files("#files", mail / name)
            page.get_by_role("button", name="Look at them").click()
            page.get_by_role("button", name="Merge all that is answered").click()
        gone = page.get_by_role("listitem").filter(has_text="old.csv").filter(has_text="Take it back")
        gone.locator("summary").click()
        gone.get_by_label("Reason").fill("of last season")
        gone.get_by_role("button", name="Take it back").click()
        page.get_by_role("heading", name="Taken back").wait_for()
        page.set_input_files("#files", [mail / name for name in files])
        page.get_by_role("button", name="Look at them").click()
        yield base, page
        context.close()


def paths(good: Good) -> tuple[str, ...]:
    """Pages of the post room."""
    bucket = good.buckets[0]
    row = f"{POST}correct/heads/{bucket}/1"
    return (
        POST,
        f"{POST}correct?label={bucket}",
        f"{POST}correct?label=zz",
        row,
        GARDEN,
        f"{GARDEN}FERN/",
        f"{GARDEN}MILL/",
        f"{GARDEN}POND/",
    )


@pytest.mark.parametrize("path", paths(good_return()))
def test_every_page_serves_every_reader(post_room: tuple[str, Any], path: str) -> None:
    """Axe, in light and dark, at a desk and on a phone; nothing is wider than the screen."""
    base, page = post_room
    serves_every_reader(page, base + path)


DROPPED = """text => {
  const carried = new DataTransfer();
  carried.items.add(new File([text], "dropped.csv"));
  const form = document.querySelector("form[data-drop]");
  for (const kind of ["dragover", "drop"])
    form.dispatchEvent(new DragEvent(kind, {bubbles: true, cancelable: true, dataTransfer: carried}));
}"""


def test_a_file_is_dropped_and_thrown_away(post_room: tuple[str, Any], good: Good) -> None:
    """Dropped on the form, it is looked at, as a chosen one is; Enter in a field throws nothing away."""
    base, page = post_room
    page.goto(base + POST)
    with page.expect_navigation():
        page.evaluate(DROPPED, good.csv())
    card = page.locator("article", has_text="dropped.csv")
    card.get_by_text("This file corrects the record").click()
    card.get_by_label("Reason").fill("read again")
    with page.expect_navigation():
        card.get_by_label("Reason").press("Enter")
    assert card.get_by_label("Reason").input_value() == "read again"
    card.get_by_role("button", name="Throw it away").click()
    assert page.locator("article", has_text="dropped.csv").count() == 0


def test_the_message_is_copied(post_room: tuple[str, Any]) -> None:
    """Just as it is shown, its lines included."""
    base, page = post_room
    page.goto(f"{base}{GARDEN}MILL/")
    page.get_by_role("button", name="Copy it").click()
    page.get_by_text("Copied").wait_for()
    text = page.evaluate("navigator.clipboard.readText()")
    assert text.replace("\r\n", "\n") == page.locator("#text").input_value()
    assert text.count("\n") > 3
