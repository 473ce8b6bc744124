"""The command as a user runs it: its output, its exit status and what it leaves behind; some in real processes."""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from commands import DATA_ERROR, DONE, NOT_COMPUTED, WRONG_CALL, run, start
from contents import contents
from trialkit._resources import resource_folder
from trialkit.cli.main import COMMANDS
from trialkit.documents.results_schema import results_schema

EXAMPLE = resource_folder("example_trials") / "autumn_dose"


def answer(folder: Path, answers: str, *options: str) -> subprocess.CompletedProcess[str]:
    """Run trialkit new and type answers to its questions."""
    return run("new", folder, *options, typed=answers)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, subprocess.CompletedProcess[str]]:
    """The demo, run once."""
    folder = tmp_path_factory.mktemp("demo") / "autumn"
    return folder, start("demo", "--into", folder)


@pytest.fixture
def trial(tmp_path: Path) -> Path:
    """A copy of the example trial, records included."""
    return Path(shutil.copytree(EXAMPLE, tmp_path / "trial"))


def one_gram_heavier(folder: Path) -> None:
    """Change the first weight of the records."""
    lines = (folder / "heads.csv").read_text(encoding="utf-8").splitlines()
    at = next(i for i, line in enumerate(lines) if ",harvested," in line)
    cells = lines[at].split(",")
    cells[6] = str(int(cells[6]) + 1)
    lines[at] = ",".join(cells)
    (folder / "heads.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")


def test_demo_does_the_whole_job(demo: tuple[Path, subprocess.CompletedProcess[str]]) -> None:
    """The demo says a sentence for each step and ends with the report's path and the recommended defaults."""
    folder, result = demo
    assert result.returncode == DONE, result.stderr
    lines = result.stdout.splitlines()
    for begun in ("Protocol:", "Layout:", "Records:", "Check:", "Analysis:", "Report:", "Recommended defaults"):
        assert any(line.startswith(begun) for line in lines), begun
    assert lines[-2] == f"Report: {folder / 'results' / 'report.html'}"
    assert "level teaspoons" in lines[-1]
    assert (folder / "results" / "report.html").is_file()
    assert result.stderr == ""  # nobody watches


def test_demo_is_the_bundled_example(demo: tuple[Path, subprocess.CompletedProcess[str]]) -> None:
    """The demo draws the very records that are bundled."""
    made = contents(demo[0])
    assert {name: made[name] for name in contents(EXAMPLE)} == contents(EXAMPLE)


def test_demo_refuses_a_folder_in_use(trial: Path) -> None:
    """The demo never writes into a folder that has something in it."""
    before = contents(trial)
    result = run("demo", "--into", trial)
    assert result.returncode == WRONG_CALL
    assert "not empty" in result.stderr
    assert contents(trial) == before


@pytest.mark.parametrize("command", [("demo", "--into"), ("new", "--example", "autumn_dose")])
def test_a_folder_that_cannot_be_made_is_named(tmp_path: Path, command: tuple[str, ...]) -> None:
    """Where the folder cannot be made, that is what is said."""
    (tmp_path / "file").write_text("", encoding="utf-8")
    folder = tmp_path / "file" / "trial"
    result = run(*command, folder)
    assert result.returncode == WRONG_CALL
    assert f"Error: The folder {folder} cannot be made: Not a directory." in result.stderr


def test_results_follow_their_schema(demo: tuple[Path, subprocess.CompletedProcess[str]]) -> None:
    """results.json is what schemas/results.schema.json describes, and the schema is current."""
    schema = json.loads((resource_folder("schemas") / "results.schema.json").read_text(encoding="utf-8"))
    assert schema == results_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(json.loads((demo[0] / "results" / "results.json").read_text(encoding="utf-8")), schema)


def test_inputs_are_never_changed(small: Path) -> None:
    """Checking, analysing and reporting leave every input as it was."""
    before = contents(small)
    for command in ("check", "analyse", "report"):
        assert run(command, small).returncode == DONE
    after = contents(small)
    assert {name: after[name] for name in before} == before
    assert set(after) - set(before) == {"results/results.json", "results/report.html"}


