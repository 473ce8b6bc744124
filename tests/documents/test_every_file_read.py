"""Every JSON and TOML file that is read, spoilt by a generator over its schema: refused by name, never a traceback."""

from __future__ import annotations

import json
import math
import re
import tomllib
import zlib
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, fields, is_dataclass
from pathlib import Path
from typing import Any, get_args

import pytest

import commands
from damaged_documents import as_json, as_toml, documents, paths, spoilt, spoilt_bytes
from good_trial import GOOD_PROTOCOL, GOOD_SITES, good_files
from returned_files import good_return
from trialkit._resources import resource_folder
from trialkit.documents.desk_documents import PlanBefore, TrialDraft, WaitingFiles
from trialkit.documents.document import SEAL, DamagedDocument, Sealed, from_text, json_schema, seal_of
from trialkit.documents.ledger_entry import Added, Manifest, Recommending, Withdrawn
from trialkit.documents.recommended import Recommended
from trialkit.documents.results import Results
from trialkit.documents.returns import Choice, Conflicts, Corrections, Headings, Journal, StagedFiles, WrittenTables
from trialkit.domain.errors import WrongCall
from trialkit.protocol.county import parse_county
from trialkit.protocol.county_schema import county_schema
from trialkit.protocol.protocol_schema import protocol_schema
from trialkit.protocol.trial_protocol import parse_protocol
from trialkit.returns.answering import CHOICES, read_answers
from trialkit.returns.finding_log import Log, UnreadableReturn
from trialkit.returns.phone_files import read_phone_file
from trialkit.rules.neighbours import labels_elsewhere
from trialkit.tables.problem import TrialError
from trialkit.words.problem_words import problem_sentence

PACKAGE = resource_folder("schemas").parent / "trialkit"
READING = re.compile(r"\b(from_text|toml_data|json\.loads|raw_decode|tomllib\.loads)\(")
READERS: Mapping[str, str] = {
    "steps/plan_steps.py": "results.json of an earlier trial",
    "steps/trial_steps.py": "results/results.json",
    "documents/document.py": "what others hand to it",
    "evidence/ledger.py": "entry.json of a ledger, and its versions",
    "evidence/ledger_index.py": "index.jsonl of a ledger",
    "evidence/versions.py": "recommended.json and history of a ledger",
    "protocol/county.py": "county.toml",
    "protocol/trial_protocol.py": "trial.toml",
    "protocol/setting.py": "trial.toml, and a value as one types it",
    "desk/begun.py": ".desk: files that wait, a plan as it was, drafts of trials",
    "desk/rooms/settings.py": "trial.toml, its values for a form",
    "report/data_package.py": "results/results.json, as its command has read it",
    "report/figures/inline_svg.py": "what a figure of our own says of itself",
    "returns/answering.py": "a file of answers",
    "returns/phone_files.py": "what a phone form saved",
    "tables/committing.py": ".merged/manifest.json",
    "rules/kept_documents.py": "returned/*.json",
    "rules/neighbours.py": "trial.toml of trials beside this one",
    "tables/table_schema.py": "schemas/*.json, which are shipped",
    "tables/toml_text.py": "what others hand to it",
}
"""Where files are read; whoever adds one adds its kind below."""


class Told(Exception):
    """A file was refused, in these words."""

    def __init__(self, words: str) -> None:
        super().__init__(words)
        self.words = words


@dataclass(frozen=True)
class Read:
    """A kind of file: its schema, a good one to start from (else one is made), and what reads its text."""

    schema: Callable[[], dict[str, Any]]
    read: Callable[[str, Path], Any]
    good: Callable[[], Any] | None = None
    is_toml: bool = False

    def documents(self) -> list[Any]:
        """Good documents, or those that the schema gives."""
        return [self.good()] if self.good else documents(self.schema())


def resealed(text: str) -> str:
    """Make the digest of a document anew, or all that was spoiled would end there."""
    with suppress(ValueError):  # no JSON, or figures without end
        data = json.loads(text)
        if isinstance(data, dict) and SEAL in data:
            return as_json({**data, SEAL: seal_of(data)})
    return text


