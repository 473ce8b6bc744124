"""The phone form in real Chromium: nothing entered is lost or mixed up, and what is handed back is what was typed."""

import json
import os
import shutil
import signal
import subprocess
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from chromium import ARGUMENTS, CHROMIUM, MODES, complaints
from commands import run
from laid_out_trial import laid_out
from phone_page import PHONE, first_bucket, go, opened, saved, written
from trialkit.rules.trial_folder import CheckedTrial

HEAD = {
    "transplanted_on": "2026-08-20", "outcome": "harvested", "harvested_on": "2026-09-29",
    "last_not_ready_on": "2026-09-26", "weight_g": "152.5", "marketable": "yes", "note": "slug on a leaf",
}  # fmt: skip
NO_STORAGE = (
    "Object.defineProperty(window, 'localStorage', {get() { throw new DOMException('denied', 'SecurityError'); }});"
)


@pytest.fixture(scope="module")
def trial(tmp_path_factory: pytest.TempPathFactory) -> CheckedTrial:
    """A trial before its season; not to be changed."""
    return laid_out(tmp_path_factory.mktemp("phone") / "trial")


@pytest.fixture(scope="module")
def form(trial: CheckedTrial) -> Path:
    """The form of the garden Fernsedge as a file."""
    return written(trial, "FERN", trial.folder.parent / "phone-FERN.html")


@pytest.fixture(scope="module")
def handed_back(browser: Any, form: Path, trial: CheckedTrial) -> Path:
    """The file of a form in which one head was filled in."""
    page = opened(browser, form)
    go(page, first_bucket(trial))
    fill_head(page)
    path: Path = saved(page, form.parent)["path"]
    page.context.close()
    return path


@pytest.fixture
def page(browser: Any, form: Path) -> Iterator[Any]:
    """The form of the garden Fernsedge, opened as on a phone that has not met it before."""
    page = opened(browser, form)
    yield page
    page.context.close()


@pytest.fixture(scope="module")
def bucket(trial: CheckedTrial) -> str:
    """The first bucket of that garden."""
    return first_bucket(trial)


def fill_head(page: Any, head: int = 1, **changed: str) -> None:
    """Fill one head in."""
    for name, value in (HEAD | changed).items():
        one = page.locator(f"#head{head}-{name}")
        if one.evaluate("e => e.tagName") == "SELECT":
            one.select_option(value)
        else:
            one.fill(value)


def test_what_is_saved_is_what_was_typed(page: Any, bucket: str, tmp_path: Path) -> None:
    """Marks, values and a check sum that zlib computes alike; decimals with a comma become a point."""
    go(page, bucket)
    fill_head(page, weight_g="152,5")
    page.click("[data-do=add-solution]")
    page.fill("#solution0-measured_on", "2026-08-20")
    page.fill("#solution0-nutrient_tsp", "4")
    page.click("[data-do=add-visit]")
    page.fill("#visit0-visited_on", "2026-08-25")
    page.fill("#by", "AB")
    record = saved(page, tmp_path)
    assert record["tables"] == {
        "heads": [{"bucket": bucket, "head": "1"} | HEAD],
        "solution": [{"bucket": bucket, "measured_on": "2026-08-20", "nutrient_tsp": "4"}],
        "visits": [{"site": "FERN", "visited_on": "2026-08-25"}],
    }
    compact = json.dumps(record["tables"], ensure_ascii=False, separators=(",", ":"))
    assert record["check"] == f"{zlib.crc32(compact.encode('utf-8')):08x}"
    assert (record["format"], record["site"], record["by"]) == ("trialkit-phone-1", "FERN", "AB")
    assert "Everything is saved" in page.inner_text("#state") or "File saved" in page.inner_text("#state")


def test_nothing_entered_is_lost_when_the_browser_is_killed(
    playwright: Any, form: Path, trial: CheckedTrial, tmp_path: Path
) -> None:
    """Typed, the browser's processes killed outright, opened again: every value is there, and counted as not saved."""
    bucket, profile = first_bucket(trial), tmp_path / "profile"

    def launch() -> Any:
        return playwright.chromium.launch_persistent_context(
            str(profile), executable_path=str(CHROMIUM), args=list(ARGUMENTS), **PHONE
        )

    context = launch()
    page = context.new_page()
    page.goto(form.as_uri())
    go(page, bucket)
    fill_head(page)
    for _ in range(300):  # Chromium writes local storage to disk every five seconds, later on a busy machine
        page.wait_for_timeout(200)
        if any(HEAD["note"].encode() in file.read_bytes() for file in profile.rglob("Local Storage/leveldb/*.log")):
            break
    processes = subprocess.run(
        ["pgrep", "-f", str(profile)], capture_output=True, text=True, check=False
    ).stdout.split()
    assert processes
    for process in processes:
        os.kill(int(process), signal.SIGKILL)
    context = launch()
    page = context.new_page()
    page.goto(form.as_uri())
    go(page, bucket)
    assert {name: page.locator(f"#head1-{name}").input_value() for name in HEAD} == HEAD
    assert "7 entries not yet saved" in page.inner_text("#state")
    context.close()