def test_check_reports_everything_and_exits_1(trial: Path) -> None:
    """Several slips are all reported in one pass, with file, row and column."""
    heads = (trial / "heads.csv").read_text(encoding="utf-8").splitlines()
    heads[1] = heads[1].replace(",108,", ",152 g,")
    heads[3] = heads[3].replace("2026-09-29", "2026-02-31")
    (trial / "heads.csv").write_text("\n".join(heads) + "\n", encoding="utf-8")
    result = run("check", trial)
    assert result.returncode == DATA_ERROR
    assert "heads.csv, row 2, column weight_g" in result.stdout
    assert "heads.csv, row 4, column harvested_on" in result.stdout
    assert result.stdout.splitlines()[-1] == "Check: 2 errors and 0 warnings."
    assert "Traceback" not in result.stderr


def test_check_before_there_are_records(trial: Path) -> None:
    """Without a record the layout is looked at, without a layout the plan; neither is an error."""
    for name in ("heads", "solution", "visits"):
        path = trial / f"{name}.csv"
        path.write_text(path.read_text("utf-8").splitlines()[0] + "\n", "utf-8")
    result = run("check", trial)
    assert (result.returncode, result.stdout) == (
        DONE,
        f"Check: the layout is in order and nothing is recorded yet. Next: trialkit forms {trial}\n",
    )
    (trial / "layout.csv").unlink()
    result = run("check", trial)
    assert (result.returncode, result.stdout) == (DONE, f"Check: the plan is in order. Next: trialkit plan {trial}\n")
    assert run("analyse", trial).returncode == DATA_ERROR


def test_check_pages_for_gardens(trial: Path) -> None:
    """--html writes the adviser's page and one for each garden that is asked something, and takes away its old ones."""
    results, heads = trial / "results", trial / "heads.csv"
    heads.write_text(heads.read_text("utf-8").replace(",108,", ",10800,", 1), "utf-8")
    run("check", trial, "--html")
    (results / "check-OLD.html").write_bytes((results / "check-FERN.html").read_bytes())
    (results / "check-mine.html").write_text("mine", "utf-8")
    result = run("check", trial, "--html")
    assert result.returncode == DATA_ERROR
    pages = ["check-FERN.html", "check-mine.html", "check.html"]
    assert sorted(path.name for path in results.glob("check*")) == pages
    assert "10800" in (results / "check-FERN.html").read_text("utf-8")


def test_one_check_writes_each_garden_in_its_language(trial: Path) -> None:
    """That of sites.csv, else of trial.toml; the adviser's page and what is printed stay English."""
    heading, *rows = (trial / "sites.csv").read_text("utf-8").splitlines()
    spoken = [f"{row},{'es' if row.startswith('MILL') else ''}" for row in rows]
    (trial / "sites.csv").write_text("\n".join([f"{heading},language", *spoken]) + "\n", "utf-8")
    layout = (trial / "layout.csv").read_text("utf-8").splitlines()
    buckets = [next(row.partition(",")[0] for row in layout if f",{site}," in row) for site in ("FERN", "MILL")]
    heads = (trial / "heads.csv").read_text("utf-8")
    for bucket in buckets:
        heads = re.sub(rf"^({bucket},1,.*,)\d+(,\w*,.*)$", r"\g<1>10800\2", heads, count=1, flags=re.MULTILINE)
    (trial / "heads.csv").write_text(heads, "utf-8")
    result = run("check", trial, "--html")
    assert "Expected 1 to 2000 g" in result.stdout
    pages = {name: (trial / "results" / f"check{name}.html").read_text("utf-8") for name in ("", "-FERN", "-MILL")}
    assert {name: '<html lang="es-US">' in page for name, page in pages.items()} == {
        "": False, "-FERN": False, "-MILL": True
    }  # fmt: skip
    assert "We read <bdi>10800" in pages["-FERN"]
    assert "Leímos: <bdi>10800" in pages["-MILL"]
    assert "Leímos" not in pages[""]


