"""The second process of an analysis: the same answers, and nothing left behind."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from functools import partial
from pathlib import Path

import pytest

from trialkit._processes import cores
from trialkit.cli.second_process import second_process
from trialkit.cli.steps import results_text
from trialkit.documents.document import as_data

EXAMPLES = Path(__file__).parents[2] / "example_trials"
HAND_OVER = """
import os, signal, sys, time
from multiprocessing import active_children
from trialkit.cli.second_process import second_process

if __name__ == "__main__":
    signal.signal(signal.SIGINT, signal.default_int_handler)  # the tests may have been started to ignore Ctrl-C
    with second_process(["tomllib"]) as beside:
        other = beside(os.getpid)()
        assert other != os.getpid()
        {then}
    assert not active_children()
"""
needs_two_cores = pytest.mark.skipif(cores() < 2, reason="one core: no second process is started")


def _start(tmp_path: Path, then: str) -> subprocess.Popen[str]:
    script = tmp_path / "hand_over.py"
    script.write_text(HAND_OVER.format(then=then), encoding="utf-8")
    return subprocess.Popen([sys.executable, str(script)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def _goes_away(pid: int) -> bool:
    for _ in range(300):
        try:
            os.kill(pid, 0)
        except ProcessLookupError:
            return True
        time.sleep(0.1)
    return False


@needs_two_cores
def test_the_same_results_as_in_one_process(tmp_path: Path) -> None:
    """By definition: where work is done changes no figure."""
    from trialkit.analysis import analyse
    from trialkit.rules.check import read_trial

    trial = tmp_path / "trial"
    shutil.copytree(EXAMPLES / "volunteer_cultivars", trial)
    subprocess.run([sys.executable, "-m", "trialkit", "analyse", str(trial)], check=True, capture_output=True)
    alone = results_text(as_data(analyse(read_trial(trial))))
    assert (trial / "results" / "results.json").read_text(encoding="utf-8") == alone


@needs_two_cores
def test_work_is_taken_back_from_a_process_that_was_killed(tmp_path: Path) -> None:
    """As where memory runs out: the system kills a process, the work is done all the same."""
    after = "late = beside(os.getpid); os.kill(other, 9); late(); assert beside(os.getpid)() == os.getpid()"
    process = _start(tmp_path, f"{after}; print('done')")
    said, errors = process.communicate(timeout=60)
    assert (process.returncode, said, errors) == (0, "done\n", "")


@needs_two_cores
def test_what_is_put_off_is_there_when_asked_for(tmp_path: Path) -> None:
    """Pingouin's pictures are not loaded with pingouin, and can be drawn all the same."""
    loaded = "(hasattr(__import__('pingouin'), 'normality'), 'matplotlib' in __import__('sys').modules)"
    asked = "__import__('sys').modules['pingouin.plotting'].plot_paired.__name__"
    process = _start(tmp_path, f'print(beside(eval, "{loaded}")(), beside(eval, "{asked}")())')
    said, errors = process.communicate(timeout=120)
    assert (process.returncode, said, errors) == (0, "(True, False) plot_paired\n", "")


@pytest.mark.skipif(not hasattr(os, "sched_setaffinity"), reason="this system does not keep a process to one core")
def test_one_core_does_all_the_work(tmp_path: Path) -> None:
    """By definition, and without the pictures that nothing draws: `taskset` and containers limit cores like this."""
    script = tmp_path / "one_core.py"
    script.write_text(
        "import os, sys\n"
        "os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})\n"
        "from trialkit.cli.second_process import second_process\n"
        "with second_process() as beside:\n"
        "    import pingouin\n"
        "    print(beside(os.getpid)() == os.getpid(), hasattr(pingouin, 'normality'), 'matplotlib' in sys.modules)\n",
        encoding="utf-8",
    )
    process = subprocess.run([sys.executable, str(script)], capture_output=True, text=True, timeout=120)
    assert (process.returncode, process.stdout, process.stderr) == (0, "True True False\n", "")


@needs_two_cores
def test_ctrl_c_is_for_the_first_process(tmp_path: Path) -> None:
    """A terminal sends it to both: the second one goes on, and it is the first that ends it."""
    process = _start(tmp_path, "os.kill(other, 2); assert beside(os.getpid)() == other; print('done')")
    said, errors = process.communicate(timeout=60)
    assert (process.returncode, said, errors) == (0, "done\n", "")


@needs_two_cores
@pytest.mark.skipif(os.name == "nt", reason="signals of POSIX systems")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGKILL])
def test_nothing_is_left_when_the_first_process_is_stopped(tmp_path: Path, number: signal.Signals) -> None:
    """By Ctrl-C, or by a kill: the second process ends too, and says nothing."""
    process = _start(tmp_path, "late = beside(time.sleep, 600); print(other, flush=True); late()")
    assert process.stdout is not None
    other = int(process.stdout.readline())
    process.send_signal(number)
    assert _goes_away(other)
    _, errors = process.communicate(timeout=60)
    assert errors.count("Traceback (most recent call last)") == (number == signal.SIGINT)  # the script's own


def test_no_process_where_the_libraries_are_loaded() -> None:
    """It would have nothing to share."""
    with second_process(["os", "sys"]) as beside:
        assert beside is partial
