"""What a data package tells of itself, by general validators of the standards, and what `pack --check` asks for."""

from __future__ import annotations

import io
import json
import os
import shutil
import subprocess
import sys
import venv
import zipfile
from pathlib import Path

import pytest

from commands import run
from trialkit._resources import resource_folder
from trialkit.domain.table_names import TABLE_NAMES
from trialkit.protocol.publication import is_orcid
from trialkit.protocol.trial_protocol import parse_protocol
from trialkit.report.data_package import data_package
from trialkit.report.metadata import datacite_record, gaps, miappe
from trialkit.rules.trial_folder import CheckedTrial, read_trial
from trialkit.tables.problem import TrialError
from trialkit.tables.table_schema import load_schema

VALIDATE = Path(__file__).parents[1] / "support" / "validate_crate.py"
EXAMPLE = resource_folder("example_trials") / "autumn_dose"
# The iD is the one that ORCID's documentation gives as an example of its check figure.
TOLD = """
[publication]
publisher = "Larkmoor County Extension"
licence = "CC0-1.0"
licence_holder = "Larkmoor County"
version = "1.2.0"
published_on = 2027-01-15
country = "US"

[[publication.people]]
name = "Tessaly Okonkwo-Lind"
roles = ["author", "contact"]
orcid = "0000-0002-1825-0097"
affiliation = "Larkmoor County Extension"

[[publication.people]]
name = "Gardeners of Larkmoor"
roles = ["data collector"]
organisation = true
"""
# MIAPPE 1.2's mandatory attributes (checklist, from memory), by section; files of data are described too.
MANDATORY = {
    "Investigation": {"Investigation unique ID", "Investigation title", "MIAPPE version"},
    "Study": {
        "Study unique ID",
        "Study title",
        "Start date of study",
        "Contact institution",
        "Geographic location (country)",
        "Experimental site name",
        "Description of the experimental design",
        "Observation unit description",
        "Description of growth facility",
    },
    "Person": {"Person name", "Person role", "Person affiliation"},
    "Data file": {"Data file link", "Data file description", "Data file version"},
    "Biological material": {"Biological material ID", "Organism"},
    "Environment": {"Environment parameter", "Environment parameter value"},
    "Experimental factor": {"Experimental Factor type", "Experimental Factor values"},
    "Observed variable": {"Variable ID", "Variable name", "Trait", "Method", "Scale"},
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An example whose protocol tells all that standards ask for."""
    made = Path(shutil.copytree(EXAMPLE, tmp_path_factory.mktemp("published") / "trial"))
    protocol = made / "trial.toml"
    protocol.write_text(protocol.read_text("utf-8") + TOLD, "utf-8")
    return made


@pytest.fixture(scope="module")
def published(folder: Path) -> CheckedTrial:
    """The same, read."""
    return read_trial(folder)


def test_miappe_is_complete(published: CheckedTrial) -> None:
    """Every mandatory attribute is told in every section; there is a study for each garden."""
    found = miappe(published, "CC-BY-4.0")
    for section, wanted in MANDATORY.items():
        entries = found[section] if isinstance(found[section], list) else [found[section]]
        assert entries, section
        for entry in entries:
            assert {name for name in wanted if entry.get(name) in (None, "")} == set(), section
    assert [study["Study unique ID"] for study in found["Study"]][:2] == ["autumn-dose-FERN", "autumn-dose-HARB"]
    assert found["Study"][0]["Start date of study"] == "2026-08-20"
    assert [one["Experimental Factor values"] for one in found["Experimental factor"]][1] == "2; 4; 6; 8"
    assert {one["Study unique ID"] for one in found["Environment"]} == {
        one["Study unique ID"] for one in found["Study"]
    }
    json.dumps(found, allow_nan=False)


def test_the_datacite_record_is_valid(published: CheckedTrial) -> None:
    """By DataCite's JSON Schema 4.5, as its own library ships it; with the DOI that registration gives."""
    schema45 = pytest.importorskip("datacite.schema45")
    record = datacite_record(published, "CC0-1.0")
    schema45.validator.validate({**record, "doi": "10.5072/example", "prefix": "10.5072", "suffix": "example"})
    assert record["creators"][0]["nameIdentifiers"][0]["nameIdentifier"] == "https://orcid.org/0000-0002-1825-0097"
    assert {one["contributorType"] for one in record["contributors"]} == {
        "ContactPerson",
        "DataCollector",
        "RightsHolder",
    }
    spoilt = {**record, "publicationYear": 2027}
    assert list(schema45.validator.iter_errors(spoilt))


def test_the_package_is_a_research_object_crate(published: CheckedTrial, tmp_path: Path) -> None:
    """By the validator's profile of RO-Crate 1.3, in an environment of its own; it finds a day that is missing."""
    if not os.environ.get("CI"):
        pytest.skip("it installs from a package registry: run it with CI=true")
    venv.create(tmp_path / "validator", with_pip=False)
    python = tmp_path / "validator" / "bin" / "python"
    install = [sys.executable, "-m", "pip", "--python", python, "install", "-q", "roc-validator>=0.13", "rocrate>=0.16"]
    subprocess.run(install, check=True, capture_output=True)
    crate = tmp_path / "crate"
    with zipfile.ZipFile(io.BytesIO(data_package(published, "CC0-1.0", None))) as archive:
        archive.extractall(crate)

    def validated() -> subprocess.CompletedProcess[str]:
        return subprocess.run([python, VALIDATE, crate], check=False, capture_output=True, text=True)

    first = validated()
    assert (first.returncode, first.stdout) == (0, ""), first.stdout + first.stderr
    described = crate / "ro-crate-metadata.json"
    described.write_text(described.read_text("utf-8").replace('"datePublished"', '"date"'), "utf-8")
    second = validated()
    assert (second.returncode, bool(second.stdout)) == (1, True), second.stderr


def test_the_package_names_its_people_and_is_valid(published: CheckedTrial, tmp_path: Path) -> None:
    """By frictionless; foreign keys are arrays, as the standard writes them."""
    frictionless = pytest.importorskip("frictionless")
    path = tmp_path / "package.zip"
    path.write_bytes(data_package(published, "CC0-1.0", None))
    assert frictionless.validate(str(path)).valid
    with zipfile.ZipFile(path) as archive:
        package = json.loads(archive.read("datapackage.json"))
    assert package["version"] == "1.2.0"
    assert package["contributors"][0]["path"] == "https://orcid.org/0000-0002-1825-0097"
    keys = [key for one in package["resources"] for key in one.get("schema", {}).get("foreignKeys", ())]
    assert len(keys) >= 4
    assert all(isinstance(key["fields"], list) and isinstance(key["reference"]["fields"], list) for key in keys)


def test_units_are_codes_of_ucum() -> None:
    """By a parser of the Unified Code for Units of Measure; a word of daily life is none."""
    parser = pytest.importorskip("ucumvert").get_ucum_parser()
    units = {field.unit for name in TABLE_NAMES for field in load_schema(name).fields if field.unit}
    assert {"g", "mS/cm", "[tsp_us]"} <= units
    for unit in units:
        parser.parse(unit)
    with pytest.raises(Exception, match="teaspoons"):
        parser.parse("teaspoons")


def test_what_is_missing_is_named(published: CheckedTrial, folder: Path) -> None:
    """Nothing where all is told; else each thing with its key; status 1 and --json."""
    assert gaps(published) == ()
    told = run("pack", folder, "--check")
    assert (told.returncode, told.stdout.strip()) == (0, "Nothing that the standards ask for is missing.")
    bare = run("pack", EXAMPLE, "--check")
    assert bare.returncode == 1
    assert (
        "MIAPPE 1.2 asks for Geographic location (country): tell it in trial.toml or, for all trials of the county, "
        in (bare.stderr)
    )
    assert "DataCite 4.5 asks for Publication Year: tell it in trial.toml, publication.published_on." in bare.stderr
    answer = json.loads(run("pack", EXAMPLE, "--check", "--json").stdout)["answer"]
    assert answer["ok"] is False
    assert {one["standard"] for one in answer["missing"]} == {"MIAPPE 1.2", "DataCite 4.5", "RO-Crate 1.3"}
    assert not (EXAMPLE / "results").exists()


def test_the_county_tells_what_its_trials_do_not(folder: Path, tmp_path: Path) -> None:
    """People, publisher, licence, holder, country from county.toml: the same package, with the day in trial.toml."""
    made = Path(shutil.copytree(EXAMPLE, tmp_path / "trial"))
    own = {"version", "published_on"}
    lines = TOLD.strip().splitlines()[1:]
    kept = [line for line in lines[: lines.index("")] if line.partition(" ")[0] in own]
    shared = "\n".join(line for line in lines if line not in kept)
    with (made / "trial.toml").open("a", encoding="utf-8") as file:
        file.write("\n".join(["", "[publication]", *kept]) + "\n")
    (tmp_path / "county.toml").write_text(f'[county]\nname = "Larkmoor"\n\n[publication]\n{shared}\n', "utf-8")
    told = run("pack", made, "--check")
    assert (told.returncode, told.stdout.strip()) == (0, "Nothing that the standards ask for is missing.")
    here, there = read_trial(made), read_trial(folder)
    assert datacite_record(here, "CC0-1.0") == datacite_record(there, "CC0-1.0")
    assert miappe(here, "CC0-1.0") == miappe(there, "CC0-1.0")

    spoilt = (tmp_path / "county.toml").read_text("utf-8").replace("0097", "0079").replace("CC0-1.0", "mine")
    (tmp_path / "county.toml").write_text(spoilt, "utf-8")
    refused = run("pack", made, "--check")
    assert refused.returncode == 1
    assert "county.toml" in refused.stderr
    (tmp_path / "county.toml").write_text(spoilt.replace("mine", "CC0-1.0"), "utf-8")
    assert (
        "whose last figure fits: tell it in county.toml, publication.people, number 1."
        in run("pack", made, "--check").stderr
    )


def test_a_slip_in_an_orcid_is_named(folder: Path, tmp_path: Path) -> None:
    """Its last figure is a check on the others (ISO 7064, MOD 11-2; the first is ORCID's own example)."""
    assert [is_orcid(one) for one in ("0000-0002-1825-0097", "0000-0001-5109-3700", "0000-0002-1694-233X")] == [
        True
    ] * 3
    made = Path(shutil.copytree(folder, tmp_path / "trial"))
    protocol = made / "trial.toml"
    protocol.write_text(protocol.read_text("utf-8").replace("1825-0097", "1825-0079"), "utf-8")
    told = run("pack", made, "--check")
    assert told.returncode == 1
    assert "ORCID asks for an iD of Tessaly Okonkwo-Lind whose last figure fits" in told.stderr


@pytest.mark.parametrize(
    ("was", "becomes"), [("US", "USA"), ("CC0-1.0", "mine"), ('["data collector"]', '["bystander"]'), ("-0097", "")]
)
def test_what_is_told_is_read_strictly(folder: Path, was: str, becomes: str) -> None:
    """Countries by two letters, licences and roles from the list, whole iDs."""
    text = (folder / "trial.toml").read_text("utf-8")
    head, tail = text[: text.index("[publication]")], text[text.index("[publication]") :]
    with pytest.raises(TrialError):
        parse_protocol(head + tail.replace(was, becomes, 1))
