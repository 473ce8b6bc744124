"""The page of a check: to the right person, in their words, and no larger than the problems."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from honest_records import Records, write_records
from trialkit.report.check_page import asked_gardens, check_html
from trialkit.rules.trial_folder import check_trial


def spoil(records: Records) -> None:
    """One slip in each of two gardens."""
    records.heads.loc[3, "weight_g"] = 1600.0
    row = records.heads.index[records.site == "MILL"][0]
    records.heads.loc[row, "weight_g"] = float("nan")


def text_of(page: str) -> str:
    """Return what a page says, blanks of every kind as one."""
    body = page[page.index("<main") :]
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", body).replace("\u00a0", " ").replace("&#34;", '"'))


def test_a_volunteer_reads_of_their_own_garden_only(tmp_path: Path) -> None:
    """Each garden with a question has a page, which names the bucket and the head and no other garden's."""
    write_records(tmp_path, spoil)
    result = check_trial(tmp_path)
    assert asked_gardens(result) == ("FERN", "MILL")
    mill = check_html(result, "Trial", "MILL")
    assert "Old Mill Library" in mill
    assert "Harvested, but no weight" in text_of(mill)
    assert (
        "Enter the weight, or correct the outcome; if nobody weighed the head, its outcome is not_weighed"
        in text_of(mill)
    )
    assert re.search(r"bucket \w{4}, head 1", text_of(mill))
    assert "1600" not in mill
    assert "heads.csv" not in text_of(mill)
    fern = text_of(check_html(result, "Trial", "FERN"))
    assert "Thank you for your records. 2 things need a second look; nothing has to be changed" in fern


def test_the_adviser_reads_everything(tmp_path: Path) -> None:
    """The page of the whole trial has every garden, and what is wrong with the set-up before them."""
    write_records(tmp_path, spoil)
    protocol = (tmp_path / "trial.toml").read_text("utf-8")
    (tmp_path / "trial.toml").write_text(protocol.replace("blocks = 2", "block = 2"), "utf-8")
    page = text_of(check_html(check_trial(tmp_path), "Trial"))
    assert page.index("For the adviser") < page.index("Fernsedge School")
    assert "trial.toml, line 17 · layout.block" in page
    assert "Station Road" not in page


def test_nothing_to_do_is_said(tmp_path: Path) -> None:
    """Records in order make a page of one sentence."""
    write_records(tmp_path)
    page = text_of(check_html(check_trial(tmp_path), "Trial"))
    assert "Everything that was written down is in order. There is nothing to do." in page
    assert 'class="asked' not in page


def test_many_alike_are_told_by_five_and_a_number(tmp_path: Path) -> None:
    """Forty heads without a weight do not make forty paragraphs."""

    def forget(records: Records) -> None:
        records.heads.loc[0:39, "weight_g"] = float("nan")

    write_records(tmp_path, forget)
    page = text_of(check_html(check_trial(tmp_path), "Trial", "FERN"))
    assert page.count("We read an empty cell") == 5
    assert "and 35 more like these" in page


def test_the_numbers_of_the_greeting(tmp_path: Path) -> None:
    """What waits for an answer is told apart from what may be right as it stands."""
    write_records(tmp_path, spoil)
    page = text_of(check_html(check_trial(tmp_path), "Trial"))
    assert "3 things need a second look. The answer of the trial waits for 1 of them." in page


def test_the_same_check_gives_the_same_page(pages: Any, tmp_path: Path) -> None:
    """No clock, no chance and no path in the page."""
    write_records(tmp_path, spoil)
    result = check_trial(tmp_path)
    page = check_html(result, "Trial")
    assert page == check_html(check_trial(tmp_path), "Trial")
    assert str(tmp_path) not in page
    assert "<script" not in pages["hostile check"]
