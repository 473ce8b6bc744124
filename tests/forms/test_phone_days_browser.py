"""The phone form in real Chromium, by what a person does on a day: few taps, odd weights told, labels scanned."""

import re
import shutil
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from chromium import complaints
from commands import run
from laid_out_trial import laid_out
from phone_page import PHONE, go, opened, saved, written
from trialkit.rules.trial_folder import CheckedTrial
from trialkit.tables.bucket_ids import label_code
from trialkit.tables.table_schema import load_schema

MOST_ENTRIES = 6
SLOWER = 6
"""How many times slower than this processor a phone is."""
SCANNER = """() => {
  navigator.mediaDevices.getUserMedia = async () => document.createElement('canvas').captureStream();
  HTMLMediaElement.prototype.play = async () => {};
  window.BarcodeDetector = class {
    static async getSupportedFormats() { return ['qr_code']; }
    async detect() { return window.seen ? [{ rawValue: window.seen }] : []; }
  };
}"""
"""A camera without a picture, and a reader that sees what a test tells: what this browser lacks on a desktop."""


@pytest.fixture(scope="module")
def trial(tmp_path_factory: pytest.TempPathFactory) -> CheckedTrial:
    """A trial before its season; not to be changed."""
    return laid_out(tmp_path_factory.mktemp("days") / "trial")


@pytest.fixture(scope="module")
def form(trial: CheckedTrial) -> Path:
    """The form of the garden Fernsedge as a file."""
    return written(trial, "FERN", trial.folder.parent / "phone-FERN.html")


@pytest.fixture
def page(browser: Any, form: Path) -> Iterator[Any]:
    """That form, opened as on a phone that has not met it before."""
    page = opened(browser, form)
    yield page
    page.context.close()


@pytest.fixture(scope="module")
def layout(trial: CheckedTrial) -> pd.DataFrame:
    """The garden's rows of the layout, in the order of the places."""
    return trial.layout[trial.layout["site"] == "FERN"].sort_values(["block", "position"], kind="stable")


class Hand:
    """A hand that counts what it does at each bucket: taps, and entries into a field."""

    def __init__(self, page: Any) -> None:
        self.page = page
        self.counts: Counter[tuple[str, str]] = Counter()
        self.task, self.bucket = "", ""

    def begin(self, task: str, day: str) -> None:
        """Choose what is done, and its day: once for all buckets."""
        self.page.click(f"[data-task={task}]")
        self.page.fill("#day", day)
        self.task, self.bucket = task, ""

    def tap(self, what: str) -> None:
        """Tap something."""
        self.page.click(what)
        self.counts[self.task, self.bucket] += 1

    def enter(self, field: str, text: str) -> None:
        """Write into a field, which is tapped for it."""
        self.page.fill(field, text)
        self.counts[self.task, self.bucket] += 1

    def at(self, bucket: str) -> None:
        """Stand before a bucket: the form shows it."""
        self.bucket = bucket
        assert self.page.inner_text("#bucket-title") == f"Bucket {bucket}"