def test_a_phone_that_keeps_nothing_says_so_at_once(
    browser: Any, form: Path, trial: CheckedTrial, tmp_path: Path
) -> None:
    """Storage that throws: a banner before anything is typed, and the file still has everything."""
    context = browser.new_context(offline=True, accept_downloads=True, **PHONE)
    context.add_init_script(NO_STORAGE)
    page = context.new_page()
    page.goto(form.as_uri())
    assert "cannot keep what you type" in page.inner_text("#banners")
    go(page, first_bucket(trial))
    fill_head(page)
    assert saved(page, tmp_path)["tables"]["heads"][0]["weight_g"] == "152.5"
    context.close()


def test_two_trials_and_two_gardens_on_one_phone_do_not_mix(browser: Any, trial: CheckedTrial, tmp_path: Path) -> None:
    """Files share one storage in Chromium: each form sees only what was typed into it, another layout's none."""
    other = laid_out(tmp_path / "other", title="Another trial")
    protocol = (other.folder / "trial.toml").read_text("utf-8")
    (other.folder / "trial.toml").write_text(protocol.replace("[trial]", '[trial]\nid = "other"'), "utf-8")
    from trialkit.rules.trial_folder import read_trial

    other = read_trial(other.folder, stage="layout")
    forms = {
        "fern": written(trial, "FERN", tmp_path / "a.html"),
        "mill": written(trial, "MILL", tmp_path / "b.html"),
        "other": written(other, "FERN", tmp_path / "c.html"),
    }
    page = opened(browser, forms["fern"])
    go(page, first_bucket(trial))
    fill_head(page)
    for name in ("mill", "other"):
        page.goto(forms[name].as_uri())
        assert page.inner_text("#state") == "Nothing entered yet"
    page.goto(forms["fern"].as_uri())
    assert "7 entries" in page.inner_text("#state")
    page.context.close()


def test_messages_beside_the_field(page: Any, bucket: str, tmp_path: Path) -> None:
    """Out of range, no number, and rules between fields are told as one types; the wrong value is kept and exported."""
    go(page, bucket)
    for typed, words in (("15200", "Too large: expected 1 to 2000"), ("152 g", "not a number"), ("0", "Too small")):
        page.fill("#head1-weight_g", typed)
        assert words in page.inner_text("#head1-weight_g-error")
        assert page.get_attribute("#head1-weight_g", "aria-invalid") == "true"
    page.select_option("#head1-outcome", "dead")
    page.fill("#head1-weight_g", "120")
    assert "not cut" in page.inner_text("#head1-weight_g-error")
    page.select_option("#head1-outcome", "harvested")
    assert page.inner_text("#head1-weight_g-error") == ""
    assert "Needed" in page.inner_text("#head1-harvested_on-error")
    page.fill("#head1-transplanted_on", "2026-08-20")
    page.fill("#head1-harvested_on", "2026-08-01")
    assert "before the day of transplanting" in page.inner_text("#head1-harvested_on-error")
    page.fill("#head1-weight_g", "15200")
    record = saved(page, tmp_path)
    assert record["tables"]["heads"][0]["weight_g"] == "15200"
    assert "marked to look at" in page.inner_text("#state")


def test_a_label_misread(page: Any, bucket: str) -> None:
    """No bucket is opened, and the nearest identity is offered."""
    go(page, bucket[:-1] + ("X" if bucket[-1] != "X" else "Y"))
    assert "Is it " in page.inner_text("#jump-error")
    assert page.locator("#bucket").is_hidden()


def test_text_is_the_file(page: Any, bucket: str, tmp_path: Path) -> None:
    """What is copied holds the same record as what is saved."""
    go(page, bucket)
    fill_head(page)
    page.click("#handing-back [data-do=copy]")
    text = json.loads(page.input_value("#copied-text"))
    record = saved(page, tmp_path)
    assert (text["tables"], text["check"]) == (record["tables"], record["check"])


def test_going_on_from_a_file(page: Any, bucket: str, handed_back: Path) -> None:
    """On another phone the file fills in what is empty; a value that differs is asked about, not overwritten."""
    go(page, bucket)
    page.fill("#head1-weight_g", "99")
    page.set_input_files("#open", handed_back)
    page.wait_for_selector("#conflicts .banner")
    assert "here 99, in the file 152.5" in page.inner_text("#conflicts")
    assert page.input_value("#head1-weight_g") == "99"
    assert page.input_value("#head1-note") == "slug on a leaf"
    page.click("#conflicts button:has-text('Take the file')")
    assert page.input_value("#head1-weight_g") == "152.5"


@pytest.mark.parametrize("spoil", [lambda t: t[:-40], lambda t: t.replace("152.5", "999"), lambda _: "hello"])
def test_a_damaged_file_is_not_opened(page: Any, bucket: str, handed_back: Path, tmp_path: Path, spoil: Any) -> None:
    """Cut off or changed on its way: nothing is taken from it."""
    path = tmp_path / handed_back.name
    path.write_text(spoil(handed_back.read_text("utf-8")), "utf-8")
    page.set_input_files("#open", path)
    page.locator("#state", has_text="cannot be read").wait_for()
    go(page, bucket)
    assert page.input_value("#head1-weight_g") == ""