def test_check_json(trial: Path) -> None:
    """--json puts a machine-readable answer on standard output and nothing else there."""
    (trial / "trial.toml").write_text("[trial\n", encoding="utf-8")
    result = run("check", trial, "--json")
    assert result.returncode == DATA_ERROR
    document: dict[str, Any] = json.loads(result.stdout)["answer"]
    assert document["ok"] is False
    assert document["problems"][0]["file"] == "trial.toml"
    names = {"severity", "rule", "case", "file", "row", "column", "facts", "found", "expected", "how_to_fix"}
    assert set(document["problems"][0]) == names


def test_analyse_refuses_damaged_data(trial: Path) -> None:
    """A trial with errors is not analysed; the problems are told as check tells them, and no result is left."""
    (trial / "heads.csv").unlink()
    result = run("analyse", trial)
    assert result.returncode == DATA_ERROR
    assert "heads.csv" in result.stderr
    assert not (trial / "results").exists()


def test_every_pair_on_request(small: Path) -> None:
    """--all-pairs adds the pairs, which the report shows and --verify asks for again; without it there are none."""
    document = json.loads(run("analyse", small, "--all-pairs", "--json").stdout)["answer"]
    (pair,) = document["responses"]["weight_g"]["pairs"]
    assert (pair["first"]["cultivar"], pair["second"]["cultivar"]) == ("Larkmoor Butter", "Fenleaf")
    assert run("report", small).returncode == DONE
    assert "Every pair of treatments" in (small / "results" / "report.html").read_text(encoding="utf-8")
    assert run("report", small, "--verify").returncode == DONE


def test_the_summary_fits_a_screen(trial: Path) -> None:
    """24 lines of 80 columns say what to do, how sure, the candidates, days, losses and checks."""
    lines = run("analyse", trial).stdout.splitlines()
    assert len(lines) <= 25  # the last names the file
    assert max(map(len, lines[:-1])) <= 80
    for begun in (
        "Change the default to",
        "Only the dose of",
        "Days to harvest",
        "Heads: 768 planned",
        "Checks:",
    ):
        assert any(line.startswith(begun) for line in lines), begun


def test_analyse_json(small: Path) -> None:
    """--json prints the same document that is written; the American spelling is the same command."""
    result = run("analyze", small, "--json")
    assert result.returncode == DONE
    assert json.loads(result.stdout)["answer"] == json.loads(
        (small / "results" / "results.json").read_text(encoding="utf-8")
    )


def test_no_harvest_yet(trial: Path) -> None:
    """A trial whose heads are all still growing has no result, and the exit status says so."""
    lines = (trial / "heads.csv").read_text(encoding="utf-8").splitlines()
    rows = [",".join([*line.split(",")[:3], "not_ready", "", "", "", "", ""]) for line in lines[1:]]
    (trial / "heads.csv").write_text("\n".join([lines[0], *rows]) + "\n", encoding="utf-8")
    result = run("analyse", trial)
    assert result.returncode == NOT_COMPUTED
    assert "No head was harvested" in result.stderr


def test_layout_refuses_once_there_are_records(trial: Path) -> None:
    """A layout with records stays, even when the seed was changed."""
    before = (trial / "layout.csv").read_bytes()
    result = run("layout", trial)
    assert result.returncode == WRONG_CALL
    assert "has records already" in result.stderr
    assert (trial / "layout.csv").read_bytes() == before


def test_layout_follows_the_seed(trial: Path) -> None:
    """The same seed gives the same layout, another seed another."""
    bundled = (trial / "layout.csv").read_bytes()
    for name in ("heads.csv", "solution.csv", "visits.csv", "layout.csv"):
        (trial / name).unlink()
    assert run("layout", trial).returncode == DONE
    assert (trial / "layout.csv").read_bytes() == bundled
    protocol = (trial / "trial.toml").read_text(encoding="utf-8")
    (trial / "trial.toml").write_text(protocol.replace("20260806", "20260807"), encoding="utf-8")
    changed = run("layout", trial)
    assert changed.returncode == DONE
    sentence = " It replaces an earlier, different layout. Throw away labels made from that one."
    assert changed.stdout.endswith(f"{sentence}\nNext: trialkit forms {trial}\n")
    different = (trial / "layout.csv").read_bytes()
    assert different != bundled
    (trial / "layout.csv").write_bytes(b"\xef\xbb\xbf" + different.replace(b"\n", b"\r\n"))
    assert "replaces" not in run("layout", trial).stdout  # the same layout, saved by a spreadsheet program