def of(kind: type[Any]) -> Read:
    """Return how a document of a kind is read."""

    def read(text: str, _: Path) -> Any:
        try:
            return from_text(kind, resealed(text) if issubclass(kind, Sealed) else text)
        except DamagedDocument as error:
            raise Told(str(error)) from error

    return Read(lambda: json_schema(kind, "kind", "Kind", mode="validation"), read)


def protocol(text: str, _: Path) -> Any:
    """Read a protocol."""
    try:
        return parse_protocol(text)
    except TrialError as error:
        raise Told("\n".join(map(problem_sentence, error.problems))) from error


def county(text: str, _: Path) -> Any:
    """Read a county's block."""
    try:
        return parse_county(text)
    except TrialError as error:
        raise Told("\n".join(map(problem_sentence, error.problems))) from error


def answers(text: str, folder: Path) -> Any:
    """Read a file of answers."""
    (folder / "answers.toml").write_text(text, "utf-8")
    try:
        return read_answers(folder / "answers.toml")
    except WrongCall as error:
        raise Told(str(error)) from error


def phone(text: str, _: Path) -> Any:
    """Read what a phone saved; the check sum is made anew, or all would end there."""
    document = json.loads(text) if "9" * 999 not in text else None
    if isinstance(document, dict) and document.get("check") == GOOD_CHECK:
        compact = json.dumps(document.get("tables"), ensure_ascii=False, separators=(",", ":"))
        document["check"] = f"{zlib.crc32(compact.encode('utf-8', 'surrogatepass')):08x}"
        text = json.dumps(document)
    log = Log("phone.json")
    try:
        return read_phone_file(text.encode("utf-8", "surrogatepass"), log)
    except UnreadableReturn:
        raise Told(log.findings[-1].rule) from None


PHONE = json.loads(good_return().phone())
GOOD_CHECK = PHONE["check"]
ANSWERS = {
    **{name: {"enum": list(choices)} for name, choices in CHOICES.items()},
    "accept": {"type": "array", "items": {"enum": ["TK-R25"]}},
    "headings": {"type": "object", "additionalProperties": {"enum": ["weight_g"]}},
    "choose": {"type": "object", "additionalProperties": {"enum": list(get_args(Choice))}},
}
GOOD_COUNTY = {"name": "Larkmoor", "programme": "", "contact": "", "sowing": "", "logo": "a.png", "language": "en"}
KINDS: Mapping[str, Read] = {
    "trial.toml": Read(protocol_schema, protocol, lambda: tomllib.loads(GOOD_PROTOCOL), is_toml=True),
    "county.toml": Read(county_schema, county, lambda: {"county": GOOD_COUNTY}, is_toml=True),
    "a file of answers": Read(lambda: {"type": "object", "properties": ANSWERS}, answers, is_toml=True),
    "what a phone form saved": Read(dict, phone, lambda: PHONE),
    "returned/returns.json": of(Journal),
    "returned/conflicts.json": of(Conflicts),
    "returned/corrections.json": of(Corrections),
    "returned/headings.json": of(Headings),
    "returned/written.json": of(WrittenTables),
    ".merged/manifest.json": of(StagedFiles),
    ".desk/waiting.json": of(WaitingFiles),
    ".desk/plan.json": of(PlanBefore),
    ".desk/drafts": of(TrialDraft),
    "results/results.json": of(Results),
    "index.jsonl of a ledger, an entry": of(Added),
    "index.jsonl of a ledger, a withdrawal": of(Withdrawn),
    "index.jsonl of a ledger, a version": of(Recommending),
    "entry.json of a ledger": of(Manifest),
    "recommended.json of a ledger": of(Recommended),
}


def numbers(value: Any) -> Iterator[float]:
    """Every number in what was read."""
    if is_dataclass(value):
        yield from (one for field in fields(value) for one in numbers(getattr(value, field.name)))
    elif isinstance(value, dict | list | tuple):
        yield from (one for inner in (value.values() if isinstance(value, dict) else value) for one in numbers(inner))
    elif isinstance(value, int | float):
        yield value


