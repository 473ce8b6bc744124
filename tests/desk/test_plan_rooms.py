"""The plan of a trial at the desk: settings, lists, sizes with their answer, and what gardens are mailed."""

from __future__ import annotations

import io
import re
import shlex
import shutil
import time
import zipfile
from contextlib import chdir
from html import unescape
from pathlib import Path
from urllib.parse import quote

import pytest

import trialkit
from commands import DONE, run
from contents import contents
from desk_visitor import Visitor, main_part, told
from english_left import english_left
from trialkit.languages import speaking
from trialkit.protocol.starting import copy_example
from trialkit.words.plan_words import summary, takes_sentence, verdict_words

HERE = "/trial/spring/"


@pytest.fixture
def planned(visitor: Visitor) -> Visitor:
    """A desk with a trial that is planned."""
    copy_example("spring_dose", visitor.desk.workspace.folder / "spring", planned_only=True)
    return visitor


def _folder(visitor: Visitor) -> Path:
    return visitor.desk.workspace.folder / "spring"


def _form(page: str) -> dict[str, str]:
    """What the form of a page holds, as a browser would send it."""
    main = page.partition("<main")[2].partition("</main>")[0]
    found = dict(re.findall(r'<input[^>]* name="([^"]+)"[^>]* value="([^"]*)"', main))
    found |= dict(re.findall(r'<textarea[^>]* name="([^"]+)"[^>]*>\n(.*?)</textarea>', main, re.DOTALL))
    for name, choices in re.findall(r'<select[^>]* name="([^"]+)"[^>]*>(.*?)</select>', main, re.DOTALL):
        found[name] = next(iter(re.findall(r'value="([^"]*)" selected', choices)), "")
    return {name: unescape(value).replace("\n", "\r\n") for name, value in found.items()}


def _repeated(visitor: Visitor, before: Path) -> dict[str, bytes | None]:
    """What the commands that the desk shows make of a copy of the folder as it was."""
    for lines, files in visitor.shown_deeds():
        with chdir(before):
            for name, data in files.items():
                Path(name).write_bytes(data)
            for line in lines:
                assert run(*shlex.split(line)[1:]).returncode == DONE, line
            for name in files:
                Path(name).unlink()
    return contents(before)


def test_settings_change_what_was_changed_and_can_be_taken_back(planned: Visitor, tmp_path: Path) -> None:
    """Just the keys that differ; the command does the same; the last change goes back."""
    shutil.copytree(planned.desk.workspace.folder, tmp_path / "before")
    form = _form(planned.get(f"{HERE}settings/").text)
    assert planned.post(f"{HERE}settings/", form).status_code == 303
    assert planned.desk.done == []
    changes = {
        "trial-season": "spring 2029",
        "layout-blocks": "2",
        "factors-dose-levels": "2\r\n4",
        "decision-current_practice-dose": "4",
        "limits-sites": "7",
        "trial-blind": "true",
    }
    assert planned.post(f"{HERE}settings/", {**form, **changes}).status_code == 303
    protocol = trialkit.Trial(_folder(planned)).protocol
    assert (protocol.trial.season, protocol.limits.sites, protocol.trial.blind) == ("spring 2029", 7, True)
    assert protocol.factors["dose"].levels == (2.0, 4.0)
    assert _repeated(planned, tmp_path / "before") == contents(planned.desk.workspace.folder)
    assert "Take back: Season" in planned.get(HERE).text
    assert planned.post(f"{HERE}take-back").status_code == 303
    assert trialkit.Trial(_folder(planned)).protocol.layout.blocks == 3
    assert "take-back" not in planned.get(HERE).text
    assert planned.post(f"{HERE}take-back").status_code == 404


def test_once_frozen_a_change_made_since_can_be_taken_back(planned: Visitor) -> None:
    """One of before cannot: the layout rests on it."""
    form = _form(planned.get(f"{HERE}settings/").text)
    assert planned.post(f"{HERE}settings/", {**form, "layout-blocks": "2"}).status_code == 303
    trial = trialkit.Trial(_folder(planned))
    trial.layout()
    (_folder(planned) / "forms").mkdir()
    (_folder(planned) / "forms" / "pack-FERN.html").write_text("printed")
    assert "Take back" not in told(planned.get(f"{HERE}settings/"))
    assert planned.post(f"{HERE}take-back").status_code == 404
    form = _form(planned.get(f"{HERE}settings/").text)
    assert planned.post(f"{HERE}settings/", {**form, "trial-season": "spring 2029"}).status_code == 303
    assert "Take back: Season" in told(planned.get(f"{HERE}settings/"))
    assert planned.post(f"{HERE}take-back").status_code == 303
    assert trial.protocol.trial.season != "spring 2029"


