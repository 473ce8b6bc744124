"""The desk in a real browser: pages of strangers can do nothing, and every page serves every reader."""

from __future__ import annotations

import shutil
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, HTTPServer
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest

from chromium import UNFOLD, complaints, serves_every_reader
from commands import run
from desk_server import served
from trialkit.protocol.starting import example_folder


@pytest.fixture(scope="module")
def open_desk(tmp_path_factory: pytest.TempPathFactory, browser: Any) -> Iterator[tuple[Path, str, Any]]:
    """A desk with a trial that is analysed, in a ledger and with a handout: its folder, its link and a page of it."""
    folder = tmp_path_factory.mktemp("desk")
    shutil.copytree(example_folder("volunteer_cultivars"), folder / "summer")
    for words in (
        ("analyse", folder / "summer"),
        ("report", folder / "summer"),
        ("evidence", "add", folder / "summer", "--ledger", folder / "ledger"),
        ("evidence", "pool", "--ledger", folder / "ledger"),
    ):
        assert run(*words).returncode == 0
    with served(folder) as (_, link):
        context = browser.new_context()
        page = context.new_page()
        page.goto(link)
        yield folder, link, page
        context.close()


ATTACKS = """<!DOCTYPE html><title>stranger</title>
<iframe src="{base}/"></iframe>
<form id="f" method="post" action="{base}/trial/summer/layout" target="out"><input name="token" value="0"></form>
<iframe name="out"></iframe>
<img src="{base}/desk.css"><script src="{base}/desk.js"></script>
<script>
document.getElementById("f").submit();
fetch("{base}/close", {{method: "POST", mode: "no-cors", credentials: "include", body: "token=0"}});
fetch("{base}/", {{credentials: "include"}}).then(a => a.text()).then(t => {{ document.title = "read " + t.length; }})
  .catch(() => {{ document.title = "kept out"; }});
</script>"""


def test_a_page_of_a_stranger_can_do_nothing(open_desk: tuple[Path, str, Any]) -> None:
    """Open in the same browser, on the same machine at another port, which the cookie's rules call the same site."""
    folder, link, page = open_desk
    base = link.partition("/open")[0]

    class Stranger(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(200)
            self.send_header("Content-Type", "text/html")
            self.end_headers()
            self.wfile.write(ATTACKS.format(base=base).encode())

        def log_message(self, *_: object) -> None:
            pass

    server = HTTPServer(("127.0.0.1", 0), Stranger)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    try:
        stranger = page.context.new_page()
        stranger.goto(f"http://127.0.0.1:{server.server_port}/")
        stranger.wait_for_function("document.title !== 'stranger'")
        assert stranger.title() == "kept out"
        assert all("trials" not in (frame.title() or "").lower() for frame in stranger.frames[1:])
        stranger.close()
    finally:
        server.shutdown()
        server.server_close()
    page.goto(f"{base}/")  # still open: nobody closed it
    assert "Six lettuce cultivars" in page.inner_text("main")
    assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()} == before


FORGED = """<!DOCTYPE html>
<html><head><meta charset="utf-8"><meta name="generator" content="trialkit report"><title>forged</title>
<meta http-equiv="Content-Security-Policy" content="script-src 'unsafe-inline'"></head>
<body onload="document.title = 'ran'">
<form id="f" method="post" action="/county/"><input name="token" value="0"><input name="name" value="Evil"></form>
<iframe src="/"></iframe><img src="/desk.css" onerror="document.title = 'ran'"><script src="/desk.js"></script>
<script>
document.title = "ran";
const take = page => fetch("/county/", {method: "POST", body: new URLSearchParams(
  {token: page.match(/name="token" value="(\\w+)"/)[1], name: "Evil"})}).then(() => { document.title = "taken over"; });
fetch("/").then(answer => answer.text()).then(take);
setTimeout(() => document.getElementById("f").submit(), 200);
setTimeout(() => { top.location = "/words/"; }, 500);
</script></body></html>"""
TRIED = """async () => {
  const told = [origin];
  await fetch("/").then(() => told.push("read"), () => told.push("kept out"));
  try { document.cookie; told.push("cookie"); } catch (kept) { told.push("no cookie"); }
  try { localStorage.length; told.push("stored"); } catch (kept) { told.push("nothing kept"); }
  document.getElementById("f").submit();
  await new Promise(soon => setTimeout(soon, 500));
  return told;
}"""
"""What a script would try, were one to run: the browser's tools ask it of the page."""


