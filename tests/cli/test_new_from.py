"""`trialkit new DIR --from LEDGER|TRIAL`: a folder that can be planned, laid out and added to the ledger as it is."""

import os
import shutil
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pandas as pd
import pytest

import small_trial
from commands import DONE, WRONG_CALL, run, start
from once import once
from seasons import accept, season, three_seasons
from trialkit.evidence.ledger_contents import read_ledger
from trialkit.evidence.versions import pool_now
from trialkit.planning.examples import make_example
from trialkit.planning.following_trial import _products, _variation
from trialkit.planning.next_trial import propose
from trialkit.protocol import starting
from trialkit.protocol.sections import LEAST_HEAD_SD_G, MOST_SD_G, Variation
from trialkit.protocol.trial_protocol import read_protocol
from trialkit.rules.trial_folder import check_trial
from trialkit.tables.atomic import csv_text
from trialkit.tables.formula_text import defused

FILES = {"trial.toml", "sites.csv", "products.csv", "solution.csv", "visits.csv", "heads.csv"}
HOSTILE = ['=cmd|"x"!A1', 'O\'Brien\\ "Red"', "-2+3"]
ACID = "+acid \\ '5 %'"
SMALL = {"sites": 2, "blocks": 2, "cultivars": 2, "days": False}
PROTOCOL = """\
[trial]
id = "odd"
question = "Which?"
season = "spring 2026"
started_on = 2026-03-01
[factors.cultivar]
levels = {levels}
[factors.acidifier]
levels = [{acid}]
[factors.dose]
levels = [4]
product = "Blend L"
[layout]
blocks = 2
seed = 3
[responses]
days = false
[decision]
current_practice = {{ cultivar = {practice} }}
"""


