"""Rows of layout.csv that no lot drew are told, garden by garden; what trialkit drew is not."""

from collections.abc import Callable
from datetime import date
from pathlib import Path

import pandas as pd
import pytest

from good_trial import GOOD_PRODUCTS, GOOD_PROTOCOL
from trialkit.documents.problems import Problem
from trialkit.protocol.randomise import randomise
from trialkit.protocol.trial_protocol import parse_protocol
from trialkit.returns.amending import add_garden
from trialkit.rules.trial_folder import check_trial
from trialkit.tables.atomic import csv_text
from trialkit.words.problem_words import problem_sentence

GARDENS = ("ASH", "FERN", "MILL")
KINDS = {
    "complete": 'kind = "randomised complete blocks"\nblocks = 2',
    "volunteers": 'kind = "volunteer blocks"\nblocks = 4',
}


@pytest.fixture
def laid_out(tmp_path: Path) -> Callable[..., Path]:
    """Return what lays a trial out, by the lots of each garden or of the trial."""

    def make(lots: str, kind: str = "complete") -> Path:
        folder = tmp_path / f"{lots}-{kind}"
        folder.mkdir()
        text = GOOD_PROTOCOL.replace(KINDS["complete"], f'{KINDS[kind]}\nlots = "{lots}"')
        layout = randomise(parse_protocol(text), pd.DataFrame({"site": list(GARDENS)}))
        sites = "".join(f"{name}\n" for name in ("site", *GARDENS))
        files = {"trial.toml": text, "sites.csv": sites, "products.csv": GOOD_PRODUCTS, "layout.csv": csv_text(layout)}
        for name, content in files.items():
            (folder / name).write_text(content, encoding="utf-8")
        return folder

    return make


def found(folder: Path) -> list[Problem]:
    """Return what is told of the draw."""
    return [problem for problem in check_trial(folder, stage="layout").problems if problem.rule == "TK-L07"]


def gardens_of(problems: list[Problem]) -> list[object]:
    """Return the gardens that problems name."""
    return [fact.value for problem in problems for fact in problem.facts if fact.name == "site"]


def table(folder: Path) -> pd.DataFrame:
    """Read the layout as texts."""
    return pd.read_csv(folder / "layout.csv", dtype=str, keep_default_na=False)


def written_by_hand(folder: Path, site: str) -> None:
    """Copy the rows of the first garden, with labels that somebody made up, as those of another."""
    layout = table(folder)
    own = layout[layout["site"] == "ASH"].assign(site=site)
    own["bucket"] = [f"{site}-{number}" for number in range(len(own))]
    whole = pd.concat([layout, own])
    (folder / "layout.csv").write_text(csv_text(whole), encoding="utf-8")
    with (folder / "sites.csv").open("a", encoding="utf-8") as stream:
        stream.write(f"{site}\n")


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("lots", ["garden", "trial"])
def test_what_was_drawn_is_not_told(laid_out: Callable[..., Path], lots: str, kind: str) -> None:
    """As laid out, with a garden that joined, and in another order."""
    folder = laid_out(lots, kind)
    assert found(folder) == []
    for site in ("BARN", "ZOO"):
        add_garden(folder, site, blocks=None, why="asked to", on=date(2026, 9, 1))
    assert found(folder) == []
    (folder / "layout.csv").write_text(csv_text(table(folder).sample(frac=1, random_state=1)), encoding="utf-8")
    assert found(folder) == []


@pytest.mark.parametrize("site", ["ABEL", "GLEN", "ZOO"])
@pytest.mark.parametrize("lots", ["garden", "trial"])
def test_a_garden_written_in_by_hand_is_named(laid_out: Callable[..., Path], lots: str, site: str) -> None:
    """It alone, wherever its name stands among those of the others, and also beside one that joined by lot."""
    folder = laid_out(lots)
    add_garden(folder, "BARN", blocks=None, why="asked to", on=date(2026, 9, 1))
    written_by_hand(folder, site)
    (problem,) = found(folder)
    assert gardens_of([problem]) == [site]
    told = problem_sentence(problem)
    assert f'Expected the buckets of "{site}" as seed 20260820 draws them' in told
    assert "run trialkit site, which draws the lots" in told