def test_a_page_that_only_says_it_is_ours_can_do_nothing(open_desk: tuple[Path, str, Any]) -> None:
    """Anybody can write the mark of our pages: by itself or within a page of the desk, it reads and sends nothing."""
    folder, link, page = open_desk
    base = link.partition("/open")[0]
    report = folder / "summer" / "results" / "report.html"
    before = report.read_bytes()
    report.write_text(FORGED, "utf-8")
    try:
        page.goto(f"{base}/trial/summer/file/results/report.html")
        page.wait_for_timeout(1500)  # for what it should not do
        assert (page.title(), page.url) == ("forged", f"{base}/trial/summer/file/results/report.html")
        assert page.evaluate(TRIED) == ["null", "kept out", "no cookie", "nothing kept"]
        assert page.url == f"{base}/trial/summer/file/results/report.html"
        page.goto(f"{base}/trial/summer/answer/")
        shown = page.locator("figure.preview iframe")
        shown.scroll_into_view_if_needed()
        assert shown.element_handle().content_frame().title() == "forged"
        page.wait_for_timeout(1500)
        assert page.url == f"{base}/trial/summer/answer/"
    finally:
        report.write_bytes(before)
    assert not (folder / "county.toml").exists()


def test_published_pages_work_as_they_are(open_desk: tuple[Path, str, Any]) -> None:
    """Trusted with nothing, they still sort tables and switch measures; no rule of the policy is in their way."""
    folder, link, page = open_desk
    base = link.partition("/open")[0]
    for words in (
        ("check", folder / "summer", "--html"),
        ("forms", folder / "summer"),
        ("recommend", folder / "ledger"),
    ):
        assert run(*words).returncode == 0
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.goto(f"{base}/trial/summer/file/results/report.html")
    page.evaluate(UNFOLD)
    head = page.locator("th", has=page.get_by_role("button")).first
    head.get_by_role("button").click()
    assert head.get_attribute("aria-sort") == "ascending"
    switches = page.locator("input[type=radio]")
    shown = page.inner_text("main")
    switches.last.check()
    assert page.inner_text("main") != shown
    for path in ("results/check", "forms/adviser"):
        page.goto(f"{base}/trial/summer/file/{path}.html")
        assert page.inner_text("body").strip()
    phone = next((folder / "summer" / "forms").glob("phone-*.html")).name
    page.goto(f"{base}/trial/summer/file/forms/{phone}")
    assert page.locator("[data-do=save]").first.is_visible()
    assert said == []
    for name in ("handout-a4.pdf", "care-a4.pdf") if find_spec("weasyprint") else ():
        sent = page.request.get(f"{base}/ledger/file/{name}").headers
        assert (sent["content-type"], sent["x-content-type-options"]) == ("application/pdf", "nosniff")
        assert "sandbox" not in sent["content-security-policy"]


PAGES = (
    "/", "/trial/summer/", "/trial/summer/answer/", "/ledger/", "/county/", "/words/", "/nothing", "/new/",
    "/trial/summer/settings/", "/trial/summer/list/sites/", "/trial/summer/sizes/", "/trial/summer/mail/",
)  # fmt: skip


@pytest.mark.parametrize("path", PAGES)
def test_every_page_serves_every_reader(open_desk: tuple[Path, str, Any], path: str) -> None:
    """Axe, in light and dark, at a desk and on a phone; nothing is wider than the screen."""
    _, link, page = open_desk
    base = link.partition("/open")[0]
    serves_every_reader(page, base + path)


def test_a_term_is_explained_by_keyboard(open_desk: tuple[Path, str, Any]) -> None:
    """Tab to it, Enter opens its meaning, Escape closes it: without a script."""
    _, link, page = open_desk
    page.goto(link.partition("/open")[0] + "/trial/summer/answer/")
    term = page.locator("button.term").first
    term.focus()
    page.keyboard.press("Enter")
    meaning = page.locator("aside.meaning:popover-open")
    assert meaning.is_visible()
    page.keyboard.press("Escape")
    assert page.locator("aside.meaning:popover-open").count() == 0