def test_a_plain_season_takes_few_entries(page: Any, trial: CheckedTrial, layout: pd.DataFrame, tmp_path: Path) -> None:
    """Planted, mixed, read and harvested on a slow phone: at most six taps or entries a bucket a day; all is merged."""
    page.context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": SLOWER})
    visited, hand = layout["bucket"].tolist()[:3], Hand(page)
    hand.begin("planting", "2026-08-20")
    hand.tap("[data-do=plant-all]")
    hand.begin("mixing", "2026-08-20")
    hand.tap("[data-do=card-all]")
    for bucket in layout.loc[layout["acidifier"] != "none", "bucket"].tolist()[:2]:
        hand.bucket = bucket
        hand.tap(f"[data-bucket='{bucket}']")
        hand.at(bucket)
        assert "by the steps of the card (white vinegar 5 %)" in page.inner_text("#bucket")
        hand.enter("#solution-acid_tsp", "3")
        hand.enter("#solution-ph_after", "5,8")
    hand.begin("readings", "2026-08-27")
    hand.tap("#looked")
    hand.bucket = visited[0]
    hand.tap(f"[data-bucket='{visited[0]}']")
    for bucket in visited:
        hand.at(bucket)
        hand.enter("#solution-ph_before", "6.4")
        hand.tap("#bucket-done [data-do=next]")
    hand.begin("harvest", "2026-09-29")
    hand.bucket = visited[0]
    hand.tap(f"[data-bucket='{visited[0]}']")
    for place, bucket in enumerate(visited):
        hand.at(bucket)
        for head in range(1, 5):
            hand.enter(f"#head{head}-weight_g", str(140 + 4 * place + head))
        hand.tap("[data-do=fit-next]")
    at_buckets = {place: count for place, count in hand.counts.items() if place[1]}
    assert {task for task, _ in at_buckets} == {"mixing", "readings", "harvest"}
    assert max(at_buckets.values()) <= MOST_ENTRIES
    assert max(hand.counts.values()) <= MOST_ENTRIES

    record = saved(page, tmp_path)
    folder = shutil.copytree(trial.folder, tmp_path / "trial")
    done = run("merge", folder, record["path"])
    assert (done.returncode, done.stderr) == (0, "")
    assert re.search(r"question|refused|incomplete", done.stdout) is None
    planted = pd.read_csv(folder / "heads.csv", dtype=str, keep_default_na=False)
    assert len(planted) == 4 * len(layout)
    heads = planted[planted["bucket"].isin(visited)]
    assert heads["weight_g"].tolist() == [str(140 + 4 * b + h) for b in range(len(visited)) for h in range(1, 5)]
    constant = {name: set(heads[name]) for name in ("transplanted_on", "outcome", "harvested_on", "marketable")}
    assert constant == {
        "transplanted_on": {"2026-08-20"},
        "outcome": {"harvested"},
        "harvested_on": {"2026-09-29"},
        "marketable": {"yes"},
    }
    solution = pd.read_csv(folder / "solution.csv").merge(layout, on="bucket")
    mixed = solution[solution["measured_on"] == "2026-08-20"]
    assert mixed["nutrient_tsp"].tolist() == mixed["dose_tsp"].tolist()
    assert set(mixed["volume_l"]) == {trial.protocol.bucket.volume_l}
    with_acid = mixed["acidifier"] != "none"
    assert set(mixed.loc[~with_acid, "acid_tsp"]) == {0.0}
    assert mixed.loc[with_acid, "acid_tsp"].dropna().tolist() == [3.0, 3.0]
    assert set(solution.loc[solution["measured_on"] == "2026-08-27", "ph_before"]) == {6.4}
    assert (folder / "visits.csv").read_text("utf-8").splitlines()[1].startswith("FERN,2026-08-27")


def test_odd_weights_are_told_while_they_can_be_weighed_again(page: Any, layout: pd.DataFrame, tmp_path: Path) -> None:
    """A comma is read as a point, and shown; too light, too heavy, grown too fast: told, kept, and never in the way."""
    bucket = layout["bucket"].iloc[0]
    page.fill("#day", "2026-09-20")
    page.click("[data-do=plant-all]")
    page.fill("#day", "2026-09-29")
    go(page, bucket, "harvest")
    usual = load_schema("heads").field("weight_g")
    for typed, told in (
        ("15,2", "Read as 15.2 g. Unusual: mostly 20 to 1000 g. Weigh again"),
        ("1520", "Unusual: mostly 20 to 1000 g. Weigh again"),
        ("9", "Unusual: mostly 20 to 1000 g."),
        (f"{usual.usual_minimum}", ""),
        ("271", "Unusual: more than 30 g for each day since planting. Weigh again"),
        ("270", ""),
    ):
        page.fill("#head1-weight_g", typed)
        said = page.inner_text("#head1-weight_g-said")
        assert said.startswith(told) if told else said == ""
        assert page.inner_text("#head1-weight_g-error") == ""
    page.fill("#head1-weight_g", "15,2")
    assert saved(page, tmp_path)["tables"]["heads"][0]["weight_g"] == "15.2"
    assert "marked" not in page.inner_text("#state")


