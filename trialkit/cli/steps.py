"""What each command does with a trial folder, and the sentence it says; shared by the commands and the demo."""

from __future__ import annotations

import hashlib
import math
import shutil
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from trialkit.documents.document import DamagedDocument, as_text, as_written, from_text
from trialkit.domain.errors import NotComputed, WrongCall
from trialkit.domain.heads import LOST
from trialkit.tables.problem import TrialError
from trialkit.words.phrases import count

if TYPE_CHECKING:
    from trialkit.documents.results import Results
    from trialkit.rules.trial_folder import CheckResult, Stage

RESULTS_FOLDER, RESULTS_FILE, REPORT_FILE = "results", "results.json", "report.html"
DEMO_EXAMPLE = "autumn_dose"


@dataclass(frozen=True)
class Analysed:
    """Results as written, where, and a sentence about them."""

    results: Results
    path: Path
    sentence: str


def lay_out(folder: Path) -> str:
    """Randomise a trial and write layout.csv, unless records exist; say what is doubtful about it."""
    from trialkit.protocol.randomise import randomise, why_frozen
    from trialkit.rules.neighbours import labels_elsewhere
    from trialkit.rules.trial_folder import check_trial, read_trial
    from trialkit.tables.atomic import csv_text, write_text
    from trialkit.words.layout_words import frozen_words, labels_elsewhere_words
    from trialkit.words.problem_words import problem_sentence

    if reason := why_frozen(folder):
        raise WrongCall(frozen_words(reason, str(folder)))
    trial = read_trial(folder, stage="plan")
    layout = randomise(trial.protocol, trial.sites)
    path, text = folder / "layout.csv", csv_text(layout)
    replaced = path.is_file() and _lines(path) != text.splitlines()
    write_text(path, text)
    sites, plan = len(trial.sites), trial.protocol.layout
    sentence = (
        f"Layout: {len(layout)} buckets at {count(sites, 'garden')}, {len(layout) // sites} in each, {plan.kind} "
        f"with seed {trial.protocol.seed}, written to {path}."
        + (" It replaces an earlier, different layout: labels made from that one no longer hold." if replaced else "")
    )
    shared = labels_elsewhere_words(labels_elsewhere(folder, set(layout["bucket"])))
    return "\n".join([sentence, *shared, *map(problem_sentence, check_trial(folder, stage="layout").warnings)])


def _lines(path: Path) -> list[str]:
    """Read a table's lines, whatever line ends and byte-order mark a spreadsheet program gave them."""
    return path.read_text(encoding="utf-8-sig", errors="replace").splitlines()


def stage_of(folder: Path) -> Stage:
    """Tell how far a trial has come: records, or a layout without any, or a plan alone."""
    from trialkit.protocol.randomise import records_exist

    if records_exist(folder):
        return "records"
    return "layout" if (folder / "layout.csv").exists() else "plan"


def write_check_pages(folder: Path, result: CheckResult) -> list[Path]:
    """Write the page of a check and one for each garden that is asked something; take away those of earlier checks."""
    from trialkit.report.check_page import asked_gardens, check_html
    from trialkit.tables.atomic import write_text

    title = result.title or folder.resolve().name
    results = folder / "results"
    results.mkdir(exist_ok=True)
    pages = {"check.html": check_html(result, title)}
    pages |= {f"check-{site}.html": check_html(result, title, site) for site in asked_gardens(result)}
    for stale in results.glob("check-*.html"):
        if stale.name not in pages:
            stale.unlink()
    for name, page in pages.items():
        write_text(results / name, page)
    return [results / name for name in pages]


def analyse_folder(folder: Path, *, all_pairs: bool = False) -> Analysed:
    """Analyse a checked trial and write results/results.json."""
    from trialkit.analysis import analyse
    from trialkit.rules.trial_folder import read_trial
    from trialkit.tables.atomic import write_text

    results = analyse(read_trial(folder), all_pairs=all_pairs)
    text = as_text(results)
    path = folder / RESULTS_FOLDER / RESULTS_FILE
    path.parent.mkdir(exist_ok=True)
    write_text(path, text)
    return Analysed(from_text(type(results), text), path, f"{_answer(results)} Written to {path}.")


