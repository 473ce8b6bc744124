"""Open data: validated by frictionless, and analysed again by a third party who has only the zip."""

from __future__ import annotations

import io
import shutil
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from commands import run
from trialkit._resources import resource_folder
from trialkit.analysis import Results
from trialkit.documents.document import as_text
from trialkit.report.data_package import data_package, dictionary, observation_units
from trialkit.report.exploring import ICC_MEASURE, agreement_table, raw_records_svg
from trialkit.rules.mixings import mixings, predicted_ph
from trialkit.rules.trial_folder import read_trial

EXAMPLES = resource_folder("example_trials")


@pytest.mark.parametrize("example", ["autumn_dose", "volunteer_cultivars"])
def test_a_general_validator_finds_nothing(example: str, tmp_path: Path) -> None:
    """Every resource is valid by frictionless, the reference implementation of the standard."""
    frictionless = pytest.importorskip("frictionless")
    path = tmp_path / "package.zip"
    path.write_bytes(data_package(read_trial(EXAMPLES / example), "CC-BY-4.0", None))
    report = frictionless.validate(str(path))
    assert report.valid, report.flatten(["type", "title", "note"])
    assert {task.name for task in report.tasks} >= {"sites", "layout", "heads", "observation_units", "agreement"}


def test_the_validator_would_find_a_slip(tmp_path: Path) -> None:
    """A weight that is no number, in the same package, is found: the schema is read."""
    frictionless = pytest.importorskip("frictionless")
    path = tmp_path / "package"
    with zipfile.ZipFile(io.BytesIO(data_package(read_trial(EXAMPLES / "autumn_dose"), "CC0-1.0", None))) as archive:
        archive.extractall(path)
    heads = (path / "heads.csv").read_text("utf-8").replace(",108,", ",much,", 1)
    (path / "heads.csv").write_text(heads, "utf-8")
    assert not frictionless.validate(str(path / "datapackage.json")).valid


def test_the_same_trial_gives_the_same_bytes(example_results: Callable[[str], Results]) -> None:
    """No clock and no order of the day gets into the zip."""
    trial, results = read_trial(EXAMPLES / "spring_dose"), as_text(example_results("spring_dose")).encode("utf-8")
    assert data_package(trial, "CC-BY-4.0", results) == data_package(trial, "CC-BY-4.0", results)


def test_a_third_party_can_analyse_it_again(tmp_path: Path, example_results: Callable[[str], Results]) -> None:
    """Unpacked elsewhere, the analysis gives the results that were packed."""
    trial = Path(shutil.copytree(EXAMPLES / "volunteer_cultivars", tmp_path / "trial"))
    (trial / "results").mkdir()
    (trial / "results" / "results.json").write_text(as_text(example_results("volunteer_cultivars")), "utf-8")
    packing = run("pack", trial, "--into", tmp_path / "data.zip")
    assert packing.returncode == 0, packing.stderr
    with zipfile.ZipFile(tmp_path / "data.zip") as archive:
        archive.extractall(tmp_path / "elsewhere")
    packed = (tmp_path / "elsewhere" / "results" / "results.json").read_bytes()
    again = run("analyse", tmp_path / "elsewhere")
    assert again.returncode == 0, again.stderr
    assert (tmp_path / "elsewhere" / "results" / "results.json").read_bytes() == packed
    assert packed == (trial / "results" / "results.json").read_bytes()


def test_what_a_spreadsheet_did_is_undone(tmp_path: Path) -> None:
    """With a byte-order mark and other line ends a table is written anew; else it stays, byte for byte."""
    trial = Path(shutil.copytree(EXAMPLES / "spring_dose", tmp_path / "trial"))
    was = (trial / "sites.csv").read_text("utf-8")
    (trial / "sites.csv").write_bytes(was.replace("\n", "\r\n").encode("utf-8-sig"))
    with zipfile.ZipFile(io.BytesIO(data_package(read_trial(trial), "CC-BY-4.0", None))) as archive:
        assert archive.read("heads.csv") == (trial / "heads.csv").read_bytes()
        made = archive.read("sites.csv").decode("utf-8")
    assert made.splitlines()[0] == was.splitlines()[0]
    assert "\r" not in made


def test_observation_units_are_buckets() -> None:
    """One for each bucket, with its place and what it got."""
    trial = read_trial(EXAMPLES / "autumn_dose")
    units = observation_units(trial)
    assert len(units) == len(trial.layout)
    assert units.loc[0, "spatial_distribution"] == "site:FERN; block:1; position:1"


def test_the_dictionary_tells_every_column() -> None:
    """Each column of the schema has a line."""
    text = dictionary(["heads", "layout"])
    assert "- stolen, never_planted, gave_up, missing, (empty): nothing;" in text
    assert "| weight_g | number | g |" in text
    assert text.count("\n| ") == 2 + 10 + len(read_trial(EXAMPLES / "autumn_dose").layout.columns)