def test_every_reader_is_known() -> None:
    """Whoever reads another JSON or TOML file finds this test, and gives it to the generator."""
    found = {
        path.relative_to(PACKAGE).as_posix()
        for path in PACKAGE.rglob("*.py")
        if any(READING.search(line) and ">>>" not in line for line in path.read_text("utf-8").splitlines())
    }
    assert found == set(READERS)


@pytest.mark.parametrize("name", KINDS)
def test_every_key_may_be_wrong(name: str, tmp_path: Path) -> None:
    """Wrong types, missing and unknown keys, huge numbers, surrogates: refused with the key, or read as a value."""
    kind = KINDS[name]
    write = as_toml if kind.is_toml else as_json
    made = kind.documents()
    for good in made:
        kind.read(write(good), tmp_path)
    seen: set[Any] = set()
    for good in (*made, *(documents(kind.schema()) if kind.good else ())):
        fresh = {
            place[-2:]: place for place in paths(good) if place[-2:] not in seen
        }  # a part is read alike everywhere
        seen.update(fresh)
        for place, document in spoilt(made[0] if kind.good else good, list(fresh.values())):
            value = None
            with suppress(Told):
                value = kind.read(write(document), tmp_path)
            assert all(math.isfinite(number) and abs(number) < 1e30 for number in numbers(value)), place
    assert len(seen) > 4


def test_a_damaged_key_is_named() -> None:
    """The place within the file, by its keys or by line and column."""
    for text, where in {
        '{"format": "trialkit-conflicts-1", "conflicts": [{"id": 7}]}': "conflicts.0.id",
        '{"format": 1e400}': "format",
        '{"conflicts": {}, "format": "trialkit-conflicts-1"}': "conflicts",
        '{"format": "trialkit-conflicts-1",': "line 1 column 34",
    }.items():
        with pytest.raises(DamagedDocument, match=where):
            from_text(Conflicts, text)
    results = documents(json_schema(Results, "results", "Results", mode="validation"))[0]
    for number in (float("nan"), float("inf"), 10**300):
        spoiled = {**results, "design": {**results["design"], "volume_l": number}}
        with pytest.raises(DamagedDocument, match="volume_l"):
            from_text(Results, as_json(spoiled))
    noted = {**results, "trial": {**results["trial"], "title": "NaN, 1e400 and 12345678901234567890123"}}
    assert from_text(Results, resealed(as_json(noted))).trial.title.startswith("NaN")


def write_trial(folder: Path) -> Path:
    """Write a trial that is in order."""
    folder.mkdir()
    for name, text in good_files().items():
        (folder / name).write_text(text, "utf-8")
    return folder


@pytest.mark.parametrize("command", ["check", "plan", "layout"])
def test_a_spoilt_protocol_is_refused_by_name(tmp_path: Path, command: str) -> None:
    """Whatever was done to the file as a whole."""
    folder = tmp_path / "trial"
    folder.mkdir()
    (folder / "sites.csv").write_text(GOOD_SITES, "utf-8")
    for what, data in spoilt_bytes(GOOD_PROTOCOL.encode()).items():
        (folder / "trial.toml").write_bytes(data)
        if what.startswith("as good"):
            assert parse_protocol(data.decode("utf-8-sig")).bucket.heads == 2
            continue
        ended = commands.run(command, folder)
        assert ended.returncode in (commands.DATA_ERROR, commands.WRONG_CALL), what
        assert "trial.toml" in ended.stdout + ended.stderr, what
        assert "CSV UTF-8" not in (ended.stdout + ended.stderr).partition("warning")[0]


