"""From records to a handout and the next trial by the buttons of the desk; its commands do the same."""

from __future__ import annotations

import base64
import io
import re
import shlex
import shutil
from collections.abc import Callable
from contextlib import chdir
from dataclasses import replace
from datetime import date
from html import unescape
from pathlib import Path

import pytest
from PIL import Image

import trialkit
from commands import DONE, run
from contents import contents
from desk_visitor import Visitor, main_part, told
from english_left import english_left
from trialkit.documents.decision import NoDecision
from trialkit.documents.document import as_text
from trialkit.documents.results import Results
from trialkit.languages import speaking
from trialkit.protocol.county import read_county
from trialkit.words import decision_words, default_words
from trialkit.words.measures import measures_of
from trialkit.words.phrases import date_words

NAMES = (
    *("Fenleaf", "Larkmoor Butter", "Copperfrill", "Paleheart", "Mossridge", "Tarnfrost"),
    *("white vinegar 5 %", "citric acid", "volunteer-cultivars", "spring-2028"),
    "Six lettuce cultivars in the gardens of 24 volunteers",
)
"""What the example trials call things, and the name of a folder that a hint gives."""


@pytest.fixture
def filed(visitor: Visitor) -> Visitor:
    """A desk with one trial whose records are in."""
    trialkit.Trial.example("volunteer_cultivars", visitor.desk.workspace.folder / "summer")
    return visitor


def test_from_records_to_the_next_trial(filed: Visitor, tmp_path: Path) -> None:
    """Analyse, keep, recommend, follow; every page says what is there."""
    assert "has not been worked out yet" in told(filed.get("/trial/summer/answer/"))
    assert filed.done("/trial/summer/answer/analyse") == "/trial/summer/answer/"
    page = filed.get("/trial/summer/answer/")
    assert "Fenleaf" in told(page)
    assert "trialkit analyse summer" in page.text
    report = filed.get("/trial/summer/file/results/report.html")
    assert report.status_code == 200
    assert report.data == (filed.desk.workspace.folder / "summer" / "results" / "report.html").read_bytes()

    assert filed.done("/trial/summer/answer/keep") == "/ledger/"
    assert "This trial is in the ledger" in told(filed.get("/trial/summer/answer/"))
    assert "has not been written yet" in told(filed.get("/ledger/"))
    filed.done("/ledger/recommend", {"language": "es"})
    ledger = filed.get("/ledger/")
    assert "This is the first version" in told(ledger)
    assert "handout.html" in ledger.text
    assert 'lang="es' in filed.get("/ledger/file/handout.html").text
    assert 'lang="en' in filed.get("/ledger/file/pool.html").text
    document = trialkit.Ledger(filed.desk.workspace.ledger).recommended
    for language in ("en", "es"):
        filed.post("/language", {"language": language})
        ledger = filed.get("/ledger/")
        with speaking(language):
            said = (*default_words.answer(document), *default_words.changes(document), default_words.why_next(document))
            assert [one for one in said if " ".join(one.split()) not in unescape(told(ledger))] == []
            assert date_words(document.date) in told(ledger)
        if language == "es":
            assert english_left(main_part(ledger), NAMES) == []
    assert filed.done("/ledger/next", {"folder": "autumn-2028"}) == "/trial/autumn-2028/"
    filed.post("/language", {"language": "en"})  # what was written by the Spanish desk is what the command writes
    assert "Which should our next handout recommend" in told(filed.get("/"))

    refused = filed.post("/ledger/withdraw", {"entry": "volunteer-cultivars", "why": " ", "back": "/ledger/"})
    assert refused.status_code == 422
    assert "Say why" in told(refused)
    assert filed.post("/ledger/withdraw", {"entry": "volunteer-cultivars", "why": "wrong feed"}).status_code == 303
    page = told(filed.get("/ledger/"))
    assert "wrong feed" in page
    assert "Every trial was withdrawn, so nothing is recommended now" in page
    assert "Write the handout" not in page
    (entry,) = trialkit.Ledger(filed.desk.workspace.ledger).entries()["id"]
    asked = {"entry": entry, "why": "the feed was right", "back": "/ledger/"}
    copy = shutil.copytree(filed.desk.workspace.ledger, tmp_path / "ledger")
    assert filed.post("/ledger/readmit", asked).status_code == 303
    (line,) = filed.shown_deeds()[-1][0]
    assert run(*shlex.split(line)[1:-1], copy).returncode == 0
    assert contents(copy) == contents(filed.desk.workspace.ledger)
    assert "Let it count again" not in told(filed.get("/ledger/"))
    assert "counts: it was added on" in told(filed.post("/ledger/readmit", asked))