def test_agreement_is_that_of_the_formula() -> None:
    """ICC(A,1) of pH by McGraw & Wong's (1996) mean squares, and Hedges' g by its own formula, in plain numpy."""
    trial = read_trial(EXAMPLES / "autumn_dose")
    found = agreement_table(trial)
    mixed = mixings(trial.protocol, trial.products, trial.sites, trial.layout, trial.solution)
    mixed["foreseen"] = predicted_ph(mixed, mixed["water_alkalinity"])
    for site in ("FERN", "HARB", "MILL", "STAT", "all"):
        both = (mixed if site == "all" else mixed[mixed["site"] == site])[["ph_after", "foreseen"]].dropna()
        y = both.to_numpy(float)
        n, k = y.shape
        rows, ways = (((y.mean(axis) - y.mean()) ** 2).sum() for axis in (1, 0))
        between, of_ways = rows * k / (n - 1), ways * n / (k - 1)
        error = (((y - y.mean()) ** 2).sum() - k * rows - n * ways) / ((n - 1) * (k - 1))
        icc = (between - error) / (between + (k - 1) * error + k / n * (of_ways - error))
        row = found[(found["site"] == site) & (found["measure"] == ICC_MEASURE)].iloc[0]
        assert (row["buckets"], row["value"]) == (n, pytest.approx(icc, abs=1e-6))
        assert row["lower"] < icc < row["upper"]
    one = found[(found["cultivar"] == "Fenleaf") & (found["dose_tsp"] == 6) & (found["acidifier"] != "citric acid")]
    heads = trial.heads.merge(trial.layout, on="bucket")
    usable = (heads["outcome"] == "harvested") & (heads["marketable"] != False)  # noqa: E712
    weights = heads.assign(weight=heads["weight_g"].where(usable, 0.0))
    weights = weights[weights["acidifier"] != "citric acid"].groupby(["cultivar", "dose_tsp", "bucket"])["weight"].sum()
    new, practice = weights["Fenleaf"][6.0].to_numpy(float), weights["Larkmoor Butter"][4.0].to_numpy(float)
    pooled = np.sqrt((new.var(ddof=1) + practice.var(ddof=1)) / 2)
    g = (new.mean() - practice.mean()) / pooled * (1 - 3 / (4 * (len(new) + len(practice)) - 9))
    assert one["value"].to_list() == [pytest.approx(g, abs=1e-6)]
    assert len(found) == 5 + 15


def test_raw_records_are_drawn_dot_by_dot() -> None:
    """Each bucket is one dot, names are kept as written, and the bytes are the same each time."""
    trial = read_trial(EXAMPLES / "spring_dose")
    drawn = raw_records_svg(trial)
    assert drawn is not None
    assert drawn == raw_records_svg(trial)
    assert drawn.startswith(b"<?xml")
    dots = drawn.split(b'<g id="legend_1">')[0].count(b"<use ") - drawn.count(b'<g id="tick')
    assert dots >= trial.heads["bucket"].nunique()


def test_corrections_go_with_the_data(tmp_path: Path) -> None:
    """As a table that a validator reads, and so that whoever unpacks it analyses the same trial; none, no table."""
    frictionless = pytest.importorskip("frictionless")
    folder = Path(shutil.copytree(EXAMPLES / "volunteer_cultivars", tmp_path / "trial"))
    assert (
        "corrections.csv"
        not in zipfile.ZipFile(io.BytesIO(data_package(read_trial(folder), "CC0-1.0", None))).namelist()
    )
    row = read_trial(folder).heads.query("outcome == 'harvested'").iloc[0]
    said = run(
        "correct", folder, row["bucket"], row["head"], f"weight_g={row['weight_g'] + 1:g}", "--why", "=1+1, read"
    )
    assert said.returncode == 0, said.stderr
    trial = read_trial(folder)
    path = tmp_path / "package.zip"
    path.write_bytes(data_package(trial, "CC0-1.0", None))
    report = frictionless.validate(str(path))
    assert report.valid, report.flatten(["type", "title", "note"])
    with zipfile.ZipFile(path) as archive:
        archive.extractall(tmp_path / "unpacked")
    table = (tmp_path / "unpacked" / "corrections.csv").read_text("utf-8").splitlines()
    assert table[0] == "table,key,column,before,after,by,on,why"
    assert table[1].startswith(f"heads,{row['bucket']} {row['head']},weight_g,{row['weight_g']:g},")
    assert table[1].endswith(',"\'=1+1, read"')
    assert read_trial(tmp_path / "unpacked").corrections == trial.corrections
