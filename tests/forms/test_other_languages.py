"""Forms of a garden that reads another language: nothing English on them, and what comes back is the same record."""

from __future__ import annotations

import csv
import io
import json
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from chromium import complaints
from commands import run
from english_left import english_in, texts_of
from laid_out_trial import laid_out
from phone_page import first_bucket, go, opened, saved, written
from spanish_reading import QUITE_EASY, perspicuity
from trialkit.domain.table_names import RECORD_TABLES, TableName
from trialkit.forms.phone import phone_form
from trialkit.forms.workbook import LONGEST_PROMPT_TITLE, record_workbook
from trialkit.languages import LANGUAGES, gettext, speaking
from trialkit.rules.trial_folder import CheckedTrial
from trialkit.tables.table_schema import load_schema

NAMES = ("Fernsedge School", "Which one?", "white vinegar 5 %", "Blend L", "FERN", "Dose")
"""What the trial itself calls things."""
BUCKETS = 3
WAS_SEEN = {
    "64 heads planted on this day. Now choose each bucket below where it was otherwise.",
    "16 buckets as on the card. 8 buckets get acid: choose each and write down how much it took.",
    "This is not a number. Write figures only, without a unit.",
    "Too large: expected 1 to 2000 g.",
    "Too small: expected 1 to 2000 g.",
    "Unusual: mostly 20 to 1000 g. Weigh again. If it is right, leave it.",
    "Read as 5.5 oz, kept as 155.9 g. ",
    "There is no bucket ZZZZ in this garden.",
    "Leave this empty, as the outcome says that the head was not weighed.",
    "This is before the day of transplanting.",
    "Keep what is here",
}
"""What the walk through the form must have come by."""
BROKEN_LABELS = """() => [...document.querySelectorAll('label')].filter(one => one.offsetParent).flatMap(one => {
  const text = one.firstChild;
  return [...text.data.matchAll(/\\S+/g)].filter(word => {
    const range = document.createRange();
    range.setStart(text, word.index);
    range.setEnd(text, word.index + word[0].length);
    return range.getClientRects().length > 1;
  }).map(word => word[0]);
})"""
"""Words of labels that stand on two lines."""
Cell = str | int | float | date


def trial_in(language: str, folder: Path) -> CheckedTrial:
    """Return a small trial, laid out, whose garden Fernsedge reads a language."""
    return laid_out(folder / language, language=language)


@pytest.fixture
def trials(tmp_path: Path) -> dict[str, CheckedTrial]:
    """The same trial in English and in Spanish."""
    return {language: trial_in(language, tmp_path) for language in ("en", "es")}


def said(language: str, table: TableName, column: str, value: str) -> str:
    """Return what a form's list says for a value."""
    with speaking(language):
        return load_schema(table).field(column).said(value)


def typed(language: str, day: date) -> str:
    """Write a day out, as people do who do not keep to the form that was asked for."""
    spanish = {8: "agosto", 9: "septiembre", 10: "octubre"}
    return f"{day.day} de {spanish[day.month]} de {day.year}" if language == "es" else f"{day:%-d %B %Y}"


def season(trial: CheckedTrial, language: str) -> dict[TableName, list[dict[str, Cell]]]:
    """Return what a volunteer writes in each row: words of the lists, days written out, decimals with a comma."""
    rows = trial.layout[trial.layout["site"] == "FERN"].sort_values(["block", "position"])["bucket"]
    fates = [value for value in load_schema("heads").field("outcome").enum or () if value != "harvested"]
    heads: list[dict[str, Cell]] = []
    for number, (bucket, head) in enumerate((bucket, head) for bucket in rows[:BUCKETS] for head in (1, 2, 3, 4)):
        row: dict[str, Cell] = {"bucket": bucket, "head": head, "transplanted_on": typed(language, date(2026, 8, 20))}
        if number < len(fates):
            fate = fates[number]
            row["outcome"] = said(language, "heads", "outcome", fate)
            if fate == "not_weighed":
                row["harvested_on"] = date(2026, 10, 1)
        else:
            row |= {
                "outcome": said(language, "heads", "outcome", "harvested"),
                "harvested_on": typed(language, date(2026, 9, 29)),
                "last_not_ready_on": date(2026, 9, 26),
                "weight_g": "152,5",
                "marketable": said(language, "heads", "marketable", "no" if number % 2 else "yes"),
            }
        heads.append(row)
    mixing: dict[str, Cell] = {
        "bucket": rows.iloc[0],
        "measured_on": typed(language, date(2026, 8, 20)),
        "volume_l": 20,
        "nutrient_tsp": "6,5",
        "ph_before": "7,2",
        "ph_after": 6,
        "ec_ms_cm": "1,35",
    }
    visit: dict[str, Cell] = {"site": "FERN", "visited_on": typed(language, date(2026, 8, 25)), "note": "todo bien"}
    return {"heads": heads, "solution": [mixing], "visits": [visit]}