def test_report_needs_results(trial: Path) -> None:
    """A report without an analysis says what to run first."""
    result = run("report", trial)
    assert result.returncode == WRONG_CALL
    assert "trialkit analyse" in result.stderr


def test_report_refuses_a_stale_answer(analysed: Path) -> None:
    """Once an input changed after the analysis, the report is not written from the old results."""
    one_gram_heavier(analysed)
    result = run("report", analysed)
    assert result.returncode == WRONG_CALL
    assert result.stderr == f"Error: heads.csv changed since the analysis: run trialkit analyse {analysed} again.\n"
    assert not (analysed / "results" / "report.html").exists()


def test_a_table_added_or_taken_away_makes_results_stale(small: Path) -> None:
    """A table that is gone, or was not there yet, counts as changed; put back as it was, the report is written."""
    (small / "visits.csv").rename(small / "visits.away")
    assert run("analyse", small).returncode == DONE
    (small / "visits.away").rename(small / "visits.csv")
    (small / "solution.csv").rename(small / "solution.away")
    result = run("report", small)
    assert result.returncode == WRONG_CALL
    assert "Error: solution.csv, visits.csv changed since the analysis" in result.stderr
    (small / "solution.away").rename(small / "solution.csv")
    (small / "visits.csv").unlink()
    assert run("report", small).returncode == DONE


def test_no_recommendation_says_why(trial: Path) -> None:
    """Where the current practice has no record at all, results are written, the reason is told, and the status is 3."""
    layout = (trial / "layout.csv").read_text(encoding="utf-8").splitlines()
    practice = {line.split(",")[0] for line in layout if "Larkmoor Butter,4,white vinegar 5 %" in line}
    lines = (trial / "heads.csv").read_text(encoding="utf-8").splitlines()
    kept = [line for line in lines if line.split(",")[0] not in practice]
    (trial / "heads.csv").write_text("\n".join(kept) + "\n", encoding="utf-8")
    result, path = run("analyse", trial, "--json"), trial / "results" / "results.json"
    assert result.returncode == NOT_COMPUTED
    reason = (
        "There is no record of the current practice, so there is nothing to compare the others with. If somebody "
        "knows what became of its heads, write it into heads.csv; else the trial has to be repeated."
    )
    assert result.stderr == f"Error: No recommendation. {reason} What could be said is in {path}.\n"
    assert json.loads(result.stdout)["answer"] == json.loads(path.read_text(encoding="utf-8"))
    assert json.loads(result.stdout)["answer"]["decision"] is None


def test_no_weights_no_recommendation(trial: Path) -> None:
    """Where head weight was not asked for, days are analysed, and the missing recommendation is explained."""
    with (trial / "trial.toml").open("a", encoding="utf-8") as stream:
        stream.write("\n[responses]\nweight = false\n")
    result = run("analyse", trial)
    assert result.returncode == NOT_COMPUTED
    assert result.stdout == ""
    reason = "The weight of heads was not analysed: the protocol does not ask for it."
    assert result.stderr.startswith(f"Error: No recommendation. {reason} What could be said is in ")


def test_repeated_problems_are_summed_up(trial: Path) -> None:
    """Of many problems alike five are shown and the rest counted; --json has them all."""
    protocol = (trial / "trial.toml").read_text(encoding="utf-8")
    (trial / "trial.toml").write_text(protocol.replace("[2, 4, 6, 8]", "[2, 4, 6, 9]"), encoding="utf-8")
    result = run("check", trial)
    assert result.returncode == DATA_ERROR
    alike = [line for line in result.stdout.splitlines() if "[TK-L01]" in line]
    assert len(alike) == 6
    assert alike[-1] == "error: ... and 43 more like these [TK-L01]"
    assert result.stderr == ""
    document = json.loads(run("check", trial, "--json").stdout)["answer"]
    assert sum(problem["rule"] == "TK-L01" for problem in document["problems"]) == 48