def write_report(folder: Path) -> str:
    """Write results/report.html from results/results.json."""
    from trialkit.report.page import report_html
    from trialkit.tables.atomic import write_text

    results = read_results(folder)
    changed = changed_inputs(folder, results)
    if changed:
        raise WrongCall(f"{', '.join(changed)} changed since the analysis: run trialkit analyse {folder} again.")
    path = folder / RESULTS_FOLDER / REPORT_FILE
    write_text(path, report_html(results))
    return f"Report: {path}"


def changed_inputs(folder: Path, results: Results) -> list[str]:
    """Name the inputs that are not what the results were made from: changed, taken away or added."""
    from trialkit.domain.table_names import PROTOCOL_FILE, TABLE_NAMES

    before = {entry.file: entry.sha256 for entry in results.inputs}
    names = (PROTOCOL_FILE, *(f"{table}.csv" for table in TABLE_NAMES))
    return [name for name in names if _digest(folder / name) != before.get(name)]


def _digest(path: Path) -> str | None:
    return hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else None


def read_results(folder: Path) -> Results:
    """Read results/results.json."""
    from trialkit.documents.results import Results

    path = folder / RESULTS_FOLDER / RESULTS_FILE
    if not path.is_file():
        raise WrongCall(f"{path} is not there yet: run trialkit analyse {folder} first.")
    again = f"run trialkit analyse {folder} again."
    try:
        return from_text(Results, path.read_text(encoding="utf-8"))
    except DamagedDocument as error:
        what = "was written by another version" if error.where == "schema" else f"is {error}"
        raise NotComputed(f"{path} {what}: {again}") from error
    except UnicodeDecodeError as error:
        raise NotComputed(f"{path} is damaged: {again}") from error


def differences(folder: Path) -> list[str]:
    """Recompute results and report from the inputs and name what is not the same."""
    from trialkit.analysis import analyse
    from trialkit.report.page import report_html
    from trialkit.rules.trial_folder import read_trial

    stored = read_results(folder)
    pairs = any(response.pairs for response in stored.responses.values())
    results = as_written(analyse(read_trial(folder), all_pairs=pairs))
    wanted = {RESULTS_FILE: as_text(results), REPORT_FILE: report_html(results)}
    parts = [field.name for field in fields(results)]
    changed = [f"{part} in {RESULTS_FILE} differs" for part in parts if getattr(results, part) != getattr(stored, part)]
    for name, text in wanted.items():
        path = folder / RESULTS_FOLDER / name
        if not path.is_file():
            changed.append(f"{path} is not there")
        elif path.read_text(encoding="utf-8") != text:
            changed.append(f"{path} is not what the inputs give")
    return changed


def copy_bundled(folder: Path, name: str) -> str:
    """Copy a bundled example."""
    from trialkit.protocol.starting import copy_example

    copy_example(name, folder)
    return f"Copied the invented example {name} to {folder}. Next: trialkit check {folder}"


def start_trial(folder: Path, answers: Mapping[str, Any]) -> str:
    """Start a trial folder from answers, asking for those that are missing."""
    from trialkit.cli.questions import Options, ask
    from trialkit.protocol import starting as new
    from trialkit.protocol.county import read_county

    new.refuse_if_filled(folder)
    block = read_county(folder)
    asked = ask(Options(**answers))
    measures = block.county.measures if block else asked.measures
    new.start_trial(folder, replace(asked, id=new.id_from(folder.resolve().name), measures=measures))
    treatments = math.prod(len(levels) or 1 for levels in (asked.cultivars, asked.doses, asked.acidifiers))
    blocks = f"{count(asked.blocks, 'block')} in {'it' if len(asked.sites) == 1 else 'each'}"
    return (
        f"Started {folder}: {count(treatments, 'treatment')} at {count(len(asked.sites), 'garden')}, {blocks}. Look "
        "through trial.toml (season, days of sowing and start), describe gardens and products in sites.csv and "
        f"products.csv. Next: trialkit plan {folder}"
    )