@pytest.mark.parametrize("name", ["autumn_dose", "spring_dose", "volunteer_cultivars"])
def test_answers_speak_the_language_of_the_desk(
    visitor: Visitor, name: str, example_results: Callable[[str], Results]
) -> None:
    """That of each example, and of one without any; the question and the names stay as they were written."""
    results = example_results(name)
    trial = trialkit.Trial.example(name, visitor.desk.workspace.folder / "trial")
    written = trial.folder / "results" / "results.json"
    written.parent.mkdir(exist_ok=True)
    visitor.post("/language", {"language": "es"})
    none = NoDecision("practice_lost")
    for made in (results, replace(results, decision=None, no_decision=none)):
        written.write_text(as_text(made), "utf-8")
        page = visitor.get("/trial/trial/answer/")
        assert english_left(main_part(page), NAMES) == []
        assert 'lang="en"' not in main_part(page)
    assert "Sin recomendación. Ninguna lechuga de la práctica actual resultó aprovechable" in told(page)
    written.write_text(as_text(results), "utf-8")
    visitor.post("/language", {"language": "en"})
    assert results.decision is not None
    english = decision_words.sentences(results.decision, measures_of(results))
    assert all(" ".join(one.split()) in unescape(told(visitor.get("/trial/trial/answer/"))) for one in english)


def test_the_answer_says_which_records_the_ledger_holds(filed: Visitor, tmp_path: Path) -> None:
    """Those of before a correction are not those of now: they make place with a reason; the commands do the same."""
    here, folder, ledger = "/trial/summer/answer/", filed.desk.workspace.folder, filed.desk.workspace.ledger
    trial = trialkit.Trial(folder / "summer")
    trial.analyse()
    trialkit.Ledger(ledger).add(trial)
    assert "This trial is in the ledger" in told(filed.get(here))
    row = trial.heads().dropna(subset="weight_g").iloc[0]
    trial.correct(row["bucket"], int(row["head"]), why="read again", weight_g=str(row["weight_g"] + 1))
    assert "The records changed since: heads.csv. Work the answer out again" in told(filed.get(here))
    trial.analyse()
    page = told(filed.get(here))
    assert f"The ledger holds this trial as it was on {date_words(date.today())}" in page
    assert "This trial is in the ledger" not in page
    assert "Say why" in told(filed.post(f"{here}replace", {"why": " ", "back": here}))
    shutil.copytree(folder, tmp_path / "before")
    assert filed.done(f"{here}replace", {"why": "a weight was read again"}) == "/ledger/"
    assert trialkit.Ledger(ledger).entries()["counts"].tolist() == [False, True]
    assert "Let it count again" not in told(filed.get("/ledger/"))
    assert "This trial is in the ledger" in told(filed.get(here))
    with chdir(tmp_path / "before"):
        for line in filed.shown_deeds()[-1][0]:
            assert run(*shlex.split(line)[1:]).returncode == 0
    assert contents(tmp_path / "before") == contents(folder)


def test_an_answer_that_cannot_be_read_is_worked_out_again(filed: Visitor) -> None:
    """Results of another version, or damaged, stand in nobody's way."""
    folder = filed.desk.workspace.folder / "summer"
    trialkit.Trial(folder).analyse()
    results = folder / "results" / "results.json"
    results.write_text(results.read_text("utf-8").replace('"decision"', '"decided"', 1), "utf-8")
    page = filed.get("/trial/summer/answer/")
    assert page.status_code == 200
    assert "another version of trialkit wrote it, or it is damaged. Work it out again" in told(page)
    assert filed.done("/trial/summer/answer/analyse") == "/trial/summer/answer/"


@pytest.mark.parametrize("name", ["../x", "ledger", "Summer", "con", "a" * 41, "sum mer", ""])
def test_folders_of_new_trials_have_plain_names(filed: Visitor, name: str) -> None:
    """No path, no name that some system keeps for itself, no name twice."""
    answer = filed.post("/ledger/next", {"folder": name, "back": "/ledger/"})
    assert answer.status_code == 422
    assert [path.name for path in filed.desk.workspace.folder.iterdir()] == ["summer"]


def test_the_county_is_set_with_its_logo(filed: Visitor, tmp_path: Path) -> None:
    """What was typed stands in county.toml, as the command writes it; a logo that is none is refused in words."""
    texts = {"name": "Larkmoor County", "contact": "Horticulture desk", "measures": "metric"}
    drawn = io.BytesIO()
    Image.effect_noise((120, 60), 90).save(drawn, "png")
    assert filed.post("/county/", {**texts, "logo": (io.BytesIO(drawn.getvalue()), "../mine.png")}).status_code == 303
    page = filed.get("/county/")
    assert 'value="Larkmoor County"' in page.text
    shown = re.search(r"data:image/png;base64,([^\"]+)", page.text)
    assert shown
    assert base64.b64decode(shown[1], validate=True) == drawn.getvalue()  # a picture, not a part of one
    (tmp_path / "mine.png").write_bytes(drawn.getvalue())
    other = tmp_path / "other"
    other.mkdir()
    words = [word for key, value in texts.items() for word in (f"--{key}", value)]
    run("county", other, *words, "--logo", tmp_path / "mine.png")
    for name in ("county.toml", "county-logo.png"):
        assert (filed.desk.workspace.folder / name).read_bytes() == (other / name).read_bytes()
    refused = filed.post("/county/", {**texts, "logo": (io.BytesIO(b"<svg>"), "logo.png"), "back": "/county/"})
    assert refused.status_code == 422
    assert "PNG" in told(refused)