def test_what_was_damaged_is_rescued(page: Any, tmp_path: Path) -> None:
    """What cannot be read is offered as it is, and the form works on."""
    page.evaluate(
        """() => { const f = JSON.parse(document.getElementById('data').textContent);
        localStorage.setItem(['trialkit', f.trial, f.form, f.layout, f.site].join(':'), '{"heads": 7'); }"""
    )
    page.reload()
    assert "damaged" in page.inner_text("#banners")
    with page.expect_download() as download:
        page.click("#banners button")
    download.value.save_as(tmp_path / "kept.txt")
    assert (tmp_path / "kept.txt").read_text() == '{"heads": 7'


def test_a_draft_of_an_earlier_form_goes_on(page: Any, bucket: str) -> None:
    """What was kept before the form had days, and knew no ounces, is still there."""
    draft = {"by": "AB", "heads": {f"{bucket}|1": {"weight_g": "152"}}, "solution": [], "visits": [], "saved": {}}
    page.evaluate(
        """draft => { const f = JSON.parse(document.getElementById('data').textContent);
        localStorage.setItem(['trialkit', f.trial, f.form, f.layout, f.site].join(':'), JSON.stringify(draft)); }""",
        draft,
    )
    page.reload()
    go(page, bucket)
    assert page.input_value("#head1-weight_g") == "152"
    assert page.inner_text("#banners") == ""


def test_by_keyboard_alone(page: Any, bucket: str) -> None:
    """From the label's letters to the first field: Enter goes to the bucket's heading, Tab to its first field.

    With the scale in hand Enter goes from weight to weight, and then to the next bucket's.
    """
    page.click("[data-task=other]")
    page.focus("#jump")
    page.keyboard.type(bucket)
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "bucket-title"
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.id") == "head1-transplanted_on"
    page.click("[data-task=harvest]")
    page.click(f"[data-bucket='{bucket}']")
    for head in range(1, 5):
        assert page.evaluate("document.activeElement.id") == f"head{head}-weight_g"
        page.keyboard.type(f"15{head}")
        page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    assert page.inner_text("#bucket-title") != f"Bucket {bucket}"
    assert page.evaluate("document.activeElement.id") == "head1-weight_g"


def test_axe_finds_nothing(page: Any, bucket: str) -> None:
    """With a bucket open, a mistake marked and a banner shown; targets are 44 pixels high; nothing over the edge."""
    go(page, bucket)
    page.fill("#head1-weight_g", "x")
    page.click("[data-do=add-solution]")
    page.click("#handing-back [data-do=copy]")
    for mode in MODES:
        page.emulate_media(**MODES[mode])
        assert (mode, complaints(page)) == (mode, [])
        page.emulate_media(media="screen")
        assert page.evaluate("document.documentElement.scrollWidth") <= 360
        low = page.evaluate(
            "[...document.querySelectorAll('button,input,select')]"
            ".filter(e => e.offsetParent && e.offsetHeight < 44).length"
        )
        assert low == 0


def test_quiet_and_alone(browser: Any, tmp_path: Path) -> None:
    """Hostile names are text; no console message, no request beyond the file, no script of a stranger."""
    hostile = laid_out(
        tmp_path / "hostile", site_name="<img src=x onerror=alert(1)>", title="</script><script>alert(1)</script>"
    )
    path = written(hostile, "FERN", tmp_path / "hostile.html")
    page = browser.new_context(offline=True, **PHONE).new_page()
    said: list[str] = []
    asked: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("dialog", lambda dialog: said.append(dialog.message))
    page.on("request", lambda request: asked.append(request.url))
    page.goto(path.as_uri())
    go(page, first_bucket(hostile))
    page.fill("#head1-note", "<b>bold</b>")
    assert page.inner_text("h1") == "<img src=x onerror=alert(1)>"
    assert said == []
    assert [url for url in asked if url != path.as_uri() and not url.startswith("data:")] == []
    page.context.close()


def test_without_scripts_the_printed_sheet_is_named(browser: Any, form: Path) -> None:
    """A phone that shows the file without running it says what to do."""
    page = browser.new_context(java_script_enabled=False, **PHONE).new_page()
    page.goto(form.as_uri())
    assert "printed record sheet" in page.inner_text("noscript, .banner")
    page.context.close()


def test_what_comes_back_is_merged(page: Any, bucket: str, trial: CheckedTrial, tmp_path: Path) -> None:
    """Typed, saved, merged: the tables hold the same values."""
    go(page, bucket)
    fill_head(page, note="=1+1")
    path = saved(page, tmp_path)["path"]
    folder = shutil.copytree(trial.folder, tmp_path / "trial")
    done = run("merge", folder, path)
    assert done.returncode == 0, done.stdout + done.stderr
    heads = pd.read_csv(folder / "heads.csv", dtype=str, keep_default_na=False).to_dict("records")
    assert heads == [{"bucket": bucket, "head": "1"} | HEAD | {"note": "'=1+1"}]