@contextmanager
def emptied_on_failure(folder: Path) -> Iterator[None]:
    """Take away what was written to a new or empty folder if the work stops half-way, so that it can be done again."""
    was_there = folder.exists()
    fresh = not was_there or (folder.is_dir() and not any(folder.iterdir()))
    try:
        yield
    except BaseException:
        if fresh:
            _remove(folder, itself=not was_there)
        raise


def _remove(folder: Path, *, itself: bool) -> None:
    """Remove what is in a folder, and the folder only if asked: a shell may stand in it."""
    with suppress(OSError):  # what stopped the work is to be told, not what stopped the tidying
        for path in list(folder.iterdir()):
            if path.is_dir() and not path.is_symlink():
                shutil.rmtree(path)
            else:
                path.unlink()
        if itself:
            folder.rmdir()


@dataclass(frozen=True)
class Step:
    """A step of the demo: its name, and what to run for its sentence."""

    name: str
    run: Callable[[], str]


def demo_steps(folder: Path) -> list[Step]:
    """List the steps of the demo."""
    return [
        Step("protocol", lambda: _demo_protocol(folder)),
        Step("layout", lambda: lay_out(folder)),
        Step("records", lambda: _demo_records(folder)),
        Step("check", lambda: _demo_check(folder)),
        Step("analyse", lambda: analyse_folder(folder).sentence),
        Step("report", lambda: _demo_report(folder)),
    ]


def _demo_protocol(folder: Path) -> str:
    from trialkit.domain.table_names import PROTOCOL_FILE
    from trialkit.protocol.starting import copy_example
    from trialkit.protocol.trial_protocol import read_protocol

    copy_example(DEMO_EXAMPLE, folder, planned_only=True)
    protocol = read_protocol(folder / PROTOCOL_FILE)
    treatments = len(protocol.treatments())
    return (
        f"Protocol: {protocol.trial.question} {treatments} treatments, {protocol.bucket.heads} heads a bucket; "
        "the county is invented."
    )


def _demo_records(folder: Path) -> str:
    from trialkit.planning.invented_county import generate_records, write_records
    from trialkit.rules.trial_folder import read_trial

    trial = read_trial(folder, stage="layout")
    records = generate_records(trial.protocol, trial.sites, trial.layout, trial.products)
    write_records(folder, records)
    lost = int(records.heads["outcome"].isin(LOST).sum())
    return f"Records: {len(records.heads)} heads drawn with the protocol's seed, {lost} of them lost on the way."


def _demo_check(folder: Path) -> str:
    from trialkit.rules.trial_folder import check_trial
    from trialkit.words.record_check_words import check_sentence

    result = check_trial(folder)
    if result.errors:
        raise TrialError(result.errors)
    return check_sentence(result, "records")


def _demo_report(folder: Path) -> str:
    from trialkit.words.decision_words import VERDICT_WORDS
    from trialkit.words.measures import measures_of
    from trialkit.words.treatment_names import treatment_words

    sentence, results = write_report(folder), read_results(folder)
    decision = results.decision
    if decision is None:
        return sentence
    recommended = treatment_words(decision.recommended, measures_of(results))
    return f"{sentence}\nRecommended defaults ({VERDICT_WORDS[decision.verdict]}): {recommended}"


def _answer(results: Results) -> str:
    from trialkit.words.decision_words import sentences
    from trialkit.words.measures import measures_of

    decision = results.decision
    return f"Analysis: {' '.join(sentences(decision, measures_of(results))) if decision else reason_for_none(results)}"


def reason_for_none(results: Results) -> str:
    """Why the results hold no recommendation."""
    from trialkit.words.decision_words import no_decision_words

    return f"No recommendation. {no_decision_words(results)}"