def test_nobody_walks_on_from_an_odd_weight_untold(page: Any, layout: pd.DataFrame, tmp_path: Path) -> None:
    """Far too much is told at the first tap, by head, and kept at the next; who puts it right goes on at once."""
    first, second, third = layout["bucket"].tolist()[:3]
    page.fill("#day", "2026-08-20")
    page.click("[data-do=plant-all]")
    page.fill("#day", "2026-09-29")
    go(page, first, "harvest")
    page.fill("#head1-weight_g", "150")
    page.fill("#head2-weight_g", "15000")
    page.click("[data-do=fit-next]")
    assert page.inner_text("#bucket-title") == f"Bucket {first}"
    told = page.inner_text("#bucket-odd")
    assert f"{first}, head 2: Too large: expected 1 to 2000 g." in told
    assert "head 1" not in told
    assert page.input_value("#head1-marketable") == ""
    page.click("[data-do=fit-next]")
    assert page.inner_text("#bucket-title") == f"Bucket {second}"
    assert page.inner_text("#bucket-odd") == ""
    page.fill("#head1-weight_g", "1520")
    page.click("#bucket-done [data-do=next]")
    assert "Unusual: mostly 20 to 1000 g." in page.inner_text("#bucket-odd")
    page.fill("#head1-weight_g", "152")
    page.click("[data-do=fit-next]")
    assert page.inner_text("#bucket-title") == f"Bucket {third}"
    rows = saved(page, tmp_path)["tables"]["heads"]
    kept = {(row["bucket"], row["head"]): (row.get("weight_g"), row.get("marketable")) for row in rows}
    assert kept[first, "2"] == ("15000", "yes")
    assert kept[second, "1"] == ("152", "yes")


def test_ounces(page: Any, layout: pd.DataFrame, tmp_path: Path) -> None:
    """A scale in ounces: grams are kept and said, and shown in ounces when one comes back."""
    bucket = layout["bucket"].iloc[0]
    go(page, bucket, "harvest")
    page.select_option("#unit", "oz")
    page.fill("#head1-weight_g", "5,4")
    page.fill("#head2-weight_g", "5.43")
    page.fill("#head3-weight_g", "0.5")
    assert page.inner_text("#head1-weight_g-said") == "Read as 5.4 oz, kept as 153.1 g."
    assert "Unusual: mostly 20 to 1000 g" in page.inner_text("#head3-weight_g-said")
    go(page, bucket, "other")
    go(page, bucket, "harvest")
    assert [page.input_value(f"#head{head}-weight_g") for head in (1, 2)] == ["5.4", "5.43"]
    weights = [row["weight_g"] for row in saved(page, tmp_path)["tables"]["heads"]]
    assert weights == [f"{round(oz * 28.349523125, 1):g}" for oz in (5.4, 5.43, 0.5)]
    page.select_option("#unit", "g")
    assert page.input_value("#head1-weight_g") == "153.1"


