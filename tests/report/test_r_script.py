"""The analysis in R of a packed trial: figures agree, slips are found, names cannot run anything."""

from __future__ import annotations

import csv
import io
import re
import shutil
import subprocess
import zipfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd
import pytest

from trialkit._resources import resource_folder
from trialkit.analysis import Results, analyse
from trialkit.documents.document import as_text
from trialkit.domain.treatment import Treatment
from trialkit.report.data_package import data_package
from trialkit.report.environment import requirements
from trialkit.report.r_script import figures, r_script, repeated
from trialkit.rules.trial_folder import read_trial

EXAMPLES = resource_folder("example_trials")
PRINTED = Path(__file__).parent / "analysis_in_r"
LINE = re.compile(
    r"\s*(?P<key>\S.*?)\s+(?P<statistic>[a-z_]+)\s+(?P<trialkit>-?[\d.e+-]+)\s+(?P<r>-?[\d.e+-]+)"
    r"(?:\s+(?P<within>[\d.e+-]+))?\s*(?P<said>differs)?"
)
PACKAGES = ("lme4", "lmerTest", "pbkrtest", "emmeans")
AGREES = 1e-3


def unpacked(example: str, results: Results, into: Path) -> Path:
    """Pack an example with its results, and unpack it."""
    data = data_package(read_trial(EXAMPLES / example), "CC-BY-4.0", as_text(results).encode("utf-8"))
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        archive.extractall(into)
    return into


class Printed(NamedTuple):
    """Our figure, R's, by how much they may differ where drawing makes them, and whether they do differ."""

    ours: float
    theirs: float
    within: float | None
    differs: bool


def printed(text: str) -> dict[tuple[str, str, str, str], Printed]:
    """Read what the script printed, by response, part, key and statistic."""
    found: dict[tuple[str, str, str, str], Printed] = {}
    response = part = ""
    for line in text.splitlines():
        if line.startswith("== "):
            response = line.strip("= ")
        elif match := LINE.fullmatch(line):
            key = response, part, match["key"], match["statistic"]
            within = float(match["within"]) if match["within"] else None
            found[key] = Printed(float(match["trialkit"]), float(match["r"]), within, bool(match["said"]))
        elif line and not line.startswith((" ", "Rightly")):
            part = line.split(":")[0].split(",")[0].strip()
    return found


@pytest.fixture(scope="session")
def rscript() -> str:
    """Return R's program, where it and the packages are installed."""
    program = shutil.which("Rscript")
    if program is None:
        pytest.skip("R is not installed")
    wanted = ", ".join(f'"{name}"' for name in PACKAGES)
    ask = f"quit(status = !all(vapply(c({wanted}), requireNamespace, TRUE, quietly = TRUE)))"
    if subprocess.run([program, "-e", ask], capture_output=True, check=False).returncode:
        pytest.skip(f"R lacks one of {', '.join(PACKAGES)}")
    return program