def test_a_factor_comes_and_goes(planned: Visitor) -> None:
    """Levels and practice together; a factor without levels is none."""
    form = _form(planned.get(f"{HERE}settings/").text)
    acids = {"factors-acidifier-levels": "none\r\nmalt vinegar", "decision-current_practice-acidifier": "none"}
    refused = planned.post(f"{HERE}settings/", {**form, **acids})
    assert refused.status_code == 422
    assert "products.csv" in told(refused)
    rows = planned.get(f"{HERE}list/products/").text
    text = _form(rows)["text"] + "\r\nmalt vinegar\tacid"
    assert planned.post(f"{HERE}list/products/", {**_form(rows), "text": text, "go": "save"}).status_code == 303
    assert planned.post(f"{HERE}settings/", {**form, **acids}).status_code == 303
    form = _form(planned.get(f"{HERE}settings/").text)
    gone = {"factors-dose-levels": "", "decision-current_practice-dose": "", "factors-dose-product": ""}
    assert planned.post(f"{HERE}settings/", {**form, **gone}).status_code == 303
    assert "dose" not in trialkit.Trial(_folder(planned)).protocol.factors
    assert planned.post(f"{HERE}take-back").status_code == 303
    assert len(trialkit.Trial(_folder(planned)).protocol.factors["dose"].levels) > 1


def test_two_windows_lose_nothing(planned: Visitor) -> None:
    """What another window changed meanwhile is told, not overwritten; what it did not touch is saved."""
    form = _form(planned.get(f"{HERE}settings/").text)
    gardens = _form(planned.get(f"{HERE}list/sites/").text)
    run("set", _folder(planned), "layout.blocks=5")
    assert planned.post(f"{HERE}settings/", {**form, "trial-season": "autumn"}).status_code == 303
    refused = planned.post(f"{HERE}settings/", {**form, "layout-blocks": "2", "trial-season": "autumn"})
    assert (refused.status_code, "says now: 5" in told(refused)) == (422, True)
    assert trialkit.Trial(_folder(planned)).protocol.layout.blocks == 5
    trial = trialkit.Trial(_folder(planned))
    trial.set_table("sites", trial.sites().assign(note="moved"))
    refused = planned.post(f"{HERE}list/sites/", {**gardens, "text": "FERN", "go": "save"})
    assert (refused.status_code, "changed since you opened" in told(refused)) == (422, True)
    assert set(trial.sites()["note"]) == {"moved"}


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("layout-blocks", "many", "whole number"),
        ("bucket-heads", "99", "at most 12"),
        ("factors-dose-levels", "2\r\n4,5", "is not one number"),
        ("trial-question", "", "question"),
        ("schedule-harvest_after_days", "[9, 3]", "earlier day first"),
        ("trial-measures", "cubits", "kitchen"),
    ],
)
def test_a_setting_that_does_not_fit(planned: Visitor, field: str, value: str, said: str) -> None:
    """Is told beside its field, with what was typed still there; nothing is written."""
    before = contents(_folder(planned))
    form = _form(planned.get(f"{HERE}settings/").text)
    page = planned.post(f"{HERE}settings/", {**form, field: value, "trial-season": "typed before"})
    assert (page.status_code, "typed before" in page.text) == (422, True)
    beside = page.text.partition(f'id="{field}-faults"')[2].partition("</ul>")[0]
    assert said in beside
    assert contents(_folder(planned)) == before