def test_report_verify(analysed: Path) -> None:
    """Verifying recomputes from the inputs: it agrees, and names what differs once a weight was changed."""
    assert run("report", analysed).returncode == DONE
    assert run("report", analysed, "--verify").returncode == DONE
    one_gram_heavier(analysed)
    result = run("report", analysed, "--verify")
    assert result.returncode == DATA_ERROR
    assert "inputs in results.json differs" in result.stderr


def test_new_asks_nothing_that_was_answered(tmp_path: Path) -> None:
    """Options answer every question; the folder then lays out after its gardens are listed."""
    folder = tmp_path / "spring"
    result = run(
        "new", folder, "--question", "Which cultivar?", "--site", "FERN", "--site", "MILL",
        "--cultivar", "Fenleaf", "--cultivar", "Pale\"head", "--current", "Fenleaf", "--seed", "4",
    )  # fmt: skip
    assert result.returncode == DONE, result.stderr
    laid_out = run("layout", folder)
    assert laid_out.returncode == DONE, laid_out.stderr
    assert "12 buckets at 2 gardens" in laid_out.stdout


def test_new_asks_for_the_rest(tmp_path: Path) -> None:
    """Without options the few questions are asked, with a default seed drawn."""
    result = answer(tmp_path / "t", "What dose?\n\n2, 4, 6\n\nBlend L 9-12-30\nFERN, MILL, STAT\n4\n")
    assert result.returncode == DONE, result.stderr
    assert "levels = [2, 4, 6]" in (tmp_path / "t" / "trial.toml").read_text(encoding="utf-8")


def test_new_asks_again(tmp_path: Path) -> None:
    """Nothing to compare, no garden, and gardens that cannot be told apart are said and asked again."""
    answers = "Q?\n\n\n\nFenleaf\n\n\nFenleaf, Paleheart, Fenleaf\n\n\n\nFERN, FERN\nFE/RN\nFERN\nFenleaf\n"
    result = answer(tmp_path / "t", answers)
    assert result.returncode == DONE, result.stderr
    assert result.stderr.splitlines() == [
        "Nothing varies, so there is nothing to compare: give two or more cultivars, doses or acids.",
        "Nothing varies, so there is nothing to compare: give two or more cultivars, doses or acids.",
        "Name at least one garden.",
        'Each garden needs a name of its own, and capitals make no difference: "FERN" is there twice.',
        'Not a short name: "FE/RN". Use letters, figures, blanks, hyphens or underscores, at most 40 of them.',
    ]
    assert 'levels = ["Fenleaf", "Paleheart"]' in (tmp_path / "t" / "trial.toml").read_text(encoding="utf-8")


TWO = ("--cultivar", "Fenleaf", "--cultivar", "Paleheart")


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        (("--cultivar", "Fenleaf", "--current", "Fenleaf"),
         "Nothing varies, so there is nothing to compare: give two or more cultivars, doses or acids."),
        (("--dose", "4", "--dose", "4.0", "--current", "4"),
         "Nothing varies, so there is nothing to compare: give two or more cultivars, doses or acids."),
        ((*TWO, "--site", "FERN", "--site", "FERN"),
         'Each garden needs a name of its own, and capitals make no difference: "FERN" is there twice.'),
        ((*TWO, "--site", "FERN", "--site", "../x", "--site", "a\x1bb"), 'Not a short name: "../x", "a\\x1bb".'),
        ((*TWO, "--site", "FERN", "--current", "Pale"),
         "--current names no cultivar of the trial. Choose one of: Fenleaf, Paleheart."),
        ((*TWO, "--site", "FERN", "--current", "Fenleaf", "--current", "4"),
         "Give --current once for each of: cultivar."),
    ],
)  # fmt: skip
def test_new_refuses_options_that_do_not_fit(tmp_path: Path, options: tuple[str, ...], sentence: str) -> None:
    """What was given on the command line and does not fit is a wrong call, told in a sentence; nothing is written."""
    result = run("new", tmp_path / "t", "--question", "Q?", *options)
    assert result.returncode == WRONG_CALL
    assert f"Error: {sentence}" in result.stderr
    assert not (tmp_path / "t").exists()


