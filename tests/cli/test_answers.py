"""What commands answer a program, their published schemas, and their pages."""

from __future__ import annotations

import json
import shutil
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from answers import schema_of, told
from commands import DATA_ERROR, NOT_COMPUTED, WRONG_CALL, answered, run
from trialkit.cli import main
from trialkit.cli.answer_schemas import ANSWERS, answers_schema
from trialkit.cli.command_pages import command_pages
from trialkit.cli.main import COMMANDS as ALL
from trialkit.cli.schema_command import TABLES
from trialkit.domain.table_names import TABLE_NAMES
from trialkit.tables.table_schema import load_schema
from writing_commands import COMMANDS, Writing, made_world, seen, state_of

ROOT = Path(__file__).parents[2]
MIX = ("mix", "--nutrient", "9-12-30", "--with", "15.5-0-0+19Ca=0.5", "--acid", "vinegar")


@pytest.fixture
def trial(analysed: Path) -> Path:
    """A small trial, analysed."""
    return analysed


def test_the_schema_is_current() -> None:
    """The published file is what the code gives, is a schema, and knows every command."""
    schema = schema_of("answers")
    assert schema == answers_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    assert {name.split()[0] for name in ANSWERS} == set(ALL)


@pytest.mark.parametrize("one", COMMANDS.values(), ids=lambda one: one.name)
def test_what_is_written_is_told(one: Writing, world: Path) -> None:
    """Of every command that writes: all that changed, by its way from the folder, and nothing that is not there.

    Done again, where that is refused, the document says why.
    """
    with made_world(world, one) as (place, words):
        before = seen(state_of(one.changes))
        document = told(*words)
        after = seen(state_of(one.changes))
        assert document["command"] == " ".join(words[: len(document["command"].split())])
        folder = place / document["folder"]
        written = {(folder / name).resolve() for name in document["written"]}
        gone = {(folder / name).resolve() for name in document["taken_away"]}
        assert {(place / name).resolve() for name in after if after[name] != before.get(name)} <= written
        assert {(place / name).resolve() for name in before if name not in after} == gone
        assert all(path.is_file() for path in written)
        assert document["done"] or document["answer"]
        assert str(place) not in json.dumps(document)
        if one.again:
            refused = told(*words)
            assert refused["exit_status"] > 0
            assert one.again in " ".join(refused["failure"]["messages"])


def _changed(folder: Path, file: str, old: str, new: str, times: int = 1) -> None:
    path = folder / file
    path.write_text(path.read_text("utf-8").replace(old, new, times), "utf-8")


def test_what_reads_only_is_told(trial: Path, tmp_path: Path) -> None:
    """Of commands that write nothing."""
    assert told(*MIX, "--alkalinity", 120)["answer"]["schema"] == "trialkit-mix-2"
    assert told(*MIX, "--table")["answer"]["schema"] == "trialkit-mix-table-3"
    assert told("check", trial)["answer"] == {"ok": True, "problems": []}
    assert told("help", "check")["answer"] == run("check", "--help").stdout.rstrip("\n")
    assert told("schema", "heads")["answer"] == schema_heads()
    assert told("county", tmp_path)["answer"] | {"publication": {}} == {"file": None, "county": None, "publication": {}}
    assert told("merge", trial)["answer"]["ok"]
    told("evidence", "add", trial, "--ledger", tmp_path / "ledger")
    listed = told("evidence", "list", "--ledger", tmp_path / "ledger")
    assert [one["trial"] for one in listed["answer"]["entries"]] == ["small"]
    assert listed["written"] == []


def schema_heads() -> Any:
    """The Table Schema of heads.csv as it is published."""
    return json.loads((ROOT / "schemas" / "heads.json").read_text("utf-8"))


def test_results_and_plan_are_the_documents_that_are_written(trial: Path) -> None:
    """The same as in results.json and plan.json."""
    for command in (("analyse",), ("plan", "--simulations", 100)):
        document = told(command[0], trial, *command[1:])
        (name,) = (name for name in document["written"] if name.endswith(".json"))
        assert document["answer"] == json.loads((trial / name).read_text("utf-8"))