def filled(trial: CheckedTrial, language: str) -> openpyxl.Workbook:
    """Fill in the garden's workbook, its sheets and columns found by what stands on them."""
    book = openpyxl.load_workbook(io.BytesIO(record_workbook(trial, "FERN")))
    for table, rows in season(trial, language).items():
        with speaking(language):
            schema = load_schema(table)
            sheet = book[gettext(schema.title).lower()]
            headings = {field.heading: field.name for field in schema.on_forms}
        columns = {headings[cell.value]: cell.column for cell in sheet[1]}
        keys = [name for name in schema.primary_key if name in ("bucket", "head", "site")]
        for row in rows:
            own = next(
                place
                for place in range(2, sheet.max_row + 1)
                if all(sheet.cell(place, columns[key]).value == row[key] for key in keys)
            )
            for name, value in row.items():
                sheet.cell(own, columns[name]).value = value
    return book


def as_workbook(book: openpyxl.Workbook, folder: Path) -> list[Path]:
    """Save the workbook."""
    path = folder / "fern.xlsx"
    book.save(path)
    return [path]


def as_csv(book: openpyxl.Workbook, folder: Path, encoding: str = "utf-8") -> list[Path]:
    """Save each sheet of records as a program does where the decimal is a comma."""
    found = []
    for number, sheet in enumerate(book.worksheets[1 : 1 + len(RECORD_TABLES)]):
        path = folder / f"sheet{number}.csv"
        with path.open("w", encoding=encoding, newline="") as file:
            writer = csv.writer(file, delimiter=";")
            writer.writerows(
                ["" if value is None else value.date() if hasattr(value, "date") else value for value in row]
                for row in sheet.iter_rows(values_only=True)
            )
        found.append(path)
    return found


def as_older_csv(book: openpyxl.Workbook, folder: Path) -> list[Path]:
    """The same by a program that knows no Unicode."""
    return as_csv(book, folder, "cp1252")


def merged(trial: CheckedTrial, files: list[Path]) -> tuple[dict[str, bytes], list[tuple[str, str]]]:
    """Merge files: the tables of the record, and what was noted by rule and column, but for the encoding of a file."""
    noted = []
    for path in files:
        done = run("merge", trial.folder, path, "--json")
        assert done.returncode == 0, done.stdout + done.stderr
        for returned in json.loads(done.stdout)["answer"]["files"]:
            noted += [(one["rule"], one["column"]) for one in returned["findings"] if one["rule"] != "TK-R01"]
    return {table: (trial.folder / f"{table}.csv").read_bytes() for table in RECORD_TABLES}, noted


@pytest.mark.parametrize("handed_back", [as_workbook, as_csv, as_older_csv])
def test_what_comes_back_in_spanish_is_the_same_record(
    trials: dict[str, CheckedTrial], tmp_path: Path, handed_back: Callable[[openpyxl.Workbook, Path], list[Path]]
) -> None:
    """Headings, fates, yes and no, days and decimals: tables and notes are those of the English form."""
    found = {}
    for language, trial in trials.items():
        folder = tmp_path / f"back-{language}"
        folder.mkdir()
        found[language] = merged(trial, handed_back(filled(trial, language), folder))
    assert found["es"] == found["en"]
    tables, noted = found["es"]
    assert {rule for rule, _ in noted}.isdisjoint({"TK-R19", "TK-R50", "TK-R54"})
    heads = tables["heads"].decode()
    assert heads.count("2026-08-20") == 4 * BUCKETS
    assert heads.count("152.5") == 4 * BUCKETS - 9
    assert all(f",{fate}," in heads for fate in load_schema("heads").field("outcome").enum or ())


