"""Nothing that is sent back costs more than a record may: what passes a limit is refused by its name."""

import resource
import subprocess
import sys
from pathlib import Path

import pytest

from hostile_files import PASSED, RETURNED
from returned_files import good_return
from trialkit.documents.problems import Fact
from trialkit.domain.reading_budget import RETURNED as BUDGET
from trialkit.returns.finding_log import Log, Place, UnreadableReturn
from trialkit.returns.returned_file import Original, load_original, read_return
from trialkit.words.repair_words import finding_sentence

MOST_MEMORY_BYTES, MOST_PROCESSOR_S = 400_000_000, 60
"""Of all that a process writes to, its libraries included; and far more than it needs, on any computer."""
DEAREST = (
    "a shared text of 20 MB in 480 cells",
    "a million cells without attributes",
    "a merged range as large as a sheet",
    "a thousand million entities",
    "commas alone",
    "9.9 MB of open braces",
)


@pytest.mark.parametrize("title", PASSED)
def test_what_passes_a_limit_is_refused_by_its_name(title: str) -> None:
    """The finding tells which limit it is."""
    name, make = RETURNED[title]
    log = Log(name)
    with pytest.raises(UnreadableReturn):
        read_return(Original(name, make()), log)
    assert log.findings[-1].rule == "TK-R07"
    assert Fact("measure", PASSED[title]) in log.findings[-1].facts
    assert "Expected at most" in finding_sentence(log.findings[-1])


def test_the_dearest_files_are_refused_in_little_memory(tmp_path: Path) -> None:
    """One process, whose memory and processor are limited by the system, answers for all of them."""
    folder, names = good_return().write_trial(tmp_path / "trial"), []
    for number, title in enumerate(DEAREST):
        name, make = RETURNED[title]
        names.append(f"{number}{name}")
        (tmp_path / names[-1]).write_bytes(make())

    def limited() -> None:
        resource.setrlimit(resource.RLIMIT_DATA, (MOST_MEMORY_BYTES, MOST_MEMORY_BYTES))
        resource.setrlimit(resource.RLIMIT_CPU, (MOST_PROCESSOR_S, MOST_PROCESSOR_S))

    done = subprocess.run(
        [sys.executable, "-m", "trialkit", "merge", folder, *(tmp_path / name for name in names)],
        capture_output=True,
        text=True,
        check=False,
        preexec_fn=limited,
    )
    assert done.returncode == 1, done.stderr
    told = done.stdout + done.stderr
    assert [name for name in names if f"refused: {name}: found" not in told] == []


def test_more_doubts_than_anybody_reads_are_not_looked_into() -> None:
    """A file of which every cell is at fault is no record; the first faults are told beside that."""
    log = Log("a.csv")
    for row in range(BUDGET.findings):
        log.refuse("TK-R37", Place(row=row + 2, column="weight_g"), "number", text="?")
    with pytest.raises(UnreadableReturn):
        log.refuse("TK-R37", Place(row=BUDGET.findings + 2, column="weight_g"), "number", text="?")
    assert finding_sentence(log.findings[-1]).startswith("a.csv: found more. Expected at most 2,000 cells at fault")


def test_a_large_file_is_not_taken_in(tmp_path: Path) -> None:
    """No more than the budget is read of it."""
    (tmp_path / "a.csv").write_bytes(b" " * (BUDGET.file_bytes + 1))
    log = Log("a.csv")
    with pytest.raises(UnreadableReturn):
        load_original(tmp_path / "a.csv", log)
    assert finding_sentence(log.findings[0]).startswith("a.csv: found 10.01 MB. Expected at most 10 MB.")