def test_outcome_only_where_none_was_cut(page: Any, layout: pd.DataFrame, tmp_path: Path) -> None:
    """A weight brings outcome and day with it, and takes them along; a dead head has neither; days that clash show."""
    bucket = layout["bucket"].iloc[0]
    page.fill("#day", "2026-09-29")
    go(page, bucket, "harvest")
    assert "Needed" not in page.inner_text("#bucket")
    page.fill("#head1-weight_g", "150")
    assert page.input_value("#head1-outcome") == "harvested"
    assert "Transplanted on: Needed." in page.inner_text("#bucket-forms")
    page.fill("#head1-weight_g", "")
    assert page.input_value("#head1-outcome") == ""
    page.fill("#head1-weight_g", "150")
    page.select_option("#head2-outcome", "dead")
    words = load_schema("heads").field("outcome").enum
    assert page.locator("#head2-outcome option").evaluate_all("all => all.map(one => one.value)") == [
        "",
        *(words or ()),
    ]
    page.click("[data-do=fit-next]")
    heads = saved(page, tmp_path)["tables"]["heads"]
    assert heads == [
        {"bucket": bucket, "head": "1", "outcome": "harvested", "harvested_on": "2026-09-29", "weight_g": "150",
         "marketable": "yes"},
        {"bucket": bucket, "head": "2", "outcome": "dead"},
    ]  # fmt: skip
    assert page.locator("#head1-harvested_on").count() == 0
    page.fill("#day", "2026-09-30")
    go(page, bucket, "harvest")
    page.fill("#head1-weight_g", "151")
    assert page.input_value("#head1-harvested_on") == "2026-09-29"
    page.click("[data-task=planting]")
    page.fill("#day", "2026-10-02")
    page.click("[data-do=plant-all]")
    page.click("[data-bucket] >> nth=-1")
    page.click("[data-do=next]")
    assert "last bucket" in page.inner_text("#state")
    go(page, bucket, "harvest")
    assert "This is before the day of transplanting." in page.inner_text("#head1-harvested_on-error")


def test_other_fates(page: Any, layout: pd.DataFrame, tmp_path: Path) -> None:
    """Cut and not weighed: the day and no weight. Never planted: no day of planting is missed."""
    bucket = layout["bucket"].iloc[0]
    page.fill("#day", "2026-09-29")
    go(page, bucket, "harvest")
    page.select_option("#head1-outcome", "not_weighed")
    page.select_option("#head2-outcome", "never_planted")
    assert page.inner_text("#bucket-forms").count("Transplanted on: Needed.") == 1
    heads = saved(page, tmp_path)["tables"]["heads"]
    assert heads == [
        {"bucket": bucket, "head": "1", "outcome": "not_weighed", "harvested_on": "2026-09-29"},
        {"bucket": bucket, "head": "2", "outcome": "never_planted"},
    ]
    page.fill("#head1-weight_g", "150")
    assert "was not weighed" in page.inner_text("#head1-weight_g-error")


def test_all_but_some(page: Any, layout: pd.DataFrame, tmp_path: Path) -> None:
    """One tap for all keeps what is there and can be taken back; then come the buckets where it was otherwise."""
    one, other = layout["bucket"].iloc[:2]
    page.fill("#day", "2026-08-22")
    go(page, one, "planting")
    page.click("[data-do=plant-bucket]")
    page.fill("#day", "2026-08-20")
    page.click("[data-do=plant-all]")
    assert page.inner_text("#task-said").startswith("60 heads planted on this day. The others keep the day")
    page.click("#undo")
    assert len(saved(page, tmp_path)["tables"]["heads"]) == 4
    page.click("[data-do=plant-all]")
    go(page, other, "planting")
    page.click("[data-do=unplant-bucket]")
    page.click("[data-task=mixing]")
    page.click("[data-do=card-all]")
    page.click("#undo")
    assert saved(page, tmp_path)["tables"]["solution"] == []
    page.click("[data-do=card-all]")
    go(page, one, "mixing")
    page.fill("#solution-nutrient_tsp", "30")
    page.fill("#day", "2026-09-10")
    page.click("[data-do=card-all]")
    assert page.inner_text("#task-said").startswith("0 buckets as on the card. 16 buckets were mixed before")
    tables = saved(page, tmp_path)["tables"]
    days = {row["bucket"]: row["transplanted_on"] for row in tables["heads"]}
    assert (days[one], other in days, len(tables["heads"])) == ("2026-08-22", False, 60)
    assert len(tables["solution"]) == 16
    assert tables["solution"][0]["nutrient_tsp"] == "30"


