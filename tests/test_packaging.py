"""The package as others get it: built, installed in a fresh environment outside the checkout, and at work there."""

import io
import os
import re
import shutil
import subprocess
import sys
import sysconfig
import tarfile
import tomllib
import venv
import zipfile
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest
from packaging.metadata import Metadata

from trialkit._version import __version__
from trialkit.documents.document import as_text
from trialkit.documents.results import Results
from trialkit.report.data_package import data_package
from trialkit.rules.trial_folder import read_trial

ROOT = Path(__file__).parents[1]
KEPT_OUT = {".git", ".venv", ".mypy_cache", ".pytest_cache", ".ruff_cache", ".hypothesis", "__pycache__", "dist"}
BUILD = "import sys, hatchling.build as b; print(getattr(b, sys.argv[1])(sys.argv[2]))"


def build(kind: str, source: Path, into: Path) -> Path:
    """Build an sdist or a wheel by the project's own build backend."""
    command = [sys.executable, "-c", BUILD, f"build_{kind}", str(into)]
    done = subprocess.run(command, cwd=source, check=True, capture_output=True, text=True)
    return into / done.stdout.split()[-1]


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """An sdist of the checkout, and a wheel of that sdist."""
    pytest.importorskip("hatchling")
    place = tmp_path_factory.mktemp("built")
    source = Path(shutil.copytree(ROOT, place / "source", ignore=lambda _, names: KEPT_OUT & set(names)))
    sdist = build("sdist", source, place)
    with tarfile.open(sdist) as archive:
        # The standard library's way to be strict where it can be; the earliest 3.11 has no filters.
        archive.extraction_filter = getattr(tarfile, "data_filter", lambda member, _: member)
        archive.extractall(place / "unpacked")
    return sdist, build("wheel", next((place / "unpacked").iterdir()), place)


def test_the_version_is_told_alike() -> None:
    """By the package, pyproject.toml, and, with the day, by CITATION.cff and the newest release of the changelog."""
    assert tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]["version"] == __version__
    headings = re.findall(r"^## \[(.+?)\](?: - (\S+))?$", (ROOT / "CHANGELOG.md").read_text("utf-8"), re.MULTILINE)
    cited = dict(re.findall(r"^([\w-]+): (\S+)$", (ROOT / "CITATION.cff").read_text("utf-8"), re.MULTILINE))
    assert headings[:2] == [("Unreleased", ""), (__version__, cited["date-released"])]
    assert cited["version"] == __version__
    days = [date.fromisoformat(day) for _, day in headings[1:]]
    assert days == sorted(days, reverse=True)


def test_the_same_source_gives_the_same_bytes(built: tuple[Path, Path], tmp_path: Path) -> None:
    """Built once more, the wheel from the checkout itself."""
    assert build("sdist", built[0].parent / "source", tmp_path).read_bytes() == built[0].read_bytes()
    assert build("wheel", built[0].parent / "source", tmp_path).read_bytes() == built[1].read_bytes()


def test_what_an_index_reads_of_the_wheel(built: tuple[Path, Path]) -> None:
    """Metadata by the standard, with the README whole and no address of a project that has none."""
    with zipfile.ZipFile(built[1]) as wheel:
        (name,) = [name for name in wheel.namelist() if name.endswith(".dist-info/METADATA")]
        told = Metadata.from_email(wheel.read(name), validate=True)
    assert (told.name, str(told.version)) == ("trialkit", __version__)
    assert (told.license_expression, told.description_content_type) == ("GPL-3.0-or-later", "text/markdown")
    assert told.description == (ROOT / "README.md").read_text("utf-8")
    assert not told.project_urls
    assert not told.home_page
    newest = max(int(found[1]) for line in told.classifiers or [] if (found := re.search(r":: 3\.(\d+)$", line)))
    assert told.requires_python == ">=3.11"
    assert all(f":: 3.{minor}" in "\n".join(told.classifiers or []) for minor in range(11, newest + 1))


def test_a_wheel_has_what_it_needs(built: tuple[Path, Path]) -> None:
    """Types, schemas, examples, pages' templates and the licence; no tests."""
    with zipfile.ZipFile(built[1]) as wheel:
        names = set(wheel.namelist())
    for wanted in (
        "trialkit/py.typed",
        "trialkit/schemas/heads.json",
        "trialkit/example_trials/autumn_dose/trial.toml",
        "trialkit/pages/templates/page.js",
        "trialkit/pages/templates/page.css",
    ):
        assert wanted in names
    assert any(name.endswith("licenses/LICENSE") for name in names)
    assert not [name for name in names if "test" in name.split("/")[0]]


def test_an_installed_wheel_does_the_whole_job(built: tuple[Path, Path], tmp_path: Path) -> None:
    """In an environment of its own, which borrows the libraries of this one, away from the checkout."""
    place = tmp_path / "fresh"
    venv.create(place, with_pip=False)
    base = {"base": str(place), "platbase": str(place)}
    site = Path(sysconfig.get_path("purelib", "venv", base))
    with zipfile.ZipFile(built[1]) as wheel:
        wheel.extractall(site)
    borrowed = [path for path in sys.path if path.endswith("site-packages")]
    (site / "borrowed.pth").write_text("\n".join(borrowed) + "\n", "utf-8")
    python = Path(sysconfig.get_path("scripts", "venv", base)) / Path(sys.executable).name
    environment = {key: value for key, value in os.environ.items() if key not in ("PYTHONPATH", "PYTHONHOME")}

    def run(*words: str) -> str:
        command = [str(python), *words]
        done = subprocess.run(command, cwd=tmp_path, env=environment, check=True, capture_output=True, text=True)
        return done.stdout

    assert Path(run("-c", "import trialkit; print(trialkit.__file__)").strip()).is_relative_to(site)
    said = run("-m", "trialkit", "demo", "--into", "demo")
    assert (tmp_path / "demo" / "results" / "report.html").is_file()
    assert "Change the default to Fenleaf" in said
    assert run("-m", "trialkit", "schema", "heads").startswith("heads.csv")


def test_the_recipe_works_in_an_empty_environment(
    tmp_path: Path, built: tuple[Path, Path], example_results: Callable[[str], Results]
) -> None:
    """The lines of the package's README as they stand; pip finds trialkit's own wheel beside what registries have."""
    if not os.environ.get("CI"):
        pytest.skip("it installs from a package registry: run it with CI=true")
    trial, folder = ROOT / "example_trials" / "volunteer_cultivars", tmp_path / "data"
    results = as_text(example_results("volunteer_cultivars")).encode("utf-8")
    with zipfile.ZipFile(io.BytesIO(data_package(read_trial(trial), "CC-BY-4.0", results))) as archive:
        archive.extractall(folder)
    readme = (folder / "README.md").read_text("utf-8")
    recipe = re.search(r"(?:^    \S.*\n)+", readme, re.MULTILINE)
    assert recipe is not None
    lines = [line.strip() for line in recipe[0].splitlines()]
    assert lines[0].startswith("python3 -m venv")
    environment = {key: value for key, value in os.environ.items() if key not in ("PYTHONPATH", "PYTHONHOME")}
    environment["PIP_FIND_LINKS"] = str(built[1].parent)
    environment["PATH"] = os.pathsep.join([str(Path(sys.executable).parent), environment["PATH"]])
    said = ""
    for line in lines:
        done = subprocess.run(line.split(), cwd=folder, env=environment, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stdout + done.stderr
        said = done.stdout
    assert "The results and the report are what the records give." in said
