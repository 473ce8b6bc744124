"""The page of a check: to the right person, in their words, and no larger than the problems."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd

from english_left import english_left
from honest_records import Records, write_records
from trialkit.report.check_page import asked_gardens, check_html
from trialkit.rules.trial_folder import check_trial
from trialkit.tables.table_schema import load_schema
from trialkit.words.message_words import names_in
from trialkit.words.problem_words import MESSAGES
from trialkit.words.question_words import QUESTIONS, WHAT


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
    told = text_of(mill)
    assert "We have 1 question about 1 bucket. The trial needs the answer." in told
    assert "send the page to county horticulture adviser ." in told
    asked = (
        r"Bucket \w{4} How many grams did the head weigh\? Head 1 \. Nothing is written down\. We expected a weight, "
    )
    assert re.search(asked + r"because it was cut \. needed nobody weighed it or:", told)
    assert "1600" not in mill
    fern = text_of(check_html(result, "Trial", "FERN"))
    assert "Thank you for your records. We have 1 question about 1 bucket. If your record is right, tick" in fern
    assert "Head 4 . We read 1600 g . We expected at most 30 g for each day that it grew . it is right Answer:" in fern


def test_the_adviser_reads_everything(tmp_path: Path) -> None:
    """The page of the whole trial has every garden, and what is wrong with the set-up before them."""
    write_records(tmp_path, spoil)
    protocol = (tmp_path / "trial.toml").read_text("utf-8")
    (tmp_path / "trial.toml").write_text(protocol.replace("blocks = 2", "block = 2"), "utf-8")
    page = text_of(check_html(check_trial(tmp_path), "Trial"))
    assert page.index("For the adviser") < page.index("Fernsedge School")
    assert "trial.toml, line 17 · layout.block" in page
    assert "Station Road" not in page


def test_the_adviser_reads_first_what_to_fix_where_and_what_next(tmp_path: Path) -> None:
    """How many things must be fixed, file by file, and the next steps: the page of a garden begins otherwise."""
    write_records(tmp_path, spoil)
    result = check_trial(tmp_path)
    page = check_html(result, "Trial")
    card = text_of(page[: page.index("</section>")])
    assert "1 thing to fix" in card
    assert "heads.csv 1 to fix 1 to look at" in card
    assert "Ask the gardens Fernsedge School and Old Mill Library: the page of each stands beside this one" in card
    assert card.index("heads.csv") < card.index("What next") < card.index("Then run trialkit check again.")
    assert "“For the adviser”" not in card
    assert 'class="answer-card' not in check_html(result, "Trial", "MILL")
    protocol = (tmp_path / "trial.toml").read_text("utf-8")
    (tmp_path / "trial.toml").write_text(protocol.replace("blocks = 2", "block = 2"), "utf-8")
    page = check_html(check_trial(tmp_path), "Trial")
    card = text_of(page[: page.index("</section>")])
    assert card.index("trial.toml 1 to fix") < card.index("Put right what stands under “For the adviser”")


def test_warnings_alone_stop_nothing(tmp_path: Path) -> None:
    """The card says so."""

    def heavy(records: Records) -> None:
        records.heads.loc[3, "weight_g"] = 1600.0

    write_records(tmp_path, heavy)
    page = text_of(check_html(check_trial(tmp_path), "Trial"))
    assert "Nothing to fix, 1 thing to look at" in page
    assert "heads.csv 1 to look at" in page
    assert "You may also go on at once" in page


def test_nothing_to_do_is_said(tmp_path: Path) -> None:
    """Records in order make a page of one sentence."""
    write_records(tmp_path)
    page = text_of(check_html(check_trial(tmp_path), "Trial"))
    assert "Everything that was written down is in order. There is nothing to do." in page
    assert 'class="asked' not in page


def test_many_alike_are_asked_by_twelve_and_told_by_their_buckets(tmp_path: Path) -> None:
    """Forty heads without a weight do not make forty places to answer."""

    def forget(records: Records) -> None:
        records.heads.loc[0:39, "weight_g"] = float("nan")

    write_records(tmp_path, forget)
    page = text_of(check_html(check_trial(tmp_path), "Trial", "FERN"))
    assert "We have 40 questions about 10 buckets" in page
    assert page.count("Nothing is written down") == page.count("or:") == 12
    assert page.count("How many grams did the head weigh?") == 4  # of three buckets, and of the rest
    assert re.search(
        r"We ask the same about 28 more records, of buckets (\w{4}, ){5}\w{4} and \w{4}\. Please look", page
    )


def test_no_code_column_or_file_stands_on_a_garden_page(tmp_path: Path) -> None:
    """Slips of every kind, in the words and the language of who stands there; the adviser is told where each stands."""

    def spoil_much(records: Records) -> None:
        spoil(records)
        records.heads.loc[7, ["outcome", "weight_g"]] = ["not_ready", 80.0]
        records.heads = records.heads.drop(index=20)
        records.heads.loc[40, "outcome"] = "not_weighed"
        records.heads.loc[44, "harvested_on"] = records.heads.loc[44, "transplanted_on"] - pd.Timedelta(days=3)
        records.solution.loc[2, "ph_after"] = records.solution.loc[2, "ph_before"] + 1
        records.mix(3, volume_l=60.0)
        records.mix(5, nutrient_tsp=9.0)

    write_records(tmp_path, spoil_much)
    result = check_trial(tmp_path)
    codes = re.compile(r"TK-|\.csv|\.toml|[a-z]_[a-z]|layout|column|row \d|trialkit (?!check\.)")
    for site in asked_gardens(result):
        page = check_html(result, "Trial", site)
        assert codes.findall(text_of(page)) == []
        numbers = [int(number) for number in re.findall(r'<li value="(\d+)"', page)]
        assert numbers == list(range(1, len(numbers) + 1))
        assert page.count('class="line"') == len(numbers)
    assert re.search(r"heads.csv, row \d+, TK-H04", text_of(check_html(result, "Trial")))
    spanish = replace(result, languages=dict.fromkeys(result.sites, "es"))
    names = [*result.sites.values(), "Trial", "trialkit check"]
    for site in asked_gardens(result):
        page = check_html(spanish, "Trial", site)
        assert english_left(page, names) == []
        assert page.count('<li value="') == check_html(result, "Trial", site).count('<li value="')


ADVISERS = ("TK-H17", "TK-H22", "TK-S02", "TK-S08", "TK-S09", "TK-V15")
"""What no volunteer need answer: of all gardens or of products, accepted by a note, or read without doubt."""


def test_every_rule_of_records_is_a_question() -> None:
    """Each case has words for a volunteer, of facts that its message knows too; each column has its question."""
    told = {code: names_in(" ".join(vars(words).values())) for code, words in MESSAGES.items()}
    for code, template in QUESTIONS.items():
        known = set().union(*(names for case, names in told.items() if case.startswith(code[:6])))
        assert names_in(f"{template.expected} {template.found}") <= known, code
        assert names_in(" ".join((template.question, *template.choices))) == set(), code
    asked = {code for code in MESSAGES if code[3] in "HSV" and code[:6] not in ADVISERS}
    assert {code for code in asked if code not in QUESTIONS and code[:6] not in QUESTIONS} == set()
    assert {code for code in QUESTIONS if code[:6] in ADVISERS} == set()
    columns = {field.name for name in ("heads", "solution", "visits") for field in load_schema(name).fields}
    assert columns == set(WHAT)


def test_each_garden_is_asked_in_its_language(tmp_path: Path) -> None:
    """Its own or the trial's; the adviser is told in English of all."""
    write_records(tmp_path, spoil)
    sites = tmp_path / "sites.csv"
    head, fern_row, mill_row, stat_row = sites.read_text("utf-8").splitlines()
    sites.write_text(f"{head},language\n{fern_row},\n{mill_row},es\n{stat_row},xx\n", "utf-8")
    result = check_trial(tmp_path)
    assert result.languages == {"FERN": "en", "MILL": "es", "STAT": "en"}
    mill, fern, adviser = (check_html(result, "Which dose?", site) for site in ("MILL", "FERN", None))
    assert ['lang="es-US"' in page for page in (mill, fern, adviser)] == [True, False, False]
    told = text_of(mill)
    assert "Gracias por sus registros. Tenemos 1 pregunta sobre 1 balde. El ensayo necesita la respuesta." in told
    assert "mande la página a: asesor de horticultura del condado" in told
    asked = r"Balde \w{4} ¿Cuántos gramos pesó la lechuga\? Lechuga 1 \. No hay nada anotado\. Esperábamos: un peso, "
    assert re.search(asked + r"porque se cortó \. necesaria nadie la pesó o:", told)
    assert english_left(mill, ["Which dose?", "Old Mill Library", "trialkit check"]) == []
    assert "We have" in text_of(fern)
    assert "We have" not in text_of(mill)
    assert "How many grams did the head weigh?" in text_of(adviser)
    protocol = tmp_path / "trial.toml"
    protocol.write_text(protocol.read_text("utf-8").replace("[trial]", '[trial]\nlanguage = "es"', 1), "utf-8")
    assert check_trial(tmp_path).languages == {"FERN": "es", "MILL": "es", "STAT": "es"}


def test_the_numbers_of_the_greeting(tmp_path: Path) -> None:
    """What waits for an answer is told apart from what may be right as it stands."""
    write_records(tmp_path, spoil)
    page = text_of(check_html(check_trial(tmp_path), "Trial"))
    assert "2 things need a second look. The answer of the trial waits for 1 of them." in page
    assert page.count("Bucket ") == 2


def test_the_same_check_gives_the_same_page(pages: Any, tmp_path: Path) -> None:
    """No clock, no chance and no path in the page."""
    write_records(tmp_path, spoil)
    result = check_trial(tmp_path)
    page = check_html(result, "Trial")
    assert page == check_html(check_trial(tmp_path), "Trial")
    assert str(tmp_path) not in page
    assert "<script" not in pages["hostile check"]
