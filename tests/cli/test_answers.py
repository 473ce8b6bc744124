"""What commands answer a program, their published schemas, and their pages."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from click.testing import CliRunner

from commands import NOT_COMPUTED
from trialkit._resources import resource_folder
from trialkit.cli.answer_schemas import ANSWERS, answers_schema
from trialkit.cli.command_pages import command_pages
from trialkit.cli.main import COMMANDS, group
from trialkit.cli.schema_command import TABLES
from trialkit.domain.table_names import TABLE_NAMES
from trialkit.tables.table_schema import load_schema

ROOT = Path(__file__).parents[2]
MIX = ("mix", "--nutrient", "9-12-30", "--with", "15.5-0-0+19Ca=0.5", "--acid", "vinegar", "--json")


def answer(*arguments: str) -> Any:
    """Run a command and read its standard output, which must be JSON and nothing else."""
    result = CliRunner().invoke(group, arguments)
    assert result.exit_code in (0, 1), result.output
    return json.loads(result.stdout)


def valid(document: Any, name: str) -> None:
    """Validate an answer against the published schema of its command."""
    schema = json.loads((resource_folder("schemas") / "answers.schema.json").read_text("utf-8"))
    jsonschema.validate(document, {"$defs": schema["$defs"], **schema["properties"][name]})


@pytest.fixture
def trial(analysed: Path) -> Path:
    """A small trial, analysed."""
    return analysed


def test_the_schema_is_current() -> None:
    """The published file is what the code gives, and is a schema."""
    schema = json.loads((resource_folder("schemas") / "answers.schema.json").read_text("utf-8"))
    assert schema == answers_schema()
    jsonschema.Draft202012Validator.check_schema(schema)


@pytest.mark.parametrize(
    ("name", "arguments"), [("mix", (*MIX, "--alkalinity", "120")), ("mix --table", (*MIX, "--table"))]
)
def test_a_mix_follows_its_schema(name: str, arguments: tuple[str, ...]) -> None:
    """Amounts, water and cautions."""
    valid(answer(*arguments), name)


@pytest.mark.parametrize("name", ["check", "merge", "forms", "report --verify"])
def test_an_answer_follows_its_schema(trial: Path, name: str) -> None:
    """Asked about a trial."""
    command, *options = name.split()
    valid(answer(command, str(trial), *options, "--json"), name)


def test_a_check_with_problems_follows_its_schema(trial: Path, tmp_path: Path) -> None:
    """Problems too; and a returned file that cannot be read."""
    folder = tmp_path / "spoilt"
    shutil.copytree(trial, folder)
    (tmp_path / "bad.csv").write_text("bucket,head,outcome\nnowhere,1,harvested\n")
    found = answer("merge", str(folder), str(tmp_path / "bad.csv"), "--json")
    assert not found["ok"]
    valid(found, "merge")
    refused = next(one for one in found["files"][0]["findings"] if one["rule"] == "TK-R30")
    assert {"name": "text", "value": "nowhere"} in refused["facts"]
    assert refused["how_to_fix"].endswith("Look at the bucket.")
    heads = folder / "heads.csv"
    heads.write_text(heads.read_text("utf-8").replace("harvested", "harvestet", 3), "utf-8")
    found = answer("check", str(folder), "--json")
    assert len(found["problems"]) >= 3
    valid(found, "check")


def test_a_plan_follows_its_schema(trial: Path) -> None:
    """The same document as plan.json."""
    document = answer("plan", str(trial), "--json", "--simulations", "100")
    valid(document, "plan")
    assert document == json.loads((trial / "results" / "plan.json").read_text("utf-8"))


def test_a_list_of_evidence_follows_its_schema(trial: Path, tmp_path: Path) -> None:
    """An empty ledger is none; one with an entry is told."""
    ledger = tmp_path / "ledger"
    assert CliRunner().invoke(group, ["evidence", "add", str(trial), "--ledger", str(ledger)]).exit_code == 0
    document = answer("evidence", "list", "--ledger", str(ledger), "--json")
    assert len(document["entries"]) == 1
    valid(document, "evidence list")


def test_verifying_tells_a_program_what_differs(trial: Path, tmp_path: Path) -> None:
    """A report that is not there is named, in JSON and by exit status."""
    folder = tmp_path / "trial"
    shutil.copytree(trial, folder)
    result = CliRunner().invoke(group, ["report", str(folder), "--verify", "--json"])
    assert result.exit_code == 1
    document = json.loads(result.stdout)
    assert not document["ok"]
    assert "report.html is not there" in document["differences"][0]


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
    result = CliRunner().invoke(group, [*command, str(folder)])
    assert result.exit_code == NOT_COMPUTED, result.output
    assert f"is damaged at {where}" in result.output


def test_every_command_that_answers_can_answer_a_program() -> None:
    """--json is an option of each, and every answer has a schema."""
    pages = command_pages()
    for name in ("analyse", "recommend", "evidence-pool", "evidence-list", "schema", *(n.split()[0] for n in ANSWERS)):
        assert name == "evidence" or "The answer of `--json`: " in pages[f"{name}.md"]


def test_the_pages_of_commands_are_current() -> None:
    """reports/commands holds what the commands say of themselves, and nothing else."""
    folder = ROOT / "reports" / "commands"
    kept = {path.name: path.read_text("utf-8") for path in folder.iterdir()}
    assert kept == command_pages()
    assert {f"{name}.md" for name in COMMANDS} < set(kept)


def test_the_data_dictionary() -> None:
    """Every table with every column, and the schema itself for programs."""
    assert (*TABLE_NAMES, "means") == TABLES
    for name in (*TABLE_NAMES, "means"):
        said = CliRunner().invoke(group, ["schema", name]).stdout
        for field in load_schema(name).fields:
            assert f"\n{field.name} (" in said
        assert max(map(len, said.splitlines())) <= 100
        assert [field["name"] for field in answer("schema", name, "--json")["fields"]] == list(
            load_schema(name).columns
        )
    assert set(answer("schema", "--json")) == {*TABLE_NAMES, "means"}
    assert CliRunner().invoke(group, ["schema"]).stdout.count("columns") == len(TABLE_NAMES) + 1


def test_results_of_another_version_are_refused(trial: Path, tmp_path: Path) -> None:
    """What an earlier version wrote is not taken for damage."""
    folder = Path(shutil.copytree(trial, tmp_path / "trial"))
    path = folder / "results" / "results.json"
    path.write_text(path.read_text("utf-8").replace("trialkit-results-5", "trialkit-results-4"), "utf-8")
    result = CliRunner().invoke(group, ["report", str(folder)])
    assert result.exit_code != 0
    assert (
        f"results.json was written by another version of trialkit: run trialkit analyse {folder} again."
        in result.output
    )
