"""The whole job from Python: what each method gives, and that it is what its command gives."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from datetime import date
from pathlib import Path
from typing import Annotated, Any, Literal, get_args, get_origin, get_type_hints

import pytest
from matplotlib.figure import Figure

import trialkit
from commands import run
from contents import contents
from trialkit.documents.document import as_text, as_written
from trialkit.documents.results import Results
from trialkit.domain.errors import NotComputed, WrongCall
from trialkit.domain.short_repr import LONGEST
from trialkit.interface.frames import TABLES, WHERE
from trialkit.rules.trial_folder import read_trial
from trialkit.tables.problem import TrialError


@pytest.fixture(scope="module")
def trial(tmp_path_factory: pytest.TempPathFactory) -> trialkit.Trial:
    """An analysed example with its report."""
    made = trialkit.Trial.example("volunteer_cultivars", tmp_path_factory.mktemp("interface") / "trial")
    made.analyse()
    made.report()
    return made


def test_a_season_from_python(tmp_path: Path) -> None:
    """New, planned, laid out, printed: what the commands write stands in the folder."""
    trial = trialkit.Trial.new(
        tmp_path / "spring",
        question="Which cultivar?",
        sites=["FERN", "MILL", "HARB"],
        cultivars=["Fenleaf", "Paleheart"],
        practice={"cultivar": "Fenleaf"},
        seed=5,
    )
    assert trial.protocol.varied_factors == ("cultivar",)
    with pytest.raises(TrialError) as caught:
        trial.heads()
    assert caught.value.problems
    assert trial.plan().schema.startswith("trialkit-plan")
    layout = trial.layout()
    assert len(layout) == 3 * 3 * 2
    assert (trial.layout()["bucket"] == layout["bucket"]).all()
    assert {path.name for path in trial.forms()} >= {"adviser.html", "pack-FERN.html", "record-FERN.xlsx"}
    assert set(trial.sites()["site"]) == {"FERN", "MILL", "HARB"}
    assert trial.add_site("LANE", why="a teacher asked", on=date(2027, 4, 1)).change == "joined"
    assert trial.withdraw_site("LANE", why="moved away", on=date(2027, 4, 2)).change == "withdrew"
    assert trial.rejoin_site("LANE", why="back", on=date(2027, 4, 3)).change == "rejoined"


def test_methods_give_what_commands_give(trial: trialkit.Trial) -> None:
    """The same document as `analyse --json`, the same report, and nothing that differs."""
    stored = json.loads((trial.folder / "results" / "results.json").read_text("utf-8"))
    assert json.loads(as_text(trial.results)) == stored
    assert trial.verify() == ()
    again = run("analyse", trial.folder, "--json")
    assert json.loads(again.stdout)["answer"]["decision"] == stored["decision"]
    packed = trial.pack()
    assert (Path(packed.file).stat().st_size, packed.has_results) == (packed.bytes, True)


# What the example has none of: pairs are there only where asked for, doses only where they vary.
NOT_IN_EXAMPLE = {
    "dose_points", "tipping_points", "other_priors", "pairs", "partly_tested", "ph_climbs", "corrections", "amendments",
    "departures",
}  # fmt: skip


@pytest.mark.parametrize("name", TABLES)
def test_every_table_is_tidy(trial: trialkit.Trial, name: str) -> None:
    """One row a thing; no cell holds a list or a dataclass."""
    table = trial.table(name)
    assert table.empty == (name in NOT_IN_EXAMPLE)
    kinds = {type(value) for column in table for value in table[column]}
    assert not {list, tuple, dict} & kinds
    if name in ("means", "comparisons"):
        assert {"response", "cultivar", "se", "df"} <= set(table.columns)


def test_no_list_of_the_results_is_left_out() -> None:
    """Every field of the results that holds rows has a table."""

    def rows_in(kind: Any, path: tuple[str, ...]) -> Iterator[str]:
        kind = get_args(kind)[0] if get_origin(kind) is Annotated else kind
        origin, inner = get_origin(kind), get_args(kind)
        if origin in (tuple, list) and is_dataclass(inner[0]):
            yield ".".join(path)
        if is_dataclass(kind):
            hints = get_type_hints(kind, include_extras=True)
            for field in fields(kind):
                yield from rows_in(hints[field.name], (*path, field.name))
        elif origin is dict:
            yield from rows_in(inner[1], path)
        elif origin is not None and origin is not Literal:
            for one in inner:
                yield from rows_in(one, path)

    notes = {"responses.not_analysed.treatments", "responses.model.notes"}  # parts of a sentence, not tables
    assert set(rows_in(Results, ())) - notes == set(WHERE.values()) - {"responses.checks"}


def test_pictures_are_axes(trial: trialkit.Trial) -> None:
    """Drawn where asked, with a row for each treatment."""
    axes = Figure().subplots()
    assert trial.draw("gains", axes) is axes
    assert len(axes.get_yticks()) == 6
    for what in ("gardens", "residuals"):
        assert trial.draw(what).get_xlabel()  # type: ignore[arg-type]
    with pytest.raises(NotComputed, match="no curve of doses"):
        trial.draw("doses")
    records = trial.draw("records")
    assert len(records.get_yticklabels()) == 6
    assert sum(len(one.get_offsets()) for one in records.collections) >= int(trial.heads()["weight_g"].notna().sum())


def test_notebooks_show_the_answer(trial: trialkit.Trial) -> None:
    """The question and the summary as text, escaped; `repr` is a line."""
    shown = trial._repr_html_()
    assert "Which cultivar should our summer handout recommend" in shown
    assert "Fenleaf" in shown
    for one in (trial, trial.results, trial.check(), read_trial(trial.folder), trial.results.decision):
        assert len(repr(one)) <= LONGEST + len(str(trial.folder))
    assert {"Trial", "Ledger", "analyse", "fit_mixed"} <= set(dir(trialkit))


def test_errors_are_those_of_the_commands(trial: trialkit.Trial, tmp_path: Path) -> None:
    """No trial, no table, no picture, no results: each in words."""
    with pytest.raises(WrongCall, match=r"has no trial\.toml"):
        trialkit.Trial(tmp_path)
    with pytest.raises(WrongCall, match="there are candidates, dose_points"):
        trial.table("nothing")
    with pytest.raises(WrongCall, match="there are records, gains, doses"):
        trial.draw("nothing")  # type: ignore[arg-type]
    with pytest.raises(WrongCall, match="run trialkit analyse"):
        _ = trialkit.Trial.example("spring_dose", tmp_path / "spring").results
    with pytest.raises(WrongCall, match="is no ledger"):
        trialkit.Ledger(tmp_path / "none").pool()


def test_the_other_commands_are_methods(trial: trialkit.Trial, tmp_path: Path) -> None:
    """Mixing, the county, what a citable pack lacks, pages of a check, what columns mean, the trial that follows."""
    recipe = trial.mix(alkalinity=120.0, acid="vinegar")
    command = run("mix", "--trial", trial.folder, "--alkalinity", "120", "--acid", "vinegar", "--json")
    assert recipe.acid is not None
    assert json.loads(command.stdout)["answer"]["acid"]["tsp"] == recipe.acid.tsp
    assert trial.county().county is None
    told = trial.county(name="Larkmoor County").county
    assert told is not None
    assert told.name == "Larkmoor County"
    (trial.folder / "county.toml").unlink()
    assert "Creator" in {gap.what for gap in trial.pack_gaps()}
    assert trial.check_pages()[0].name == "check.html"
    assert trialkit.Trial.columns("heads").set_index("column").loc["weight_g", "unit"] == "g"
    following = trialkit.Trial.following(tmp_path / "next", trial.folder, seed=3)
    assert following.protocol.practice.cultivar == "Fenleaf"


def test_records_come_back_and_are_put_right(tmp_path: Path) -> None:
    """A returned sheet is merged, a slip corrected; both outcomes are documents."""
    trial = trialkit.Trial.example("volunteer_cultivars", tmp_path / "trial")
    head = trial.heads().dropna(subset="weight_g").iloc[0]
    sheet = tmp_path / "sheet.csv"
    sheet.write_text(f"bucket,head,weight_g\n{head['bucket']},{head['head']},{head['weight_g']:g}\n", "utf-8")
    assert trial.merge(sheet).ok
    told = trial.correct(head["bucket"], int(head["head"]), why="read 151", weight_g=151)
    assert told.ok
    after = trial.heads().set_index(["bucket", "head"])
    assert after.loc[(head["bucket"], head["head"]), "weight_g"] == 151


def test_a_ledger_from_python(trial: trialkit.Trial, tmp_path: Path) -> None:
    """Added, listed, pooled, recommended, withdrawn."""
    ledger = trialkit.Ledger(tmp_path / "ledger")
    ledger.add(trial)
    entries = ledger.entries()
    assert entries["counts"].to_list() == [True]
    assert ledger.problems() == ()
    assert ledger.pool().decision.recommended.cultivar == "Fenleaf"
    assert ledger.recommend("en", "es").version == 1
    assert (ledger.folder / "handout-es.html").is_file()
    assert ledger.county().county is None
    assert ledger.candidates()["is_recommended"].sum() == 1
    assert "volunteer-cultivars" in ledger._repr_html_()
    ledger.withdraw("volunteer-cultivars", "the wrong nutrient was sold")
    assert ledger.entries()["counts"].to_list() == [False]


def test_what_is_foreseen_at_once_is_what_the_plan_says(trial: trialkit.Trial, tmp_path: Path) -> None:
    """By common practice and by a ledger; other sizes are those of a plan that has them, and nothing is written."""
    ledger = trialkit.Ledger(tmp_path / "ledger")
    ledger.add(trial)
    planned = trialkit.Trial.following(tmp_path / "next", ledger.folder, seed=1)
    before = contents(planned.folder)
    gardens, blocks, heads = len(planned.sites()), planned.protocol.layout.blocks, planned.protocol.bucket.heads
    foreseen = {None: planned.foresee(), ledger.folder: planned.foresee(ledger=ledger.folder)}
    larger = planned.foresee(gardens=gardens + 1, blocks=blocks + 1, heads=heads)
    fewer = planned.foresee(gardens=gardens - 1, ledger=ledger.folder)
    assert contents(planned.folder) == before
    assert (larger.row.sites, larger.row.blocks, fewer.row.sites) == (gardens + 1, blocks + 1, gardens - 1)
    for known, one in foreseen.items():
        plan = planned.plan(ledger=known)
        assert as_written(one.prospect) == plan.value.asked
        assert (one.row.buckets, one.row.visits, one.row.cost) == (
            plan.designs[0].buckets, plan.designs[0].visits, plan.designs[0].cost,
        )  # fmt: skip
    planned.set_table("sites", planned.sites().sort_values("site").head(gardens - 1))
    assert as_written(fewer.prospect) == planned.plan(ledger=ledger.folder).value.asked
