"""How commands speak: options of all, colours, questions, progress, help, and names that are nearly right."""

from __future__ import annotations

import json
import re
import sys
from pathlib import Path

import click
import pytest

from commands import DATA_ERROR, DONE, WRONG_CALL, at_terminal, run, start
from laid_out_trial import laid_out
from trialkit.cli.help_command import command as help_command
from trialkit.cli.main import COMMANDS, group
from unset_sheets import unset_sheets
from writing_commands import quick

MIX = ("mix", "--alkalinity", "120", "--acid", "vinegar")
RED = "\x1b[31m"
needs_pty = pytest.mark.skipif(sys.platform == "win32", reason="terminals of Unix")


@pytest.fixture(autouse=True)
def plain_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever the tests were started from."""
    monkeypatch.setenv("TERM", "xterm")
    for name in ("NO_COLOR", "FORCE_COLOR"):
        monkeypatch.delenv(name, raising=False)


@pytest.fixture
def at_fault(small: Path) -> Path:
    """A trial with an error."""
    path = small / "heads.csv"
    path.write_text(path.read_text("utf-8").replace("harvested", "harvestet", 1), "utf-8")
    return small


def test_quiet_says_only_what_was_asked_for(small: Path) -> None:
    """Amounts, problems and answers, not what was written or comes next."""
    assert run(*MIX, "--quiet").stdout == run(*MIX).stdout
    whole, quiet = run("analyse", small), run("analyse", small, "--quiet")
    assert whole.stdout == f"{quiet.stdout}Written to {small}/results/results.json. Next: trialkit report {small}\n"
    for command in (("report", small), ("pack", small), ("county", small.parent, "--name", "Larkmoor County")):
        assert run(*command).stdout
        silent = run(*command, "--quiet")
        assert (silent.returncode, silent.stdout, silent.stderr) == (DONE, "", "")
    assert "Larkmoor County" in run("county", small.parent, "--quiet").stdout
    assert run("merge", small, "--quiet").stdout == ""


def test_quiet_keeps_errors(at_fault: Path) -> None:
    """Those that were looked for, and those that stop a command."""
    assert run("check", at_fault, "--quiet").stdout == run("check", at_fault).stdout
    refused = run("--quiet", "analyse", at_fault)
    assert (refused.returncode, refused.stdout) == (DATA_ERROR, "")
    assert refused.stderr == run("analyse", at_fault).stderr
    assert "problems to fix first." in refused.stderr


@pytest.mark.parametrize("words", [("--json", *MIX), (*MIX, "--json"), ("mix", "--json", *MIX[1:])])
def test_options_of_all_stand_before_and_after_the_command(words: tuple[str, ...]) -> None:
    """Before its name, behind it, and at the end."""
    assert json.loads(run(*words).stdout)["command"] == "mix"


def test_options_of_all_stand_between_the_words_of_a_command(tmp_path: Path) -> None:
    """Of those that have two words."""
    refused = run("evidence", "--json", "list", "--ledger", tmp_path)
    assert json.loads(refused.stdout)["command"] == "evidence list"


def test_colours_follow_the_wish(at_fault: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """None where no terminal is, unless they are forced; the one who wants none has none."""

    def colours(*words: str, **wishes: str) -> bool:
        with monkeypatch.context() as now:
            for name, value in wishes.items():
                now.setenv(name, value)
            asked, stopped = run(*words, "check", at_fault).stdout, run("analyse", at_fault, *words).stderr
        assert (RED in asked) == (RED in stopped)
        return RED in asked

    assert not colours()
    assert colours(FORCE_COLOR="1")
    assert colours(FORCE_COLOR="1", NO_COLOR="")
    assert colours(FORCE_COLOR="1", TERM="dumb")
    assert not colours(FORCE_COLOR="1", NO_COLOR="1")
    assert not colours("--no-color", FORCE_COLOR="1")
    assert not colours(FORCE_COLOR="")
    with monkeypatch.context() as now:
        now.setenv("FORCE_COLOR", "1")
        assert "\x1b" not in run("check", at_fault, "--json").stdout


@needs_pty
@pytest.mark.parametrize(
    ("words", "wishes", "coloured"),
    [
        ((), {}, True),
        ((), {"NO_COLOR": "1"}, False),
        ((), {"TERM": "dumb"}, False),
        (("--no-color",), {}, False),
    ],
)
def test_colours_at_a_terminal(at_fault: Path, words: tuple[str, ...], wishes: dict[str, str], coloured: bool) -> None:
    """A terminal shows them, but a dumb one, or to who wants none."""
    status, shown = at_terminal("check", at_fault, *words, **wishes)
    assert status == DATA_ERROR
    assert (RED in shown) == coloured
    assert ("\x1b" in shown) == coloured


NEW = ("--question", "Which?", "--cultivar", "Fenleaf", "--cultivar", "Paleheart")


def test_nobody_is_asked_where_nobody_sits(tmp_path: Path) -> None:
    """All options that are missing are named at once; nothing is written, and nothing is waited for."""
    bare = run("new", tmp_path / "t", piped=b"Which?\nFenleaf, Paleheart\n")
    assert (bare.returncode, bare.stdout) == (WRONG_CALL, "")
    assert bare.stderr == (
        "Error: Nobody can be asked here, so give these options, too: --question, two or more of --cultivar, --dose or "
        "--acidifier, --site and --current. To be asked, run the command in a terminal, without --no-input and "
        "--json.\n"
    )
    assert "too: --site and --current for cultivar." in run("new", tmp_path / "t", *NEW).stderr
    dosed = run("new", tmp_path / "t", *NEW, "--dose", "4", "--dose", "6", "--site", "FERN")
    assert "too: --nutrient and --current for cultivar and dose." in dosed.stderr
    assert start("new", tmp_path / "t").stderr == bare.stderr
    assert not (tmp_path / "t").exists()


@pytest.mark.parametrize("option", ["--no-input", "--json"])
def test_nobody_is_asked_who_does_not_want_to_be(tmp_path: Path, option: str) -> None:
    """At a terminal, too."""
    done = run("new", tmp_path / "t", *NEW, option, typed="FERN\nFenleaf\n")
    assert done.returncode == WRONG_CALL
    assert "give these options, too: --site and --current for cultivar." in done.stderr
    assert "Gardens" not in done.stdout + done.stderr


@needs_pty
def test_a_question_at_a_terminal(tmp_path: Path) -> None:
    """Is asked, and its answer taken."""
    status, shown = at_terminal("new", tmp_path / "t", *NEW, "--site", "FERN", typed="fenleaf\n")
    assert status == DONE, shown
    assert "Current cultivar (Fenleaf, Paleheart): " in shown
    assert '"cultivar" = "Fenleaf"' in (tmp_path / "t" / "trial.toml").read_text("utf-8")


def test_progress_is_for_who_watches(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A bar on standard error of a terminal, none else, none for programs, for quiet, and on a dumb terminal."""
    folder = laid_out(tmp_path / "trial").folder
    assert "\r[##########                    ] 1 of 3 \r[" in run("forms", folder, watched=True).stderr
    assert run("forms", folder).stderr == ""
    for option in ("--quiet", "--json"):
        assert run("forms", folder, option, watched=True).stderr == ""
    monkeypatch.setenv("TERM", "dumb")
    assert run("forms", folder, watched=True).stderr == ""