def test_new_takes_what_a_layman_types(tmp_path: Path) -> None:
    """Units behind doses, capitals and the order of --current; the trial is called after its folder."""
    result = answer(
        tmp_path / "My Spring", "Q?\nFenleaf, Little Gem\n4 tsp, 6 teaspoons\n\n\nBlend\nFERN\nlittle gem\n6\n"
    )
    assert result.returncode == DONE, result.stderr
    assert "Please write an answer." in result.stderr  # no nutrient was named at first
    assert "4 treatments at 1 garden, 3 blocks in it" in result.stdout
    protocol = (tmp_path / "My Spring" / "trial.toml").read_text("utf-8")
    assert 'id = "my-spring"' in protocol
    assert '"cultivar" = "Little Gem", "dose" = 6' in protocol
    options = ("--question", "Q?", "--site", "FERN", "--nutrient", "Blend", "--dose", "4", "--dose", "6")
    named = ("--cultivar", "Fenleaf", "--cultivar", "Paleheart", "--current", "4", "--current", "fenleaf")
    assert run("new", tmp_path / "other", *options, *named).returncode == DONE
    refused = run("new", tmp_path / "third", "--dose", "4,6")
    assert refused.returncode == WRONG_CALL
    assert "write --dose once for each dose, such as --dose 4 --dose 6" in refused.stderr


def test_a_head_that_nobody_weighed(small: Path) -> None:
    """It is an error that says the way out: not_weighed, and the bucket is calculated from its other head."""
    path = small / "heads.csv"
    rows = path.read_text("utf-8").splitlines()
    at = next(i for i, row in enumerate(rows) if ",harvested," in row)
    cells = rows[at].split(",")
    cells[6] = ""
    path.write_text("\n".join([*rows[:at], ",".join(cells), *rows[at + 1 :]]) + "\n", "utf-8")
    checked = run("check", small)
    assert checked.returncode == DATA_ERROR
    assert "If nobody weighed the head, its outcome is not_weighed" in checked.stdout
    cells[3] = "not_weighed"
    path.write_text("\n".join([*rows[:at], ",".join(cells), *rows[at + 1 :]]) + "\n", "utf-8")
    assert run("check", small).returncode == DONE
    assert run("analyse", small).returncode in (DONE, NOT_COMPUTED)
    results = json.loads((small / "results" / "results.json").read_text("utf-8"))
    kept = {row["bucket"]: row["mean"] for row in results["responses"]["bucket_weight_g"]["buckets"]}
    other = next(row.split(",") for row in rows[at + 1 :] if row.startswith(f"{cells[0]},"))
    assert kept[cells[0]] == pytest.approx(2 * float(other[6]))  # two heads a bucket


def test_new_sorts_doses(tmp_path: Path) -> None:
    """Doses come in any order and more than once; the protocol has each once, increasing."""
    doses = ("--dose", "6", "--dose", "2", "--dose", "6", "--nutrient", "Blend L 9-12-30", "--current", "2")
    result = run("new", tmp_path / "t", "--question", "Q?", "--site", "FERN", *doses)
    assert result.returncode == DONE, result.stderr
    assert "levels = [2, 6]" in (tmp_path / "t" / "trial.toml").read_text(encoding="utf-8")


def test_new_help_keeps_its_examples_apart() -> None:
    """Each example of trialkit new begins a line, and no mark of the writing shows."""
    lines = run("new", "--help").stdout.splitlines()
    assert sum(line.startswith("  Example: trialkit new ") for line in lines) == 3
    assert not any("\\" in line or "\b" in line for line in lines)