def run_r(program: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """Run the script where the package was unpacked."""
    return subprocess.run([program, "analysis.R"], cwd=folder, capture_output=True, text=True, check=False)


@pytest.mark.parametrize("example", ["volunteer_cultivars", "spring_dose"])
def test_figures_agree_with_those_that_r_printed(example: str, example_results: Callable[[str], Results]) -> None:
    """The printouts name their versions; what R rightly finds otherwise is marked there, and skipped here."""
    text = (PRINTED / f"{example}.txt").read_text("utf-8")
    assert "lme4 1.1.31 lmerTest 3.1.3 pbkrtest 0.5.2 emmeans 1.8.4.1 on R version 4.2.2" in text
    ours = {
        (row["response"], "".join(sorted(row["key"].split(":"))), row["statistic"], row["kind"]): row["value"]
        for row in figures(example_results(example)).to_dict("records")
    }
    kinds = {
        "Variances": "variance",
        "Tests of effects": "test",
        "Means of treatments": "mean",
        "Differences from the current practice": "comparison",
        "At trialkit's variances": "mean",
        "The same by strata": "test",
    }
    agreeing = 0
    for (response, part, key, statistic), one in printed(text).items():
        found = ours[response, "".join(sorted(key.split(":"))), statistic, kinds[part]]
        if not one.differs:
            agreeing += 1
            allowed = {"rel": AGREES} if one.within is None else {"abs": one.within}
            assert found == pytest.approx(one.theirs, **allowed), (response, part, key, statistic)
    assert agreeing >= 60


@pytest.mark.parametrize("example", ["volunteer_cultivars", "spring_dose"])
def test_r_finds_the_same(
    rscript: str, example: str, tmp_path: Path, example_results: Callable[[str], Results]
) -> None:
    """Where R is installed: it runs on the package as it stands, and prints what the printout has."""
    done = run_r(rscript, unpacked(example, example_results(example), tmp_path))
    assert done.returncode == 0, done.stdout + done.stderr
    assert "Every figure agrees, or differs for the reason told." in done.stdout
    assert done.stdout.count("No variances nearby have a higher restricted likelihood.") == 2
    kept = printed((PRINTED / f"{example}.txt").read_text("utf-8"))
    assert {key: one.differs for key, one in printed(done.stdout).items()} == {
        key: one.differs for key, one in kept.items()
    }


def test_where_a_variance_is_negative_r_says_why() -> None:
    """Spring: a negative stratum; by strata the classical F is ours, by lmer it is another."""
    text = (PRINTED / "spring_dose.txt").read_text("utf-8")
    assert "site:cultivar varies less than chance alone would make it" in text
    found = printed(text)
    by_strata = found["bucket_weight_g", "The same by strata", "cultivar", "f"]
    by_lmer = found["bucket_weight_g", "Tests of effects", "cultivar", "f"]
    assert by_strata.theirs == pytest.approx(by_strata.ours, rel=1e-5)
    assert by_lmer.differs
    assert abs(by_lmer.theirs / by_lmer.ours - 1) > 0.1


SLIPS = {
    ("weight_g", "mean", "Fenleaf", "mean"): 1.0,
    ("days", "mean", "Fenleaf", "mean"): 0.3,
    ("days", "comparison", "Fenleaf", "se"): 0.1,
    ("days", "test", "cultivar", "f"): 4.0,
}


def test_a_slip_is_found(rscript: str, tmp_path: Path, example_results: Callable[[str], Results]) -> None:
    """A mean a gram off, one of days by a third of a day, an error, a test: each is told, and status is 1."""
    folder = unpacked("volunteer_cultivars", example_results("volunteer_cultivars"), tmp_path)
    rows = list(csv.reader(io.StringIO((folder / "figures.csv").read_text("utf-8"))))
    for row in rows:
        row[4] = str(float(row[4]) + SLIPS[tuple(row[:4])]) if tuple(row[:4]) in SLIPS else row[4]
    with (folder / "figures.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(rows)
    done = run_r(rscript, folder)
    assert done.returncode == 1
    assert "figures differ without a reason." in done.stdout
    told = {(key[0], key[2], key[3]) for key, one in printed(done.stdout).items() if one.differs}
    assert told == {(response, key, statistic) for response, _, key, statistic in SLIPS}


def test_a_variance_of_days_that_is_not_ours_is_found(
    rscript: str, tmp_path: Path, example_results: Callable[[str], Results]
) -> None:
    """Half the variance between buckets: the score of what was seen is not zero there."""
    folder = unpacked("volunteer_cultivars", example_results("volunteer_cultivars"), tmp_path)
    rows = list(csv.reader(io.StringIO((folder / "figures.csv").read_text("utf-8"))))
    for row in rows:
        row[4] = str(float(row[4]) / 2) if row[:3] == ["days", "variance", "bucket"] else row[4]
    with (folder / "figures.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(rows)
    done = run_r(rscript, folder)
    assert done.returncode == 1
    assert printed(done.stdout)["days", "Variances", "bucket", "variance"].differs


@pytest.mark.parametrize("visited", [True, False])
def test_r_finds_days_and_degree_days(rscript: str, visited: bool, tmp_path: Path) -> None:
    """Between visits by drawing; where the garden has no visits on record each day is known, and lmer does it."""
    folder = tmp_path / "trial"
    shutil.copytree(EXAMPLES / "volunteer_cultivars", folder)
    if not visited:
        (folder / "visits.csv").unlink()
        heads = pd.read_csv(folder / "heads.csv", dtype=str)
        heads.assign(last_not_ready_on="").to_csv(folder / "heads.csv", index=False)
    rng, days = np.random.default_rng(1), pd.date_range("2027-03-01", "2027-12-31")
    weather = [
        pd.DataFrame({"site": site, "measured_on": days, "t_min_c": rng.uniform(2, 9, len(days)).round(1)})
        for site in pd.read_csv(folder / "sites.csv", dtype=str)["site"]
    ]
    together = pd.concat(weather)
    together.assign(t_max_c=together["t_min_c"] + 8).to_csv(folder / "weather.csv", index=False)
    results = analyse(read_trial(folder))
    assert {"days", "degree_days"} <= {response.name for response in repeated(results)}
    data = data_package(read_trial(folder), "CC-BY-4.0", as_text(results).encode("utf-8"))
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        archive.extractall(tmp_path / "packed")
    done = run_r(rscript, tmp_path / "packed")
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.count("Each figure may differ by `within`") == (2 if visited else 0)
    found = printed(done.stdout)
    for name in ("days", "degree_days"):
        of_it = [one for key, one in found.items() if key[0] == name]
        assert len(of_it) >= 20
        assert all(one.within is None for one in of_it) is not visited


HOSTILE = 'Fen"); quit(status = 7); c("\\leaf\n`é'


def test_a_name_is_text_in_the_script(rscript: str, example_results: Callable[[str], Results], tmp_path: Path) -> None:
    """Whatever stands in a name, R reads the script's settings as they were."""
    usual = example_results("volunteer_cultivars")
    model = usual.responses["weight_g"].model
    assert model is not None
    odd = replace(usual.responses["weight_g"], model=replace(model, random=(HOSTILE,)))
    script = r_script(replace(usual, responses={**usual.responses, "weight_g": odd}))
    start, end = script.index("treatment_columns <-"), script.index("text <- function")
    (tmp_path / "settings.R").write_text(script[start:end] + "cat(models[[1]]$random)\n", "utf-8")
    done = subprocess.run([rscript, "--encoding=UTF-8", "settings.R"], cwd=tmp_path, capture_output=True, check=False)
    assert (done.returncode, done.stdout.decode("utf-8")) == (0, HOSTILE)


def test_without_a_decision_it_is_written_too(example_results: Callable[[str], Results]) -> None:
    """And where nothing was analysed nothing is repeated."""
    usual = example_results("volunteer_cultivars")
    assert "models <- list(" in r_script(replace(usual, decision=None))
    none = {name: replace(one, status="not analysed") for name, one in usual.responses.items()}
    assert len(figures(replace(usual, responses=none))) == 0
    assert "weight_g, which was not analysed" in r_script(replace(usual, responses=none))


def test_labels_are_those_that_r_makes() -> None:
    """Doses as R writes numbers; levels in the order of the columns."""
    from trialkit.report.r_script import label

    assert label(Treatment("Fenleaf", 2.0, "none")) == "Fenleaf / 2 / none"
    assert label(Treatment(dose_tsp=0.1 + 0.2)) == "0.3"


def test_requirements_name_every_library() -> None:
    """What trialkit needs by its own metadata, and what that needs."""
    lines = requirements().splitlines()
    names = {line.partition("==")[0] for line in lines[1:]}
    assert {"trialkit", "numpy", "pandas", "jinja2", "markupsafe", "six"} - names <= {"six"}
    assert all(re.fullmatch(r"[a-z0-9-]+==\S+", line) for line in lines[1:])