def test_lists_show_how_they_are_understood_before_they_are_set(planned: Visitor, tmp_path: Path) -> None:
    """Faults beside their lines; the command sets the same table from the same text."""
    shutil.copytree(planned.desk.workspace.folder, tmp_path / "before")
    form = _form(planned.get(f"{HERE}list/sites/").text)
    assert form["text"].startswith("Site\t")
    text = "Garden\tHours of sun\tLanguage\r\nFERN\t6\tSpanish\r\nMILL\t5,5\t"
    looked = planned.post(f"{HERE}list/sites/", {**form, "text": text, "go": "look"})
    assert "FERN 6 es MILL 5.5" in told(looked)
    assert planned.desk.done == []
    refused = planned.post(f"{HERE}list/sites/", {**form, "text": text.replace("6", "66"), "go": "save"})
    assert (refused.status_code, "Line 2:" in told(refused), "66" in refused.text) == (422, True, True)
    assert planned.post(f"{HERE}list/sites/", {**form, "text": text, "go": "save"}).status_code == 303
    assert _repeated(planned, tmp_path / "before") == contents(planned.desk.workspace.folder)
    assert planned.get(f"{HERE}list/heads/").status_code == 404


def test_sizes_say_what_the_plan_says(planned: Visitor) -> None:
    """The answer beside the sizes is, sentence by sentence, that of `trialkit plan` once they are kept."""
    page = planned.get(f"{HERE}sizes/?gardens=5&blocks=2&heads=3&whole=1")
    assert planned.post(f"{HERE}sizes/", {"gardens": "5", "blocks": "2", "heads": "3"}).status_code == 303
    plan = trialkit.Trial(_folder(planned)).plan()
    verdict, gain, takes, chances, leaves, _, *rest = summary(plan)
    at_once = planned.get(f"{HERE}sizes/answer?gardens=5&blocks=2&heads=3")
    whole = planned.get(f"{HERE}sizes/answer?gardens=5&blocks=2&heads=3&whole=1")
    for sentence in (gain, takes, chances, leaves):
        assert all(_plain(sentence) in _plain(told(one)) for one in (page, at_once, whole)), sentence
    for sentence in (verdict, *(one for one in rest if "at most" in one)):
        assert all(_plain(sentence) in _plain(told(one)) for one in (page, whole)), sentence
    assert "is worked out next" in told(at_once)
    planned.post("/language", {"language": "es"})
    in_spanish = planned.get(f"{HERE}sizes/?gardens=5&blocks=2&heads=3&whole=1")
    with speaking("es"):
        assert _plain(takes_sentence(plan.designs[0])) in _plain(told(in_spanish))
        assert _plain(verdict_words(plan.verdict)) in _plain(told(in_spanish))
    assert english_left(main_part(in_spanish), [plan.title, plan.question]) == []


def test_sizes_that_cannot_be_analysed_are_told_in_words(planned: Visitor) -> None:
    """One garden with one block leaves nothing to judge luck by: what helps is said, in the reader's language."""
    given = f"{HERE}sizes/answer?gardens=1&blocks=1&heads=1&whole=1"
    assert "could not be analysed. Add a block or a garden" in told(planned.get(given))
    planned.post("/language", {"language": "es"})
    page = planned.get(given)
    assert "Agregue un bloque o un huerto" in told(page)
    assert english_left(page.text, []) == []


def _plain(text: str) -> str:
    return re.sub(r"[\s\u00a0\u202f]+", " ", unescape(text))


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"gardens": "0", "blocks": "2", "heads": "3"}, "from 1 to 60"),
        ({"gardens": "5", "blocks": "two", "heads": "3"}, "from 1 to 12"),
        ({"gardens": "60", "blocks": "12", "heads": "3"}, "cannot be worked out at once"),
    ],
)
def test_sizes_that_nobody_can_answer(planned: Visitor, given: dict[str, str], said: str) -> None:
    """Are told, and never worked out."""
    assert said in told(planned.get(f"{HERE}sizes/", query_string=given))
    assert said in told(planned.get(f"{HERE}sizes/answer", query_string=given))


def test_other_gardens_lead_to_their_list(planned: Visitor) -> None:
    """A number is no name."""
    assert "gardens" in told(planned.get(f"{HERE}sizes/?gardens=9"))
    answer = planned.post(f"{HERE}sizes/", {"gardens": "9", "blocks": "3", "heads": "4"})
    assert answer.location == f"{HERE}list/sites/"