def test_what_is_english_is_read_without_another_language(trials: dict[str, CheckedTrial], tmp_path: Path) -> None:
    """Catalogues and names of other languages take a while to load: only what comes back in one has them loaded."""
    code = (
        "import sys; from pathlib import Path; from trialkit.returns.merge_files import merge_files; "
        "folder, *files = map(Path, sys.argv[1:]); "
        "assert all(file.merged for file in merge_files(folder, files).files); print('babel' in sys.modules)"
    )
    for language, trial in trials.items():
        files = as_workbook(filled(trial, language), tmp_path) + as_csv(filled(trial, language), tmp_path)
        done = subprocess.run(
            [sys.executable, "-c", code, trial.folder, *files], capture_output=True, text=True, check=False
        )
        assert (done.stdout, done.stderr) == (f"{language == 'es'}\n", "")


def test_a_language_without_a_catalogue_is_an_error(tmp_path: Path) -> None:
    """It names file, row and column, and the languages that there are."""
    trial = trial_in("es", tmp_path)
    path = trial.folder / "sites.csv"
    path.write_text(path.read_text("utf-8").replace(",es\n", ",xx\n"), "utf-8")
    done = run("check", trial.folder)
    assert done.returncode == 1
    (line,) = [line for line in done.stdout.splitlines() if "language" in line]
    assert line.startswith('error: sites.csv, row 2, column language: found "xx". Expected one of en, es.')
    assert run("forms", trial.folder).returncode != 0


def texts_of_workbook(data: bytes) -> Iterator[str]:
    """Yield all that somebody reads in a workbook: names of sheets, cells, lists, and what a cell says of itself."""
    for sheet in openpyxl.load_workbook(io.BytesIO(data)):
        if sheet.sheet_state != "visible":
            continue
        yield sheet.title
        yield from (value for row in sheet.iter_rows(values_only=True) for value in row if isinstance(value, str))
        for rule in sheet.data_validations.dataValidation:
            yield from (rule.promptTitle, rule.prompt, rule.errorTitle, rule.error)
            if rule.type == "list":
                yield from rule.formula1.strip('"').split(",")


def test_no_english_is_left_in_the_workbook(trials: dict[str, CheckedTrial]) -> None:
    """Sheets, headings, notes, lists, and what is said where a cell is refused."""
    texts = list(texts_of_workbook(record_workbook(trials["es"], "FERN")))
    assert {"Léame primero", "lechugas", "solución", "visitas", "Peso (g)", "sí"} <= set(texts)
    assert english_in(texts, NAMES) == []


def test_spanish_forms_read_easily(trials: dict[str, CheckedTrial]) -> None:
    """By the measure made for Spanish: the words on phone form and workbook, and all that the script can say."""
    page = phone_form(trials["es"], "FERN")
    data = json.loads(page.split('id="data">')[1].split("</script>")[0])
    by_script = [text for said in data["words"].values() for text in ([said] if isinstance(said, str) else said)]
    for texts in (texts_of(page), texts_of_workbook(record_workbook(trials["es"], "FERN")), by_script):
        sentences = [part for text in dict.fromkeys(texts) for part in re.split(r"(?<=[.?!:;])\s+", text)]
        assert perspicuity([part for part in sentences if len(part.split()) > 2]) >= QUITE_EASY


@pytest.mark.parametrize("language", LANGUAGES)
def test_what_a_cell_says_is_never_cut_short(language: str, tmp_path: Path) -> None:
    """Spreadsheet programs show 255 characters, and 32 of a title; a sheet's name has 31."""
    book = openpyxl.load_workbook(io.BytesIO(record_workbook(trial_in(language, tmp_path), "FERN")))
    for sheet in book:
        assert len(sheet.title) < LONGEST_PROMPT_TITLE
        for rule in sheet.data_validations.dataValidation:
            assert "…" not in f"{rule.promptTitle}{rule.prompt}{rule.errorTitle}{rule.error}"