def test_new_copies_an_example(tmp_path: Path) -> None:
    """An example comes with its records and checks clean; an unknown name lists the known ones."""
    assert run("new", tmp_path / "practice", "--example", "autumn_dose").returncode == DONE
    assert contents(tmp_path / "practice") == contents(EXAMPLE)
    result = run("new", tmp_path / "other", "--example", "spring")
    assert result.returncode == WRONG_CALL
    assert "autumn_dose" in result.stderr


@pytest.mark.parametrize("command", ["demo", "new", "layout", "check", "analyse", "report"])
def test_every_command_has_help_with_an_example(command: str) -> None:
    """--help explains, shows an example, and needs no trial."""
    result = run(command, "--help")
    assert result.returncode == DONE
    assert "Example: trialkit " in result.stdout


def test_wrong_calls() -> None:
    """An unknown command or folder is a wrong call: one sentence, exit status 2."""
    assert start("analise").returncode == WRONG_CALL
    assert run("check", "nowhere").returncode == WRONG_CALL


def test_shells_can_complete() -> None:
    """Asked as a shell asks, the program offers its commands and their options."""
    code = "import sys; sys.argv = ['trialkit']; from trialkit.cli import main; main()"
    asked: tuple[tuple[str, str, str, str], ...] = (
        ("bash", "trialkit an", "1", "plain,analyse\n"),
        ("bash", "trialkit report --v", "2", "plain,--verify\n"),
        ("bash", "trialkit schema hea", "2", "plain,heads\n"),
        ("zsh", "trialkit an", "1", f"plain\nanalyse\n{COMMANDS['analyse'][1]}\n"),
        ("fish", "trialkit an", "an", f"plain,analyse\t{COMMANDS['analyse'][1]}\n"),
    )
    for shell, words, place, offered in asked:
        said = {"_TRIALKIT_COMPLETE": f"{shell}_complete", "COMP_WORDS": words, "COMP_CWORD": place}
        result = subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, check=False, env={**os.environ, **said}
        )
        assert result.stdout == offered, result.stderr


def test_completing_a_command_imports_none() -> None:
    """A shell that asks for commands need not wait for their libraries."""
    code = (
        "import sys, click; from trialkit.cli.main import group;"
        "assert len(group.shell_complete(click.Context(group, info_name='trialkit'), '')) > 10;"
        "assert not {'numpy', 'pandas', 'trialkit.cli.analyse_command'} & set(sys.modules)"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_help_imports_nothing_heavy() -> None:
    """--help does not load the numerical libraries."""
    code = (
        "import sys; from trialkit.cli.main import group; group(['--help'], standalone_mode=False);"
        "assert not {'numpy', 'pandas', 'matplotlib', 'pydantic'} & set(sys.modules), sorted(sys.modules)"
    )
    result = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert result.returncode == DONE, result.stderr
    assert "Answer" in result.stdout


def test_interrupt_leaves_nothing_half_written(tmp_path: Path) -> None:
    """Ctrl-C, or an end by the system, at any moment of the demo leaves whole files only, and no temporary ones."""
    for delay, sent in ((0.5, signal.SIGINT), (1.5, signal.SIGTERM), (3.0, signal.SIGINT)):
        folder = tmp_path / f"stopped{delay}"
        process = subprocess.Popen(
            [sys.executable, "-m", "trialkit", "demo", "--into", str(folder)],
            stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        time.sleep(delay)
        process.send_signal(sent)
        _, errors = process.communicate(timeout=60)
        if process.returncode != DONE:
            assert "Traceback" not in errors or delay < 1, errors
            # Interrupted within an exec() of text, the interpreter ends by the signal itself: whichever came.
            assert process.returncode in (128 + sent, -sent, -signal.SIGINT) or delay < 1
            assert not folder.exists()  # so that the same command can be run again
        assert not list(folder.rglob("*.tmp"))
        for path in folder.rglob("*.json"):
            json.loads(path.read_text(encoding="utf-8"))