def test_every_long_command_shows_progress(small: Path, tmp_path: Path) -> None:
    """Whatever may take over a second (DEVELOPERS.md)."""
    ledger = ("--ledger", tmp_path / "ledger")
    for words, told in (
        (("analyse", small), "what to recommend"),
        (("report", small), "the report"),
        (("report", small, "--verify", "--with", "statsmodels"), "the second engine"),
        (("pack", small), "the data package"),
        (("plan", small, "--simulations", "100"), "what designs are worth"),
        (("evidence", "add", small, *ledger), "what to recommend"),
        (("evidence", "pool", *ledger), "levels of the next trial"),
        (("recommend", tmp_path / "ledger"), "the pages for gardeners"),
        (("new", tmp_path / "next", "--from", tmp_path / "ledger"), "what all trials say"),
    ):
        with unset_sheets():
            done = run(*words, watched=True)
        assert done.returncode == DONE, done.stderr
        assert f"Working out {told} ...\n" in done.stderr, words
    with quick():  # no more than two steps
        done = run("demo", "--into", tmp_path / "demo", watched=True)
    assert "Working out step 2 of 2, layout ...\n" in done.stderr


def test_a_bar_that_is_left_ends_its_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is said of a failure stands on a line of its own."""
    folder = laid_out(tmp_path / "trial").folder

    def full(*_: object) -> bytes:
        raise OSError(28, "No space left on device", "pack.html")

    monkeypatch.setattr("trialkit.forms.workbook.record_workbook", full)
    assert "] 1 of 3 \nError: pack.html: the disk is full" in run("forms", folder, watched=True).stderr


@needs_pty
def test_progress_at_a_terminal(tmp_path: Path) -> None:
    """The bar moves on one line; on a dumb terminal there is none."""
    folder = laid_out(tmp_path / "trial").folder
    status, shown = at_terminal("forms", folder)
    assert status == DONE
    assert shown.startswith("Working out forms of gardens ...\n\r[")
    assert at_terminal("forms", folder, TERM="dumb")[1].startswith("Forms for 3 gardens")


def test_help_is_the_same_in_either_way() -> None:
    """Of every command, of those of two words, and of all."""
    names = [(name,) for name in COMMANDS] + [
        ("evidence", name) for name in ("add", "list", "pool", "readmit", "withdraw")
    ]
    for words in [(), *names, ("analyze",)]:
        assert run("help", *words).stdout == run(*words, "--help").stdout
    for words, said in (
        (("anaylse",), "Did you mean 'analyse'?"),
        (("evidence", "ad"), "Did you mean 'add'?"),
        (("check", "it"), "trialkit check has no commands of its own."),
    ):
        refused = run("help", *words)
        assert (refused.returncode, said in refused.stderr) == (WRONG_CALL, True), refused.stderr


def test_help_completes_commands() -> None:
    """The names of commands, then those of the second word."""
    top = click.Context(group, info_name="trialkit")
    (argument,) = help_command.params

    def offered(words: tuple[str, ...], begun: str) -> list[str]:
        here = click.Context(help_command, info_name="help", parent=top)
        here.params["words"] = words
        return [item.value for item in argument.shell_complete(here, begun)]

    assert offered((), "an") == ["analyse"]
    assert offered(("evidence",), "") == ["add", "list", "pool", "readmit", "withdraw"]
    assert offered(("check",), "") == []
    assert offered(("nowhere",), "") == []


@pytest.mark.parametrize(
    ("words", "meant"),
    [
        (("anaylse",), "'analyse'"),
        (("--verson",), "'--version'"),
        (("evidence", "wihdraw"), "'withdraw'"),
        (("county", "--languag", "en"), "'--language'"),
        (("check", "x", "--quit"), "'--quiet'"),
        (("schema", "sightes"), "sites"),
        (("merge", ".", "--dates", "dayfirst"), "day-first"),
        (("new", "x", "--example", "spring-dose"), "spring_dose"),
        (("new", "x", *NEW, "--site", "A", "--current", "Fenleef"), "Fenleaf"),
    ],
)
def test_a_name_that_is_nearly_right(words: tuple[str, ...], meant: str) -> None:
    """Is asked about."""
    refused = run(*words)
    assert refused.returncode == WRONG_CALL
    assert re.search(rf"Did you mean (one of: .*)?{re.escape(meant)}", refused.stderr), refused.stderr


def test_names_of_a_trial_that_are_nearly_right(analysed: Path, tmp_path: Path) -> None:
    """Columns, gardens, products, trials of a ledger."""
    bucket = (analysed / "heads.csv").read_text("utf-8").splitlines()[1].partition(",")[0]
    run("evidence", "add", analysed, "--ledger", tmp_path / "ledger")
    for words, meant in (
        (("correct", analysed, bucket, "1", "wieght_g=100", "--why", "x"), "weight_g"),
        (("site", analysed, "s01", "--withdraw", "--why", "x"), "s1"),
        (("mix", "--alkalinity", 120, "--trial", analysed, "--acid", "white vinegr 5 %"), "white vinegar 5 %"),
        (("merge", analysed, "--heading", "Grams=wieght_g"), "weight_g"),
        (("evidence", "withdraw", "smal", "--why", "x", "--ledger", tmp_path / "ledger"), "small"),
    ):
        refused = run(*words)
        assert refused.returncode == WRONG_CALL, words
        assert f"Did you mean {meant}?" in refused.stderr, refused.stderr