def test_a_garden_written_in_as_one_that_joined_is_named(laid_out: Callable[..., Path]) -> None:
    """Its row in amendments.csv alone makes no lots."""
    folder = laid_out("garden")
    written_by_hand(folder, "ZOO")
    (folder / "amendments.csv").write_text(
        "layout_version,amended_on,site,change,blocks,why\n2,2026-09-01,ZOO,joined,2,asked to\n", encoding="utf-8"
    )
    assert gardens_of(found(folder)) == ["ZOO"]


@pytest.mark.parametrize("lots", ["garden", "trial"])
def test_two_buckets_that_changed_places_are_told_of_their_garden(laid_out: Callable[..., Path], lots: str) -> None:
    """One finding for each garden in which somebody chose."""
    folder = laid_out(lots)
    layout = table(folder)
    for site in ("ASH", "MILL"):
        first = layout.index[layout["site"] == site][0]
        other = next(row for row in layout.index[layout["site"] == site]
                     if layout["dose_tsp"][row] != layout["dose_tsp"][first])  # fmt: skip
        layout.loc[[first, other], "dose_tsp"] = layout.loc[[other, first], "dose_tsp"].to_numpy()
    (folder / "layout.csv").write_text(csv_text(layout), encoding="utf-8")
    assert gardens_of(found(folder)) == ["ASH", "MILL"]


@pytest.mark.parametrize("lots", ["garden", "trial"])
def test_another_layout_altogether_is_told_once(laid_out: Callable[..., Path], lots: str) -> None:
    """As where the seed was changed."""
    folder = laid_out(lots)
    text = (folder / "trial.toml").read_text("utf-8").replace("seed = 20260820", "seed = 1")
    (folder / "trial.toml").write_text(text, encoding="utf-8")
    (problem,) = found(folder)
    assert problem.case == "layout"


def test_blocks_of_a_garden_that_joined_are_as_planned(laid_out: Callable[..., Path]) -> None:
    """Its own number counts, not that of the others."""
    folder = laid_out("garden")
    add_garden(folder, "BARN", blocks=5, why="much room", on=date(2026, 9, 1))
    assert "TK-L05" not in {problem.rule for problem in check_trial(folder, stage="layout").problems}


@pytest.mark.parametrize(
    ("rows", "column", "case"),
    [
        ("3,2026-09-01,FERN,withdrew,,moved\n", "layout_version", "version"),
        ("2,2026-09-01,FERN,withdrew,,moved\n4,2026-09-02,ASH,withdrew,,moved\n", "layout_version", "version"),
        ("2,2026-09-01,FERN,withdrew,,moved\n3,2026-09-02,FERN,withdrew,,moved\n", "change", "twice"),
        ("2,2026-09-01,FERN,rejoined,,back\n", "change", "present"),
        (
            "2,2026-09-01,FERN,withdrew,,x\n3,2026-09-02,FERN,rejoined,,x\n4,2026-09-03,FERN,rejoined,,x\n",
            "change",
            "present",
        ),
    ],
)
def test_amendments_that_do_not_follow_each_other(
    laid_out: Callable[..., Path], rows: str, column: str, case: str
) -> None:
    """A number left out, and a garden that withdraws twice or rejoins while it takes part, are errors in their row."""
    folder = laid_out("garden")
    header = "layout_version,amended_on,site,change,blocks,why\n"
    (folder / "amendments.csv").write_text(header + rows, encoding="utf-8")
    (problem,) = [one for one in check_trial(folder, stage="layout").errors if one.rule == "TK-L11"]
    assert (problem.row, problem.column, problem.case) == (rows.count("\n") + 1, column, case)