def test_errors_that_were_asked_for_stand_in_the_answer(trial: Path, tmp_path: Path) -> None:
    """A check that finds errors, and a return that cannot be read, fail; what was found is told part by part."""
    (tmp_path / "bad.csv").write_text("bucket,head,outcome\nnowhere,1,harvested\n")
    document = told("merge", trial, tmp_path / "bad.csv")
    assert document["exit_status"] == DATA_ERROR
    assert any("bad.csv" in line for line in document["failure"]["messages"])
    refused = next(one for one in document["answer"]["files"][0]["findings"] if one["rule"] == "TK-R30")
    assert {"name": "text", "value": "nowhere"} in refused["facts"]
    assert refused["how_to_fix"].endswith("Look at the bucket.")
    _changed(trial, "heads.csv", "harvested", "harvestet", 3)
    document = told("check", trial)
    assert document["failure"]["kind"] == "data"
    assert document["failure"]["problems"] == []
    assert len(document["answer"]["problems"]) == 4
    assert document["failure"]["messages"][-1] == "Check: 4 errors and 0 warnings."


@pytest.mark.parametrize("command", ["analyse", "forms", "pack", "plan", "report"])
def test_errors_that_stop_a_command_are_told_part_by_part(trial: Path, command: str) -> None:
    """With file, place, what was found and expected, and how to fix it; an error of the plan is a wrong call."""
    (trial / "results" / "report.html").unlink(missing_ok=True)
    _changed(trial, "trial.toml", "blocks = 2", 'blocks = "two"')
    document = told(command, trial)
    assert document["answer"] is None
    assert document["written"] == []
    if command == "report":
        assert document["failure"]["messages"] == [
            f"trial.toml changed since the analysis: run trialkit analyse {trial} again."
        ]
        return
    (problem,) = document["failure"]["problems"]
    assert (problem["file"], problem["column"]) == ("trial.toml", "layout.blocks")
    assert problem["found"]
    assert problem["expected"]
    assert problem["how_to_fix"]
    assert document["failure"]["messages"] == ["1 problem to fix first."]
    assert document["folder"] == str(trial)


def test_a_wrong_call_is_told(trial: Path) -> None:
    """Whatever is wrong with it: no command, no such command, option, value or folder."""
    calls: Sequence[tuple[tuple[Any, ...], str, str]] = (
        ((), "", "Missing command."),
        (("chekc",), "", "No such command 'chekc'. Did you mean 'check'?"),
        (("evidence", "lst"), "evidence", "No such command 'lst'. Did you mean 'list'?"),
        (("help", "evidence", "ad"), "help", "No such command 'ad'. Did you mean 'add'?"),
        (("analyze", trial, "--al-pairs"), "analyse", "No such option '--al-pairs'. Did you mean '--all-pairs'?"),
        (("schema", "headz"), "schema", "Did you mean heads?"),
        (("check",), "check", "Missing argument 'DIR'."),
        (("check", "nowhere"), "check", "Directory 'nowhere' does not exist."),
        (("evidence", "add", trial), "evidence add", "Missing option '--ledger'."),
        (("mix", "--ph", "nan"), "mix", "nan is not a finite number."),
        (("evidence", "list", "--ledger", "nowhere"), "evidence list", "nowhere"),
        (("report", trial, "--with", "statsmodels"), "report", "Give --with together with --verify"),
        (("new", trial, "--example", "autum_dose"), "new", "Did you mean autumn_dose?"),
        (("site", trial, "s11", "--withdraw", "--why", "x"), "site", "Did you mean s1?"),
    )
    for words, command, said in calls:
        document = told(*words)
        assert (document["exit_status"], document["failure"]["kind"]) == (WRONG_CALL, "call"), words
        assert document["command"] == command
        assert said in document["failure"]["messages"][-1], document["failure"]


def test_after_two_hyphens_there_are_no_options() -> None:
    """A folder may be called --json."""
    assert run("chekc", "--", "--json").stdout == ""


def test_what_could_be_said_comes_with_a_failure(trial: Path) -> None:
    """No recommendation: the results are there; nothing that agrees: what differs."""
    _changed(trial, "trial.toml", "days = false", "weight = false")
    document = told("analyse", trial)
    assert (document["exit_status"], document["failure"]["kind"]) == (NOT_COMPUTED, "not computed")
    assert document["failure"]["messages"][0].startswith("No recommendation.")
    assert document["answer"]["decision"] is None
    assert document["written"] == ["results/results.json"]
    document = told("report", trial, "--verify")
    assert document["exit_status"] == DATA_ERROR
    assert "report.html is not there" in document["answer"]["differences"][0]
    assert document["failure"]["messages"] == ["; ".join(document["answer"]["differences"])]