def test_layout_packs_and_a_file_for_each_garden(planned: Visitor) -> None:
    """Named safely, the same bytes each time, with a letter in the garden's language; frozen from then on."""
    trial = trialkit.Trial(_folder(planned))
    sites = trial.sites()
    sites.loc[0, "language"] = "es"
    trial.set_table("sites", sites)
    assert planned.get(f"{HERE}mail/FERN.zip").status_code == 404
    assert planned.post(f"{HERE}layout").status_code == 303
    site, *others = sites["site"]
    assert planned.get(f"{HERE}mail/{site}.zip").status_code == 422
    planned.done(f"{HERE}forms")
    page = planned.get(f"{HERE}mail/")
    assert all(f"Save the file of {one}" in told(page) for one in (site, *others))
    sent = planned.get(f"{HERE}mail/{site}.zip")
    assert sent.data == planned.get(f"{HERE}mail/{site}.zip").data == trial.parcel(site)
    with zipfile.ZipFile(io.BytesIO(sent.data)) as archive:
        assert archive.namelist() == ["letter.txt", f"pack-{site}.html", f"phone-{site}.html", f"record-{site}.xlsx"]
        letter = archive.read("letter.txt").decode("utf-8-sig")
        assert archive.read(f"pack-{site}.html") == (trial.folder / "forms" / f"pack-{site}.html").read_bytes()
    assert letter.startswith("Hola")
    assert trial.protocol.trial.question in letter
    assert planned.get(f"{HERE}mail/..%2Fspring.zip").status_code == 404
    frozen = planned.get(f"{HERE}settings/")
    assert "is frozen" in told(frozen)
    assert 'name="layout-blocks"' not in frozen.text
    refused = planned.post(f"{HERE}settings/", {"layout-blocks": "9", "was-layout-blocks": "3"})
    assert (refused.status_code, "can no longer change" in told(refused)) == (422, True)


def test_people_are_a_list_like_the_gardens(planned: Visitor, tmp_path: Path) -> None:
    """Typed or pasted, in any language; the command does the same; what is wrong stands beside it; it is taken back."""
    shutil.copytree(planned.desk.workspace.folder, tmp_path / "before")
    here = f"{HERE}list/people/"
    form = _form(planned.get(here).text)
    assert form["text"] == "Name\tRoles"
    text = "Nombre\tFunciones\tORCID iD\r\nFern, A.\tautor; data manager\t0000-0002-1825-0097"
    typed = {**form, "go": "save", "text": text}
    refused = planned.post(here, {**typed, "text": typed["text"].replace("data manager", "gardener")})
    assert (refused.status_code, "gardener" in told(refused), "data manager" in told(refused)) == (422, True, True)
    assert planned.desk.done == []
    assert planned.post(here, typed).status_code == 303
    (person,) = trialkit.Trial(_folder(planned)).protocol.publication.people
    assert (person.name, person.roles) == ("Fern, A.", ("author", "data manager"))
    assert _repeated(planned, tmp_path / "before") == contents(planned.desk.workspace.folder)
    assert "author; data manager" in planned.get(here).text
    assert planned.post(here, typed).status_code == 422, "another window saw it before"
    assert planned.post(f"{HERE}take-back").status_code == 303
    assert trialkit.Trial(_folder(planned)).protocol.publication.people == ()


def test_settings_of_a_spanish_desk(planned: Visitor) -> None:
    """Names, meanings and choices are Spanish; what is chosen or typed so is the same value."""
    planned.client.set_cookie("desk-language", "es", domain="127.0.0.1")
    page = planned.get(f"{HERE}settings/").text
    for text in ("bloques completos al azar", "Si se analiza el peso.", "Margen (g)", "Si está vacío: ambas"):
        assert text in page, text
    assert "Whether" not in page
    form = _form(page)
    acids = _form(planned.get(f"{HERE}list/products/").text)
    assert "\tácido" in acids["text"]
    assert "\tacid" not in acids["text"]
    assert planned.post(f"{HERE}list/products/", {**acids, "go": "save"}).status_code == 303
    assert planned.desk.done == [], "the same list, in other words"
    changed = {
        "factors-acidifier-levels": f"{form['factors-acidifier-levels']}\r\nninguno",
        "decision-current_practice-acidifier": "Ninguno",
        "trial-measures": "kitchen",
    }
    assert planned.post(f"{HERE}settings/", {**form, **changed}).status_code == 303
    protocol = trialkit.Trial(_folder(planned)).protocol
    assert protocol.factors["acidifier"].levels[-1] == protocol.decision.current_practice["acidifier"] == "none"
    assert protocol.trial.measures == "kitchen"
    assert "ninguno" in _form(planned.get(f"{HERE}settings/").text)["factors-acidifier-levels"]