def test_the_page_names_its_language(trials: dict[str, CheckedTrial]) -> None:
    """For whoever reads it aloud; the script is handed its words only where it does not say its own."""
    spanish, english = (phone_form(trials[language], "FERN") for language in ("es", "en"))
    assert '<html lang="es-US">' in spanish
    assert '<html lang="en">' in english
    assert '"plurals"' in spanish
    assert '"plurals"' not in english
    assert phone_form(trials["es"], "MILL").count('<html lang="en">') == 1  # each garden has its own


def seen(page: Any) -> list[str]:
    """Return what stands on the page now: texts, options and names of parts."""
    return page.evaluate(
        """() => {
          const shown = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
          const texts = [document.title];
          while (shown.nextNode()) {
            const one = shown.currentNode;
            if (!one.parentElement.closest('script, style')) texts.push(one.data);
          }
          document.querySelectorAll('[aria-label]').forEach(one => texts.push(one.getAttribute('aria-label')));
          return texts;
        }"""
    )


def filled_in(page: Any, bucket: str, folder: Path, texts: list[str]) -> Path:
    """Go through a season on the form, wrong entries among it, and save; `texts` gathers what was to be read."""
    look = lambda: texts.extend(seen(page))  # noqa: E731
    page.fill("#day", "2026-08-20")
    page.click("[data-task=planting]")
    page.click("[data-do=plant-all]")
    look()
    page.click("[data-task=mixing]")
    page.click("[data-do=card-all]")
    look()
    page.click("[data-do=undo]")
    go(page, bucket, "mixing")
    page.click("[data-do=card-bucket]")
    look()
    page.click("[data-task=readings]")
    page.click("[data-do=looked]")
    go(page, bucket, "readings")
    page.fill("#solution-ph_before", "7,2")
    look()
    page.fill("#day", "2026-09-29")
    page.click("[data-task=harvest]")
    go(page, bucket, "harvest")
    page.fill("#head1-weight_g", "152,5")
    page.select_option("#head1-marketable", "yes")
    for wrong in ("1700", "x", "5000", "0"):
        page.fill("#head2-weight_g", wrong)
        look()
    page.select_option("#unit", "oz")
    go(page, bucket, "harvest")
    page.fill("#head2-weight_g", "5,5")
    look()
    go(page, "ZZZZ", "harvest")
    look()
    go(page, bucket, "other")
    page.select_option("#head3-outcome", "bolted")
    page.select_option("#head4-outcome", "not_weighed")
    page.fill("#head4-weight_g", "5")
    look()
    page.fill("#head4-weight_g", "")
    page.fill("#head4-harvested_on", "2026-08-01")
    look()
    page.fill("#head4-harvested_on", "2026-09-29")
    page.click("[data-do=add-solution]")
    page.click("[data-do=add-visit]")
    look()
    path: Path = saved(page, folder)["path"]
    look()
    return path


def test_the_phone_form_speaks_spanish_and_hands_back_the_same_record(
    browser: Any, trials: dict[str, CheckedTrial], tmp_path: Path
) -> None:
    """No English on it whatever is done; its file has the record's own words and merges as the English form's does."""
    found: dict[str, Any] = {}
    texts: dict[str, list[str]] = {"en": [], "es": []}
    for language, trial in trials.items():
        folder = tmp_path / f"back-{language}"
        folder.mkdir()
        page = opened(browser, written(trial, "FERN", folder / "form.html"))
        path = filled_in(page, first_bucket(trial), folder, texts[language])
        found[language] = merged(trial, [path])
        page.fill("#head1-note", "otra cosa")
        page.set_input_files("#open", path)
        page.wait_for_function("document.querySelector('#handing-back')")
        texts[language] += seen(page)
        if language == "es":
            go(page, first_bucket(trial), "harvest")  # where words have least room
            page.set_viewport_size({"width": 320, "height": 740})
            assert page.evaluate("document.documentElement.scrollWidth") <= 320
            assert page.evaluate(BROKEN_LABELS) == []
            assert complaints(page) == []
        page.context.close()
    assert found["es"] == found["en"]
    assert set(texts["en"]) >= WAS_SEEN
    assert english_in(texts["es"], NAMES) == []