def test_a_file_that_cannot_be_read_is_told(trial: Path) -> None:
    """As a wrong call, with its name."""
    (trial / "heads.csv").unlink()
    (trial / "heads.csv").mkdir()
    document = told("check", trial)
    assert document["exit_status"] > 0
    assert "heads.csv" in " ".join(document["failure"]["messages"])


@pytest.mark.parametrize(
    ("error", "kind"),
    [(KeyboardInterrupt, "stopped"), (MemoryError, "not computed"), (ZeroDivisionError, "fault")],
)
def test_whatever_stops_a_command_is_told(
    trial: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    error: type[BaseException],
    kind: str,
) -> None:
    """Ctrl-C, no memory, and a fault of ours, which keeps its traceback."""

    def fails(*_: Any) -> None:
        raise error("so")

    monkeypatch.setattr("trialkit.cli.layout_command.lay_out", fails)
    if kind == "fault":
        with pytest.raises(ZeroDivisionError):
            main(["layout", str(trial), "--json"])
        document = json.loads(capsys.readouterr().out)
    else:
        document = told("layout", trial)
    assert document["failure"]["kind"] == kind
    assert document["exit_status"] == {"stopped": 130, "not computed": NOT_COMPUTED, "fault": 1}[kind]


@pytest.mark.parametrize(
    ("spoil", "where"),
    [
        (lambda results: results.pop("design"), "design"),
        (lambda results: results["responses"]["weight_g"].update(means="none"), "responses.weight_g.means"),
        (lambda results: results.update(decision=[]), "decision"),
    ],
)
@pytest.mark.parametrize("command", [("report",), ("pack",), ("evidence", "add", "--ledger", "ledger")])
def test_damaged_results_are_named(
    trial: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, spoil: Any, where: str, command: tuple[str, ...]
) -> None:
    """Results of the right kind whose inside was spoilt: the place, and what to do, without a traceback."""
    monkeypatch.chdir(tmp_path)
    folder = tmp_path / "trial"
    shutil.copytree(trial, folder)
    path = folder / "results" / "results.json"
    document = json.loads(path.read_text("utf-8"))
    spoil(document)
    path.write_text(json.dumps(document), "utf-8")
    result = run(*command, folder)
    assert result.returncode == NOT_COMPUTED, result.stderr
    assert f"is damaged at {where}" in result.stderr


def test_every_page_says_what_a_program_gets() -> None:
    """By the name of the document in the schema, which the page of all commands links."""
    pages = command_pages()
    for name in ANSWERS:
        assert "With `--json`, its `answer` is " in pages[f"{name.replace(' ', '-')}.md"]
    assert "answers.schema.json" in pages["README.md"]
    assert all(f"`--{option}`" in pages["README.md"] for option in ("json", "quiet", "no-color", "no-input"))


def test_the_pages_of_commands_are_current() -> None:
    """reports/commands holds what the commands say of themselves, and nothing else."""
    folder = ROOT / "reports" / "commands"
    kept = {path.name: path.read_text("utf-8") for path in folder.iterdir()}
    assert kept == command_pages()
    assert {f"{name}.md" for name in ALL} < set(kept)


def test_the_data_dictionary() -> None:
    """Every table with every column, and the schema itself for programs."""
    every = (*TABLE_NAMES, "means", "people")
    assert every == TABLES
    for name in every:
        said = run("schema", name).stdout
        for field in load_schema(name).fields:
            assert f"\n{field.name} (" in said
        assert max(map(len, said.splitlines())) <= 100
        assert [field["name"] for field in answered("schema", name)["fields"]] == list(load_schema(name).columns)
    assert set(answered("schema")) == set(every)
    assert run("schema").stdout.count("columns") == len(every)


def test_results_of_another_version_are_refused(trial: Path, tmp_path: Path) -> None:
    """What an earlier version wrote is not taken for damage."""
    folder = Path(shutil.copytree(trial, tmp_path / "trial"))
    path = folder / "results" / "results.json"
    path.write_text(path.read_text("utf-8").replace("trialkit-results-5", "trialkit-results-4"), "utf-8")
    result = run("report", folder)
    assert result.returncode == NOT_COMPUTED
    assert (
        f"results.json was written by another version of trialkit: run trialkit analyse {folder} again."
        in result.stderr
    )