def test_a_spanish_desk_says_in_spanish_what_cannot_be(visitor: Visitor) -> None:
    """Why a layout that stands forbids it; that somebody was quicker; what comes first, of work that takes long."""
    copy_example("spring_dose", visitor.desk.workspace.folder / "spring")
    visitor.client.set_cookie("desk-language", "es", domain="127.0.0.1")
    here = f"{HERE}list/sites/"
    form = {**_form(visitor.get(here).text), "go": "save"}
    other = {**form, "text": form["text"].replace("FERN", "HILL")}
    refused = visitor.post(here, other)
    assert (refused.status_code, "ya tiene registros" in told(refused)) == (422, True)
    assert "Todo lo demás puede cambiar. Un huerto entra o se retira con" in told(refused)
    run("set", _folder(visitor), "--table", f"sites={_with(visitor, 'moved')}")
    refused = visitor.post(here, {**form, "text": form["text"].replace("school", "Schule")})
    assert (refused.status_code, "cambió desde que usted abrió esta página" in told(refused)) == (422, True)
    gone = visitor.post(f"{HERE}answer/keep")
    job = visitor.desk.jobs
    until = time.monotonic() + 60
    while (found := job.get(gone.location.rpartition("/")[2])) is not None and found.state == "working":
        assert time.monotonic() < until
        time.sleep(0.05)
    assert found is not None
    assert found.trouble is not None
    assert "ejecute primero trialkit analyse" in found.trouble.sentences[0]


def _with(visitor: Visitor, note: str) -> Path:
    """A list of the gardens with a note."""
    path = visitor.desk.workspace.folder.parent / "gardens.csv"
    trialkit.Trial(_folder(visitor)).sites().assign(note=note).to_csv(path, index=False)
    return path


def test_a_folder_of_any_name_leads_to_itself(planned: Visitor) -> None:
    """What a person called it elsewhere: questions, signs of addresses."""
    odd = "what? #1 100%41"
    _folder(planned).rename(planned.desk.workspace.folder / odd)
    here = f"/trial/{quote(odd, safe='')}/"
    page = planned.get(f"{here}settings/")
    answer = planned.post(f"{here}settings/", {**_form(page.text), "trial-season": "spring 2029"})
    assert answer.location == f"{here}settings/"
    assert planned.get(answer.location).status_code == 200
    answer = planned.post(f"{here}sizes/", {"gardens": "3", "blocks": "2", "heads": "4"})
    assert planned.get(answer.location).status_code == 200
    assert planned.post(f"{here}layout").location == here


def test_another_language_is_spoken_where_one_is(planned: Visitor) -> None:
    """The page stays, with what its address asked for."""
    here = f"{HERE}sizes/?gardens=5&blocks=2&heads=3"
    back = re.search(r'action="/language".*?name="back" value="([^"]+)"', planned.get(here).text, re.DOTALL)
    assert back
    assert unescape(back[1]) == here
    assert planned.post("/language", {"language": "es", "back": here}).location == here
    assert planned.post("/language", {"language": "es", "back": "//elsewhere.example"}).location == "/"


def test_a_list_that_was_not_there_is_not_taken_back(planned: Visitor) -> None:
    """There is nothing to bring back, and no command that would: no button says so."""
    (_folder(planned) / "sites.csv").unlink()
    page = planned.get(f"{HERE}list/sites/")
    seen = re.search(r'name="seen" value="([^"]*)"', page.text)
    assert seen
    sent = {"go": "save", "seen": seen[1], "text": "FERN\nMILL\nHARB"}
    assert planned.post(f"{HERE}list/sites/", sent).status_code == 303
    assert len(trialkit.Trial(_folder(planned)).sites()) == 3
    assert "take-back" not in planned.get(HERE).text
