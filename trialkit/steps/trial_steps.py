"""What each command does with a trial folder, and the sentence it says; shared by the commands and the demo."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import TYPE_CHECKING

from trialkit.documents.document import DamagedDocument, as_text, as_written, from_text
from trialkit.domain.errors import NotComputed, WrongCall
from trialkit.domain.heads import LOST
from trialkit.domain.progress import working_on
from trialkit.domain.reading_budget import RESULTS
from trialkit.languages import gettext, translatable
from trialkit.tables.problem import TrialError
from trialkit.words.phrases import count

if TYPE_CHECKING:
    from trialkit.documents.answers import LayoutAnswer, NewAnswer, SecondEngine
    from trialkit.documents.results import Results
    from trialkit.rules.trial_folder import CheckResult, Stage

DAMAGED_AT = translatable("{path} is damaged at {where}: run trialkit analyse {folder} again.")
SPOILT = {
    "schema": translatable("{path} was written by another version of trialkit: run trialkit analyse {folder} again."),
    "sha256": translatable("{path} was changed since it was written: run trialkit analyse {folder} again."),
    "": translatable("{path} is damaged: run trialkit analyse {folder} again."),
}
"""What is wrong with results, by the place that is damaged."""
RESULTS_FOLDER, RESULTS_FILE, REPORT_FILE = "results", "results.json", "report.html"
"""Twice what comparing every pair of 64 treatments takes."""
DEMO_EXAMPLE = "autumn_dose"


@dataclass(frozen=True)
class Analysed:
    """Results as written, where, and a sentence about them."""

    results: Results
    path: Path
    sentence: str


def lay_out(folder: Path) -> tuple[LayoutAnswer, str]:
    """Randomise a trial and write layout.csv, unless records exist; say what is doubtful about it."""
    from trialkit.documents.answers import LayoutAnswer
    from trialkit.protocol.randomise import randomise, why_frozen
    from trialkit.rules.neighbours import labels_elsewhere
    from trialkit.rules.trial_folder import check_trial, read_trial
    from trialkit.tables.atomic import csv_text
    from trialkit.tables.committing import at_work, write_outputs
    from trialkit.words.layout_words import frozen_words, labels_elsewhere_words
    from trialkit.words.problem_words import problem_sentence, told_problem

    path = folder / "layout.csv"
    with at_work(folder):
        if frozen := why_frozen(folder):
            raise WrongCall(frozen_words(frozen, str(folder)))
        trial = read_trial(folder, stage="plan")
        layout = randomise(trial.protocol, trial.sites)
        text = csv_text(layout)
        replaced = path.is_file() and _lines(path) != text.splitlines()
        write_outputs(folder, {path.name: text.encode("utf-8")})
    sites, plan = len(trial.sites), trial.protocol.layout
    elsewhere = labels_elsewhere(folder, set(layout["bucket"]))
    warnings = check_trial(folder, stage="layout").warnings
    sentence = (
        f"Layout: {len(layout)} buckets at {count(sites, 'garden')}, {len(layout) // sites} in each, {plan.kind} "
        f"with seed {trial.protocol.seed}, written to {path}."
        + (" It replaces an earlier, different layout. Throw away labels made from that one." if replaced else "")
    )
    drawn = LayoutAnswer(
        len(layout),
        sites,
        plan.kind,
        trial.protocol.seed,
        replaced,
        tuple(elsewhere),
        tuple(map(told_problem, warnings)),
    )
    return drawn, "\n".join([sentence, *labels_elsewhere_words(elsewhere), *map(problem_sentence, warnings)])


def _lines(path: Path) -> list[str]:
    """Read a table's lines, whatever line ends and byte-order mark a spreadsheet program gave them."""
    return path.read_text(encoding="utf-8-sig", errors="replace").splitlines()


def stage_of(folder: Path) -> Stage:
    """Tell how far a trial has come: records, or a layout without any, or a plan alone."""
    from trialkit.protocol.randomise import records_exist

    if records_exist(folder):
        return "records"
    return "layout" if (folder / "layout.csv").exists() else "plan"


def check_folder(folder: Path, stage: Stage) -> CheckResult:
    """Check a trial as far as it has come, and its results, where there are any: they keep nobody from analysing."""
    from trialkit.rules.kept_documents import results_at_fault
    from trialkit.rules.trial_folder import check_trial

    result = check_trial(folder, stage=stage)
    return replace(result, problems=(*result.problems, *results_at_fault(folder)))


def check_with_pages(folder: Path) -> tuple[Stage, CheckResult, list[Path]]:
    """Check; write a page of it and one for each garden that is asked something; take away those of earlier checks."""
    from trialkit.report.check_page import asked_gardens, check_html
    from trialkit.tables.committing import at_work, write_outputs
    from trialkit.tables.own_files import is_own, kind_of, ordinary_folder

    results = ordinary_folder(folder / RESULTS_FOLDER)
    with at_work(folder):
        stage = stage_of(folder)
        result = check_folder(folder, stage)
        title = result.title or folder.resolve().name
        pages = {"check.html": check_html(result, title).encode("utf-8")}
        kind = str(kind_of(pages["check.html"]))
        pages |= {f"check-{site}.html": check_html(result, title, site).encode() for site in asked_gardens(result)}
        stale = [path.name for path in results.glob("check-*.html") if path.name not in pages and is_own(path, kind)]
        named = {f"{RESULTS_FOLDER}/{name}": page for name, page in pages.items()}
        write_outputs(folder, named, [f"{RESULTS_FOLDER}/{name}" for name in stale])
    return stage, result, [folder / name for name in named]