def test_long_work_shows_how_far_it_is_and_can_be_stopped(open_desk: tuple[Path, str, Any]) -> None:
    """With the script the page goes on by itself; stopped, it says that nothing is half-written."""
    folder, link, page = open_desk
    page.goto(link.partition("/open")[0] + "/trial/summer/answer/")
    page.get_by_role("button", name="Pack it").click()
    page.wait_for_url("**/trial/summer/answer/", timeout=60_000)
    assert page.locator("a", has_text=".zip").count() == 1
    before = (folder / "summer" / "results" / "results.json").read_bytes()
    page.get_by_role("button", name="Work it out again").click()
    page.get_by_role("button", name="Stop it").click()
    assert "No file is left half-written" in page.inner_text("main")
    assert (folder / "summer" / "results" / "results.json").read_bytes() == before


def test_what_is_typed_outlasts_the_browser(open_desk: tuple[Path, str, Any]) -> None:
    """No button was pressed: it is offered when the desk is opened again, and thrown away by a button."""
    _, link, page = open_desk
    someone = page.context.browser.new_context()
    typing = someone.new_page()
    typing.goto(link)
    typing.goto(link.partition("/open")[0] + "/new/")
    typing.get_by_label("What should the trial find out?").fill("Which acid, then?")
    with typing.expect_response("**/new/keep") as kept:
        typing.get_by_label("Acids to try").fill("none\nmalt vinegar")
    assert kept.value.status == 204
    someone.close()
    page.goto(link)
    assert complaints(page) == []
    page.get_by_role("link", name="Go on with it : Which acid, then?").click()
    assert page.get_by_label("Acids to try").input_value() == "none\nmalt vinegar"
    with page.expect_response("**/new/keep"):
        page.get_by_label("Cultivars to try").fill("Fenleaf")
    page.goto(link)
    assert page.get_by_role("link", name="Go on with it").count() == 1
    page.get_by_role("button", name="Throw it away : Which acid, then?").click()
    assert page.get_by_role("link", name="Go on with it").count() == 0


def test_a_trial_is_started_and_its_sizes_answer_as_they_change(open_desk: tuple[Path, str, Any]) -> None:
    """Four pages, each for every reader, a slip among them; then the answer follows the sizes without a button."""
    folder, link, page = open_desk
    page.set_viewport_size({"width": 390, "height": 900})
    page.goto(link.partition("/open")[0] + "/new/")
    go_on = page.locator("main").get_by_role("button", name="Go on")
    go_on.click()
    assert complaints(page) == []
    page.get_by_role("alert").get_by_role("link", name="Write what the trial should find out.").click()
    assert page.evaluate("document.activeElement.id") == "question"
    page.keyboard.type("Which cultivar?")
    page.get_by_label("Cultivars to try").fill("Fenleaf\nPaleheart")
    go_on.click()
    page.get_by_role("group", name="Which cultivar do gardeners grow now?").get_by_label("Fenleaf").check()
    assert complaints(page) == []
    go_on.click()
    page.get_by_role("textbox", name="Gardens").fill("Garden\tLanguage\nFERN\tSpanish\nMILL\t")
    page.get_by_label("Season").fill("spring 2030")
    page.get_by_label("Season").press("Enter")
    assert "FERN" in page.get_by_role("table", name="Gardens as they were understood").inner_text()
    assert complaints(page) == []
    page.get_by_role("button", name="Start the trial").click()
    assert page.url.endswith("/trial/spring-2030/")
    assert (folder / "spring-2030" / "sites.csv").read_text("utf-8").splitlines()[1].startswith("FERN")
    page.get_by_role("link", name="Try other sizes").click()
    answer = page.locator("#answer")
    assert "It takes 12 buckets in 2 gardens" in answer.inner_text()
    page.get_by_label("Blocks in each garden").fill("4")
    answer.get_by_text("It takes 16 buckets").wait_for(timeout=30_000)
    answer.get_by_text("is worked out next").wait_for(state="detached", timeout=60_000)
    page.get_by_role("button", name="Keep these sizes").click()
    assert "blocks = 4 " in (folder / "spring-2030" / "trial.toml").read_text("utf-8")