def test_labels_are_scanned(browser: Any, form: Path, trial: CheckedTrial, layout: pd.DataFrame) -> None:
    """The label opens its bucket, at the first weight; one of another trial or garden is refused by name, typed too."""
    own = layout["bucket"].iloc[5]
    page = opened(browser, form)
    assert page.locator("#scan").is_hidden()  # this browser reads no codes: the letters are typed
    page.context.close()
    context = browser.new_context(offline=True, **PHONE)
    context.add_init_script(f"({SCANNER})()")
    page = context.new_page()
    page.goto(form.as_uri())
    page.click("[data-task=harvest]")
    for code, told in (
        (label_code("spring-dose", "FERN", own), "of the trial spring-dose"),
        (label_code(trial.protocol.trial.id, "MILL", own), "of the garden MILL"),
    ):
        page.evaluate("code => { window.seen = code; }", code)
        page.click("#scan")
        page.locator("#jump-error", has_text=told).wait_for()
        assert page.locator("#bucket").is_hidden()
        page.fill("#jump", code)
        page.press("#jump", "Enter")
        assert told in page.inner_text("#jump-error")
    page.evaluate("code => { window.seen = code; }", label_code(trial.protocol.trial.id, "FERN", own))
    page.click("#scan")
    page.locator("#bucket-title", has_text=own).wait_for()
    assert page.evaluate("document.activeElement.id") == "head1-weight_g"
    assert page.locator("#camera").is_hidden()
    page.evaluate("() => { window.seen = ''; }")
    page.click("#scan")
    page.locator("#camera").wait_for()
    page.click("[data-do=stop-scan]")
    assert page.locator("#camera").is_hidden()
    page.evaluate("() => { navigator.mediaDevices.getUserMedia = async () => { throw new Error('denied'); }; }")
    page.click("#scan")
    page.locator("#jump-error", has_text="Type the letters and figures on the label.").wait_for()
    context.close()


def test_another_day_is_not_taken_for_today(browser: Any, form: Path) -> None:
    """The day chosen holds for as long as it is that day on the phone; a form still open a week later begins anew."""
    page = browser.new_context(offline=True, **PHONE).new_page()
    page.clock.set_fixed_time("2026-09-22T10:00:00")
    page.goto(form.as_uri())
    assert page.input_value("#day") == "2026-09-22"
    page.fill("#day", "2026-09-20")
    page.reload()
    assert page.input_value("#day") == "2026-09-20"
    page.clock.set_fixed_time("2026-09-29T10:00:00")
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    assert page.input_value("#day") == "2026-09-29"
    page.fill("#day", "2026-09-30")
    assert "has not come yet" in page.inner_text("#day-said")
    page.fill("#day", "")
    assert page.inner_text("#day-error") == "Choose the day first."
    assert page.locator("#buckets").is_hidden()
    page.context.close()


def test_every_day_fits_a_small_phone(page: Any, layout: pd.DataFrame) -> None:
    """What is done on each kind of day: nothing over the edge, targets to hit, and nothing that the checker finds."""
    for task in ("planting", "mixing", "readings", "harvest"):
        go(page, layout["bucket"].iloc[0], task)
        if task == "harvest":
            page.click("#looked")
            page.fill("#head1-weight_g", "15,2")
            page.select_option("#head2-outcome", "dead")
            page.fill("#head2-weight_g", "150")
            page.emulate_media(color_scheme="dark")
        assert (task, complaints(page)) == (task, [])
        assert page.evaluate("document.documentElement.scrollWidth") <= 360
        low = "[...document.querySelectorAll('button,input,select')].filter(e => e.offsetParent && e.offsetHeight < 44)"
        assert page.evaluate(f"{low}.length") == 0


def test_a_blind_form_asks_what_went_in(browser: Any, tmp_path: Path) -> None:
    """It knows no card: nothing is entered by one tap, and every amount is asked for."""
    blind = laid_out(tmp_path / "blind", blind=True)
    page = opened(browser, written(blind, "FERN", tmp_path / "blind.html"))
    page.click("[data-task=mixing]")
    assert page.locator("[data-do=card-all]").count() == 0
    page.click("[data-bucket] >> nth=0")
    assert page.locator("[data-do=card-bucket]").is_hidden()
    assert page.locator("#solution-nutrient_tsp").is_visible()
    page.context.close()