@pytest.fixture(scope="module")
def ledger(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three small seasons."""
    return once(tmp_path_factory, "seasons", lambda place: three_seasons(place / "ledger", place)) / "ledger"


@pytest.fixture(scope="module")
def following(ledger: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """A folder started from the ledger, and what was said."""
    folder = tmp_path_factory.mktemp("following") / "next-spring"
    done = run("new", folder, "--from", ledger, "--seed", "5")
    assert done.returncode == DONE, done.stderr
    return folder, done.stdout


def test_what_is_written(following: tuple[Path, str], ledger: Path) -> None:
    """Gardens and products byte for byte; practice, levels and blocks as the ledger says; the season left open."""
    folder, said = following
    found = read_ledger(ledger)
    document = pool_now(ledger, "0.1.0", propose)
    proposed = document.next_trial
    assert proposed is not None
    assert {path.name for path in folder.glob("[!.]*")} == FILES
    for name in ("sites.csv", "products.csv"):
        assert (folder / name).read_bytes() == found.entries[-1].read(name)
    protocol, newest = read_protocol(folder), found.latest.protocol
    assert protocol.practice == document.recommended.treatment
    assert protocol.factors["cultivar"].levels == proposed.cultivars
    assert protocol.factors["dose"].levels == proposed.doses_tsp
    assert protocol.factors["dose"].product == newest.factors["dose"].product
    assert (protocol.layout.kind, protocol.layout.blocks, protocol.seed) == (proposed.kind, proposed.blocks, 5)
    assert (protocol.trial.id, protocol.trial.season, protocol.schedule.sow_on) == ("next-spring", "", None)
    assert protocol.bucket == newest.bucket
    assert newest.limits.buckets_per_site is None
    assert protocol.limits == newest.limits.model_copy(update={"buckets_per_site": 8})
    practice = {"current_practice": protocol.decision.current_practice}
    assert protocol.decision == newest.decision.model_copy(update=practice)
    spreads = {one.of: one.sd_g for one in document.decision.spreads}
    assert protocol.variation.bucket_sd_g == pytest.approx(spreads["bucket"], abs=0.05)
    assert protocol.variation.site_sd_g == pytest.approx(spreads["garden"], abs=0.05)
    text = (folder / "trial.toml").read_text("utf-8")
    assert '# season = "autumn 2026"' in text
    assert "[variation]  # standard deviations as all earlier trials tell them (3 by 2026-11-01)" in text
    assert max(map(len, text.splitlines())) <= 120
    assert said.startswith(f"Started {folder}, with gardens, products and practice carried over.\nCultivar")
    assert f"should gain {proposed.value_g:.2g} g per transplanted head" in said
    assert said.endswith(f"Next: trialkit plan {folder} --ledger {ledger}\n")


def test_it_can_be_planned_and_joins_the_ledger(following: tuple[Path, str], ledger: Path, tmp_path: Path) -> None:
    """It checks, plans by the ledger and, once its season is over, counts there, its gardens known again."""
    folder = Path(shutil.copytree(following[0], tmp_path / "next-spring"))
    assert not [one for one in check_trial(folder, stage="plan").problems if one.severity == "error"]
    planned = run("plan", folder, "--ledger", ledger)
    assert planned.returncode == DONE, planned.stderr
    assert run("layout", folder).returncode == DONE
    make_example(folder)
    mine = Path(shutil.copytree(ledger, tmp_path / "ledger"))
    assert run("analyse", folder).returncode == DONE
    added = run("evidence", "add", folder, "--ledger", mine)
    assert added.returncode == DONE, added.stderr
    document = pool_now(mine, "0.1.0", propose)
    assert document.decision.evidence.gardens == 2
    assert document.decision.evidence.trials == 4
    again = run("new", tmp_path / "again" / "next-spring", "--from", mine)
    assert again.returncode == DONE, again.stderr
    assert read_protocol(tmp_path / "again" / "next-spring").trial.id == "next-spring-2"


@pytest.mark.parametrize(("gone", "left"), [(("s2",), ["s1", "s3"]), (("s1", "s2", "s3"), ["s1", "s2", "s3"])])
def test_gardens_that_gave_up_are_not_asked_again(tmp_path: Path, gone: tuple[str, ...], left: list[str]) -> None:
    """They are neither planned for nor among the gardens of the next trial, and that is said; unless none is left."""
    folder = season(tmp_path / "one", "one", "spring 2026", "2026-03-01", sites=3, blocks=2, doses=2, days=False)
    for site in gone:
        assert run("site", folder, site, "--withdraw", "--why", "moved", "--on", "2026-04-01").returncode == DONE
    assert run("analyse", folder).returncode == DONE
    done = run("new", tmp_path / "next", "--from", folder)
    assert done.returncode == DONE, done.stderr
    rows = (tmp_path / "next" / "sites.csv").read_text("utf-8").splitlines()
    before = (folder / "sites.csv").read_text("utf-8").splitlines()
    assert rows == [line for line in before if line.partition(",")[0] in ("site", *left)]
    assert f"at {len(left)} gardens" in " ".join(done.stdout.split())
    assert ("Gardens that gave up are left out: s2." in done.stdout) == (len(gone) == 1)
    assert ("gave up" in done.stdout) == (len(gone) == 1)


def test_one_trial_is_a_ledger_of_one(ledger: Path, tmp_path: Path) -> None:
    """In a process of its own; the plan then goes on from that trial. A trial must be analysed first."""
    trial = ledger.parent / "three"
    done = start("new", tmp_path / "next", "--from", trial)
    assert done.returncode == DONE, done.stderr
    assert done.stdout.endswith(f"Next: trialkit plan {tmp_path / 'next'} --ledger {trial}\n")
    assert done.stderr == ""  # nobody watches
    assert (tmp_path / "next" / "sites.csv").read_bytes() == (trial / "sites.csv").read_bytes()
    bare = Path(shutil.copytree(trial, tmp_path / "bare", ignore=shutil.ignore_patterns("results")))
    refused = run("new", tmp_path / "other", "--from", bare)
    assert refused.returncode == WRONG_CALL
    assert f"run trialkit analyse {bare} first" in refused.stderr
    assert not (tmp_path / "other").exists()


@pytest.mark.parametrize(
    ("more", "named"),
    [
        (["--blocks", "3"], "--blocks"),
        (["--site", "A", "--example", "autumn_dose"], "--example and --site"),
        (["--question", "Which?", "--dose", "4"], "--question and --dose"),
    ],
)
def test_options_that_it_answers_itself_are_refused(ledger: Path, tmp_path: Path, more: list[str], named: str) -> None:
    """By their names, and nothing is written."""
    done = run("new", tmp_path / "next", "--from", ledger, *more)
    assert done.returncode == WRONG_CALL
    assert f"--from answers what {named} would" in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_what_it_cannot_go_on_from_or_write_to(ledger: Path, tmp_path: Path) -> None:
    """Neither ledger nor trial; a folder with something in it."""
    (tmp_path / "empty").mkdir()
    done = run("new", tmp_path / "next", "--from", tmp_path / "empty")
    assert done.returncode == WRONG_CALL
    assert "is no ledger (it has no index.jsonl) and no trial (it has no trial.toml)" in done.stderr
    (tmp_path / "empty" / "mine.txt").write_text("mine", "utf-8")
    done = run("new", tmp_path / "empty", "--from", ledger)
    assert done.returncode == WRONG_CALL
    assert "is not empty" in done.stderr


def test_nothing_is_left_where_writing_fails(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The disk is full at the third file: a new folder is not there, one that was empty is empty again."""
    written = []

    def full(descriptor: int) -> None:
        written.append(descriptor)
        if len(written) % 3 == 0:
            raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    (tmp_path / "there").mkdir()
    for name in ("new", "there"):
        with pytest.raises(OSError, match="No space left"):
            starting.write_folder(tmp_path / name, dict.fromkeys(FILES, b"x"))
    assert [path.name for path in tmp_path.rglob("*")] == ["there"]


def test_an_empty_folder_is_filled(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It stays the very folder: a shell may stand in it."""
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    starting.write_folder(Path(), dict.fromkeys(FILES, b"x"))
    assert {path.name for path in Path().glob("[!.]*")} == FILES


def test_names_of_strangers_survive(tmp_path: Path) -> None:
    """Formulas, quotation marks and backslashes in names come back as they were, from TOML and from CSV."""
    folder = tmp_path / "odd"
    folder.mkdir()
    levels = f"[{', '.join(map(starting.toml_value, HOSTILE))}]"
    (folder / "trial.toml").write_text(
        PROTOCOL.format(levels=levels, practice=starting.toml_value(HOSTILE[0]), acid=starting.toml_value(ACID)),
        "utf-8",
    )
    sites = pd.DataFrame({"site": ["s1", "s2"], "name": ['=1+1, "Hill"', "-Lane"], "kind": "@garden"})
    water = {"alkalinity_mg_l_caco3": 60, "water_ph": 7.2, "sun_hours": 6}
    (folder / "sites.csv").write_text(csv_text(sites.assign(**water)), "utf-8")
    products = small_trial.PRODUCTS.replace("white vinegar 5 %", defused(ACID))
    (folder / "products.csv").write_text(products, "utf-8")
    make_example(folder)
    for command in (("analyse", folder), ("evidence", "add", folder, "--ledger", tmp_path / "ledger")):
        done = run(*command)
        assert done.returncode == DONE, done.stderr
    done = run("new", tmp_path / "next", "--from", tmp_path / "ledger")
    assert done.returncode == DONE, done.stderr
    protocol = read_protocol(tmp_path / "next")
    assert set(protocol.factors["cultivar"].levels) <= set(HOSTILE)
    assert len(protocol.factors["cultivar"].levels) >= 2
    assert protocol.factors["acidifier"].levels == (ACID,)
    assert not [one for one in check_trial(tmp_path / "next", stage="plan").problems if one.severity == "error"]
    for name in ("sites.csv", "products.csv"):
        assert (tmp_path / "next" / name).read_bytes() == (folder / name).read_bytes()


def test_an_acid_of_an_earlier_trial_is_carried_over(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its row stands after those of the newest trial, cell for cell."""
    accept(tmp_path / "ledger", season(tmp_path / "one", "one", "spring 2026", "2026-03-01", acidifiers=2, **SMALL))
    kept = [line for line in small_trial.PRODUCTS.splitlines(keepends=True) if not line.startswith("citric")]
    monkeypatch.setattr(small_trial, "PRODUCTS", "".join(kept))
    accept(tmp_path / "ledger", season(tmp_path / "two", "two", "autumn 2026", "2026-08-01", acidifiers=1, **SMALL))
    found = read_ledger(tmp_path / "ledger")
    table = _products(found.entries, ["Blend L", "white vinegar 5 %", "citric acid"]).decode("utf-8")
    assert table == "".join([*kept, "citric acid,acid,,,,4.6,,citric,\n"])
    assert _products(found.entries, ["Blend L"]) == found.entries[-1].read("products.csv")
    alone = _products(found.entries, ["=new acid"]).decode("utf-8").splitlines()[-1]
    assert alone.startswith("'=new acid,acid,")


@pytest.mark.parametrize(("squares", "sd_g"), [(1e8, MOST_SD_G), (0.0, LEAST_HEAD_SD_G), (50.0, 5.0)])
def test_wild_records_stay_within_what_a_protocol_takes(squares: float, sd_g: float) -> None:
    """However heads scattered, the protocol that is written can be read."""
    found: Any = SimpleNamespace(head_scatter=(squares, 2))
    document: Any = SimpleNamespace(decision=SimpleNamespace(spreads=()))
    assert _variation(found, document, Variation()).head_sd_g == sd_g
