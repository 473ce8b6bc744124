"""Every caution stands on everything that is handed out and that it concerns: the list and the things, walked."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from html import unescape
from typing import get_args

import pytest
from openpyxl import load_workbook

from commands import run
from small_plan import small_plan
from small_recommended import small_recommended
from trialkit.documents.results import Results
from trialkit.forms.pack import adviser_pack, garden_pack
from trialkit.forms.phone import phone_form
from trialkit.forms.workbook import record_workbook
from trialkit.pages.numerals import tie
from trialkit.report.evidence_page import evidence_html
from trialkit.report.handout import handout_html
from trialkit.report.page import report_html
from trialkit.report.plan_page import plan_html
from trialkit.rules.trial_folder import CheckedTrial
from trialkit.words.cautions import CAUTIONS, COMMON, Handed, cautions_for, short_cautions
from trialkit.words.measures import mass_words

HAZARDS = {
    "local rules", "acid", "bleach", "plastic", "drilling", "lifting", "drowning", "mosquitoes", "fertiliser",
    "harvest", "disposal", "claims",
}  # fmt: skip
"""Facts and style of the project, section on cautions: none may be lost."""


def workbook_text(trial: CheckedTrial) -> str:
    """Return what the first sheet of a record workbook says."""
    sheet = load_workbook(io.BytesIO(record_workbook(trial, "FERN"))).worksheets[0]
    return " ".join(str(cell.value) for (cell,) in sheet.iter_rows(max_col=1) if cell.value)


def said_on(handed: Handed, trial: CheckedTrial, results: Callable[[str], Results]) -> list[tuple[float, str]]:
    """Return the texts of everything of a kind that is handed out, each with the litres in its bucket."""
    volume = trial.protocol.bucket.volume_l
    match handed:
        case "pack":
            return [(volume, garden_pack(trial, "FERN")), (volume, adviser_pack(trial))]
        case "workbook":
            return [(volume, workbook_text(trial))]
        case "phone form":
            return [(volume, phone_form(trial, "FERN"))]
        case "handout":
            return [(20.0, handout_html(small_recommended()))]
        case "plan":
            return [(20.0, plan_html(small_plan()))]
        case "evidence":
            found = results("autumn_dose")
            return [(found.design.volume_l, report_html(found)), (20.0, evidence_html(small_recommended()))]
        case "mix":
            asked = ("mix", "--volume", "20 L", "--acid", "vinegar")
            document = json.loads(run(*asked, "--alkalinity", 120, "--json").stdout)["answer"]
            text = " ".join(f"{one['title']}: {one['text']}" for one in document["cautions"])
            said = run(*asked, "--alkalinity", 120).stdout, run(*asked, "--table").stdout, text
            return [(20.0, one) for one in said]


@pytest.mark.parametrize("handed", get_args(Handed))
def test_everything_handed_out_has_the_cautions_that_concern_it(
    handed: Handed, trial: CheckedTrial, example_results: Callable[[str], Results]
) -> None:
    """In full, but for the handout, which has the same in a few plain words each."""
    concerned = [one for one in CAUTIONS if handed in one.handed]
    assert len(concerned) > 8
    for volume_l, page in said_on(handed, trial, example_results):
        text = unescape(page).replace("\u00a0", " ").replace("\u202f", " ")
        wanted = short_cautions(volume_l) if handed == "handout" else [o.text for o in cautions_for(handed, volume_l)]
        assert len(wanted) == len(concerned)
        plain = " ".join(text.split())
        assert [one for one in wanted if tie(one).replace("\u00a0", " ").replace("\u202f", " ") not in plain] == []


def test_the_list_is_whole_and_says_where_it_is_from() -> None:
    """Every hazard once, with a source or the honest words that there is none; drills and harvest are not of mixing."""
    assert {one.code for one in CAUTIONS} == HAZARDS
    assert len(CAUTIONS) == len(HAZARDS)
    assert all(one.source and one.short and one.text and one.handed for one in CAUTIONS)
    named = {"acid": "ANR-652", "bleach": "US EPA", "drowning": "Consumer Product Safety", "mosquitoes": "US CDC",
             "harvest": "SPES-467NP", "plastic": "US FDA", "disposal": "Clean Water Act"}  # fmt: skip
    for one in CAUTIONS:
        assert named.get(one.code, COMMON) in one.source or one.code == "claims"
    kept_from_mix = {one.code for one in CAUTIONS if "mix" not in one.handed}
    assert kept_from_mix == {"drilling", "harvest", "claims"}
    for handed in ("pack", "workbook", "phone form", "handout", "plan", "evidence"):
        told = {one.code for one in CAUTIONS if handed in one.handed}
        assert told >= HAZARDS - {"claims"}


def test_acid_is_not_spoken_of_where_there_is_none() -> None:
    """But bleach and the rest stay."""
    without = {one.code for one in cautions_for("mix", 20.0, with_acid=False)}
    assert without == {one.code for one in cautions_for("mix", 20.0)} - {"acid"}


def test_a_full_bucket_weighs_its_water_and_itself() -> None:
    """5 US gallons of water weigh 18.9 kg, 41.7 lb (facts: computed); with a bucket of 1 kg 20 kg, 44 lb."""
    lifting = next(one for one in cautions_for("pack", 18.927) if one.code == "lifting")
    assert "about 44 lb (20 kg)" in lifting.text
    assert mass_words(18.927) == "42 lb (19 kg)"


def test_a_pack_names_where_its_cautions_come_from(trial: CheckedTrial) -> None:
    """Each source, or that there is none, under the cautions of the garden's and the adviser's pages."""
    for page in (garden_pack(trial, "FERN"), adviser_pack(trial)):
        text = unescape(page).replace("\u00a0", " ")
        assert all(one.source in text for one in cautions_for("pack", trial.protocol.bucket.volume_l))