def analyse_folder(folder: Path, *, all_pairs: bool = False) -> Analysed:
    """Analyse a checked trial and write results/results.json."""
    from trialkit.analysis import analyse
    from trialkit.rules.trial_folder import read_trial
    from trialkit.tables.committing import at_work, write_outputs

    path = folder / RESULTS_FOLDER / RESULTS_FILE
    with at_work(folder):
        working_on("what the records are")
        results = as_written(analyse(read_trial(folder), all_pairs=all_pairs))
        write_outputs(folder, {f"{RESULTS_FOLDER}/{RESULTS_FILE}": as_text(results).encode("utf-8")})
    return Analysed(results, path, f"{_answer(results)} Written to {path}.")


def write_report(folder: Path) -> str:
    """Write results/report.html from results/results.json."""
    from trialkit.report.page import report_html
    from trialkit.tables.committing import at_work, write_outputs

    with at_work(folder):
        results = read_results(folder)
        changed = changed_inputs(folder, results)
        if changed:
            raise WrongCall(
                translatable("{changed} changed since the analysis: run trialkit analyse {folder} again."),
                changed=", ".join(changed),
                folder=folder,
            )
        working_on("the report")
        write_outputs(folder, {f"{RESULTS_FOLDER}/{REPORT_FILE}": report_html(results).encode("utf-8")})
    return f"Report: {folder / RESULTS_FOLDER / REPORT_FILE}"


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
        raise WrongCall(
            translatable("{path} is not there yet: run trialkit analyse {folder} first."), path=path, folder=folder
        )
    if path.stat().st_size > RESULTS.file_bytes:
        raise NotComputed(
            translatable(
                "{path} is larger than {most} MB, so it holds no results: run trialkit analyse {folder} again."
            ),
            path=path,
            most=RESULTS.file_bytes // 10**6,
            folder=folder,
        )
    try:
        return from_text(Results, path.read_text(encoding="utf-8"))
    except DamagedDocument as error:
        raise NotComputed(SPOILT.get(error.where, DAMAGED_AT), path=path, where=error.where, folder=folder) from error
    except UnicodeDecodeError as error:
        raise NotComputed(SPOILT[""], path=path, folder=folder) from error


def differences(folder: Path) -> list[str]:
    """Recompute results and report from the inputs and name what is not the same."""
    from trialkit.evidence.accepting import analysed_again
    from trialkit.report.page import report_html
    from trialkit.rules.trial_folder import read_trial

    stored = read_results(folder)
    results = analysed_again(read_trial(folder), stored)
    working_on("the report")
    wanted = {RESULTS_FILE: as_text(results), REPORT_FILE: report_html(results)}
    parts = [field.name for field in fields(results) if field.name != "sha256"]
    changed = [f"{part} in {RESULTS_FILE} differs" for part in parts if getattr(results, part) != getattr(stored, part)]
    for name, text in wanted.items():
        path = folder / RESULTS_FOLDER / name
        if not path.is_file():
            changed.append(f"{path} is not there")
        elif path.stat().st_size > 2 * len(text.encode("utf-8")) or _text_of(path) != text:
            changed.append(f"{path} is not what the records give")
    return changed


def second_engine(folder: Path) -> tuple[SecondEngine, ...]:
    """Fit the weights by another engine too."""
    from trialkit.analysis.second_engine import by_statsmodels
    from trialkit.rules.trial_folder import read_trial

    working_on("the second engine")
    return by_statsmodels(read_trial(folder), read_results(folder))


def _text_of(path: Path) -> str:
    """Read a file that may be no text at all."""
    return path.read_text(encoding="utf-8", errors="replace")


def started(folder: Path) -> NewAnswer:
    """Tell what trial was started in a folder."""
    import csv

    from trialkit.documents.answers import NewAnswer
    from trialkit.domain.table_names import PROTOCOL_FILE
    from trialkit.protocol.trial_protocol import read_protocol

    protocol = read_protocol(folder / PROTOCOL_FILE)
    with (folder / "sites.csv").open(encoding="utf-8", newline="") as stream:
        gardens = len(list(csv.reader(stream))) - 1
    about, treatments = protocol.trial, len(protocol.treatments())
    return NewAnswer(about.id, about.question, treatments, gardens, protocol.layout.blocks, protocol.seed)


def copy_bundled(folder: Path, name: str) -> str:
    """Copy a bundled example."""
    from trialkit.protocol.starting import copy_example

    copy_example(name, folder)
    return f"Copied the invented example {name} to {folder}. Next: trialkit check {folder}"


@dataclass(frozen=True)
class Step:
    """A step of the demo: its name, and what to run for its sentence."""

    name: str
    run: Callable[[], str]


def demo_steps(folder: Path) -> list[Step]:
    """List the steps of the demo."""
    return [
        Step("protocol", lambda: _demo_protocol(folder)),
        Step("layout", lambda: lay_out(folder)[1]),
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
        f"Protocol: {protocol.trial.question} {treatments} treatments, {protocol.bucket.heads} heads a bucket. "
        "The county is invented."
    )


def _demo_records(folder: Path) -> str:
    from trialkit.planning.invented_county import generate_records, write_records
    from trialkit.rules.trial_folder import read_trial

    trial = read_trial(folder, stage="layout")
    records = generate_records(trial.protocol, trial.sites, trial.layout, trial.products)
    write_records(folder, records)
    lost = int(records.heads["outcome"].isin(LOST).sum())
    return f"Records: {len(records.heads)} heads, invented with the protocol's seed. {lost} of them were lost."


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
    from trialkit.words.measures import measures_of

    return gettext("No recommendation. {why}", why=no_decision_words(results, measures_of(results)))