def test_what_two_windows_set_of_the_county_is_all_there(filed: Visitor) -> None:
    """A window that was opened before changes what was changed in it alone, and overwrites nothing."""
    opened = {"was-name": "", "was-contact": ""}
    assert filed.post("/county/", {"name": "Larkmoor County", "contact": "", **opened}).status_code == 303
    assert filed.post("/county/", {"name": "", "contact": "Horticulture desk", **opened}).status_code == 303
    assert filed.post("/county/", {"name": "Larkmoor", "contact": "", **opened}).status_code == 422
    said = read_county(filed.desk.workspace.folder)
    assert said is not None
    assert (said.county.name, said.county.contact) == ("Larkmoor County", "Horticulture desk")


def test_a_county_of_the_folder_above_is_taken_over_whole(filed: Visitor, tmp_path: Path) -> None:
    """What is set here counts alone, so that what was shown and not changed is written with it, the logo included."""
    folder, logo = filed.desk.workspace.folder, tmp_path / "mine.png"
    Image.new("RGB", (120, 60), "green").save(logo)
    above = {"name": "Larkmoor County", "contact": "Horticulture desk", "logo": str(logo)}
    trialkit.Ledger(folder.parent).county(**above)
    assert 'value="Larkmoor County"' in filed.get("/county/").text
    assert filed.post("/county/", {"programme": "Garden Advice", "was-programme": ""}).status_code == 303
    said = read_county(folder)
    assert said is not None
    assert said.file.parent == folder
    assert (said.county.name, said.county.programme, said.county.contact) == (
        "Larkmoor County", "Garden Advice", "Horticulture desk",
    )  # fmt: skip
    assert said.logo == logo.read_bytes()


def test_nothing_but_our_own_pages_is_shown(filed: Visitor) -> None:
    """A page that a stranger put into the results is not there; nor is any path out of them, nor a link."""
    results = filed.desk.workspace.folder / "summer" / "results"
    results.mkdir()
    (results / "theirs.html").write_text("<!DOCTYPE html><script>alert(1)</script>", "utf-8")
    (results / "linked.html").symlink_to(Path(__file__))
    for path in ("theirs.html", "linked.html", "..%2ftrial.toml", "%2e%2e/trial.toml", "nothing.html"):
        assert filed.get(f"/trial/summer/file/results/{path}").status_code == 404, path
    assert filed.get("/trial/summer/file/returned/theirs.html").status_code == 404
    assert filed.get("/trial/..%2fsummer/").status_code == 404


def test_what_data_of_the_county_tell_alike_is_set_once(filed: Visitor, tmp_path: Path) -> None:
    """People as a list, licence and country; the command does the same; what is wrong stands beside what was typed."""
    people = "Name\tRoles\r\nDesk of Larkmoor\tcontact; author"
    form = {"name": "Larkmoor County", "licence": "CC0-1.0", "country": "US", "people": people}
    refused = filed.post("/county/", {**form, "country": "Larkmoor", "people": people})
    assert (refused.status_code, 'aria-invalid="true"' in refused.text) == (422, True)
    assert "Desk of Larkmoor" in refused.text
    assert 'value="Larkmoor"' in refused.text
    assert not (filed.desk.workspace.folder / "county.toml").exists()
    assert filed.post("/county/", form).status_code == 303
    block = read_county(filed.desk.workspace.folder)
    assert block is not None
    assert [(one.name, one.roles) for one in block.publication.people] == [("Desk of Larkmoor", ("contact", "author"))]
    (tmp_path / "other").mkdir()
    _, deed = filed.desk.done[-1]
    with chdir(tmp_path / "other"):
        for name, data in deed.files:
            Path(name).write_bytes(data)
        assert run(*shlex.split(deed.command_lines[0])[1:]).returncode == DONE
    made = (tmp_path / "other" / "county.toml").read_bytes()
    assert made == (filed.desk.workspace.folder / "county.toml").read_bytes()
    assert filed.post("/county/", {**form, "people": ""}).status_code == 303
    block = read_county(filed.desk.workspace.folder)
    assert block is not None
    assert (block.publication.people, block.publication.country) == ((), "US")