def test_hundreds_of_faults_are_told_shortly(tmp_path: Path) -> None:
    """The first by name and how many more there are; a number in figures of base 16 is a number too."""
    many = "".join(f"key{number} = 1\n" for number in range(400)) + GOOD_PROTOCOL
    with pytest.raises(Told) as told:
        protocol(many, tmp_path)
    assert "350 faults more" in told.value.words
    assert len(told.value.words) < 20_000
    with pytest.raises(Told, match="too long to show"):
        protocol(GOOD_PROTOCOL.replace("20260820", f"0x{'f' * 9000}"), tmp_path)
    with pytest.raises(Told, match=r"trial\.toml"):
        protocol(f"a{'.a' * 200_000} = 1\n{GOOD_PROTOCOL}", tmp_path)


def test_spoilt_answers_and_neighbours_are_told_or_passed_over(tmp_path: Path) -> None:
    """Answers stop the merge before it begins; of a trial beside this one that cannot be read nothing is known."""
    folder, beside = good_return().write_trial(tmp_path / "trial"), write_trial(tmp_path / "beside")
    path = tmp_path / "answers.toml"
    for what, data in spoilt_bytes(as_toml(KINDS["a file of answers"].documents()[0]).encode()).items():
        path.write_bytes(data)
        (beside / "trial.toml").write_bytes(data)
        if what.startswith("as good") or what in ("empty", "blank"):
            assert read_answers(path)
        else:
            ended = commands.run("merge", folder, "--answers", path)
            assert ended.returncode == commands.WRONG_CALL, what
            assert "answers.toml" in ended.stderr
        assert labels_elsewhere(folder, {"334X"}) == ("beside",)


@pytest.mark.parametrize("earlier", [False, True])
def test_spoilt_results_are_refused_by_name(tmp_path: Path, earlier: bool) -> None:
    """By the report, and by a plan that takes them for an earlier trial's."""
    folder = write_trial(tmp_path / "trial")
    path = folder / "results" / "results.json"
    path.parent.mkdir()
    good = as_json(KINDS["results/results.json"].documents()[0]).encode()
    for what, data in spoilt_bytes(good).items():
        path.write_bytes(data)
        if not what.startswith("as good"):
            ended = commands.run(*(("plan", folder, "--earlier", folder) if earlier else ("report", folder)))
            assert ended.returncode == commands.NOT_COMPUTED, what
            assert "results.json" in ended.stderr
            assert "again" in ended.stderr
    if earlier:
        checked = commands.run("check", folder)
        assert checked.returncode == commands.DATA_ERROR
        assert "results/results.json: found" in checked.stdout


def test_a_spoilt_manifest_of_a_merge_is_refused_by_name(tmp_path: Path) -> None:
    """Nothing is put in place by what is no manifest."""
    folder = good_return().write_trial(tmp_path / "trial")
    path = folder / ".merged" / "manifest.json"
    path.parent.mkdir()
    before = (folder / "layout.csv").read_bytes()
    for what, data in spoilt_bytes(as_json(KINDS[".merged/manifest.json"].documents()[0]).encode()).items():
        path.write_bytes(data)
        ended = commands.run("merge", folder)
        assert ended.returncode == commands.NOT_COMPUTED, what
        assert any(said in ended.stderr for said in (".merged is damaged", "no file that a merge writes", "is lost"))
    assert (folder / "layout.csv").read_bytes() == before


def test_spoilt_phone_files_leave_a_good_one_beside_them(tmp_path: Path) -> None:
    """Each is refused or read by itself."""
    good = good_return()
    folder = good.write_trial(tmp_path / "trial")
    spoiled = {name: data for name, data in spoilt_bytes(good.phone()).items() if not name.startswith("as good")}
    files = []
    for number, data in enumerate((*spoiled.values(), good.phone())):
        files.append(tmp_path / f"phone{number}.json")
        files[-1].write_bytes(data)
    outcome = json.loads(commands.run("merge", folder, *files, "--json").stdout)["answer"]
    assert [file["name"] for file in outcome["files"] if file["merged"]][-1] == files[-1].name
    refused = [file for file in outcome["files"] if not file["merged"]]
    assert len(refused) > 10
    assert all(finding["how_to_fix"] for file in refused for finding in file["findings"][-1:])
