"""Processes, a cluster and Ctrl-C: the same numbers everywhere, and nothing left running."""

import os
import signal
import subprocess
import sys
import time
import warnings
from concurrent.futures import Executor
from pathlib import Path
from typing import Any

import pytest

from trialkit.domain.errors import NotComputed
from trialkit.planning.assumptions import Assumptions
from trialkit.planning.executors import simulation_executor
from trialkit.planning.planned_power import Goal
from trialkit.planning.simulated_power import simulate_power

GOAL = Goal(15.0, {"cultivar": "T0"})


def power(plans: Any, executor: Executor) -> Any:
    """A small simulation of a design that is not orthogonal."""
    design = plans.volunteers(2, 3, 2)
    return simulate_power(design, Assumptions(), GOAL, replicates=600, seed=5, executor=executor)


@pytest.mark.parametrize("cores", [1, 2])
def test_processes_give_the_same_numbers(
    plans: Any, serial: Executor, cores: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One process, two processes, or a thread of this one: equal to the last digit."""
    monkeypatch.setattr("trialkit._processes.cores", lambda: cores)
    with simulation_executor() as executor:
        assert power(plans, executor) == power(plans, serial)


def test_a_cluster_gives_the_same_numbers(plans: Any, serial: Executor) -> None:
    """Two worker processes of a local Dask cluster, reached by the scheduler's address: equal to the last digit."""
    distributed = pytest.importorskip("distributed", reason="the extra 'cluster' is not installed")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of the library's own start and end
        with (
            distributed.LocalCluster(
                n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
            ) as cluster,
            simulation_executor(cluster.scheduler_address) as executor,
        ):
            found = power(plans, executor)
    assert found == power(plans, serial)


def test_no_scheduler_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where nobody answers at the address, that is said, and what to do."""
    pytest.importorskip("distributed", reason="the extra 'cluster' is not installed")
    monkeypatch.setattr("trialkit.planning.executors.CONNECT_SECONDS", 1)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with (
            pytest.raises(NotComputed, match=r"No scheduler answers at tcp://127\.0\.0\.1:9"),
            simulation_executor("tcp://127.0.0.1:9"),
        ):
            pass


def test_a_missing_extra_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without the library for clusters the message says what to install."""
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(NotComputed, match=r"trialkit\[cluster\]"), simulation_executor("tcp://127.0.0.1:9"):
        pass


SCRIPT = """
import signal
import sys
import pandas as pd
from trialkit.domain.progress import watched
from trialkit.planning.assumptions import Assumptions
from trialkit.planning.planned_design import planned_design
from trialkit.planning.executors import simulation_executor
from trialkit.planning.planned_power import Goal
from trialkit.planning.simulated_power import simulate_power

def main():
    signal.signal(signal.SIGINT, signal.default_int_handler)  # the tests may have been started to ignore Ctrl-C
    rows = [(f"v{i}", f"T{(i + step) % 6}") for i in range(24) for step in (0, 1, 3)]
    layout = pd.DataFrame(rows, columns=["volunteer", "cultivar"]).assign(bucket=range(72))
    design = planned_design(layout, 4, ["cultivar"], lambda _: ("weight_g ~ cultivar", ("volunteer", "bucket")))
    tell = lambda _, done, total: print(done, flush=True)
    try:
        with watched(tell), simulation_executor() as executor:
            simulate_power(design, Assumptions(), Goal(10.0, {"cultivar": "T0"}), replicates=1_000_000, seed=1,
                           executor=executor)
    except KeyboardInterrupt:
        print("stopped", flush=True)
        sys.exit(130)

if __name__ == "__main__":
    main()
"""


@pytest.mark.skipif(sys.platform == "win32", reason="Ctrl-C is sent to a group of processes, as a terminal does")
def test_ctrl_c_stops_everything(tmp_path: Path) -> None:
    """Ctrl-C in a terminal reaches every process: all end within seconds, without a traceback."""
    script = tmp_path / "long_simulation.py"
    script.write_text(SCRIPT, encoding="utf-8")
    root = str(Path(__file__).parents[2])
    child = subprocess.Popen(
        [sys.executable, str(script)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        env=os.environ | {"PYTHONPATH": os.pathsep.join([root, os.environ.get("PYTHONPATH", "")])},
    )
    assert child.stdout
    assert child.stdout.readline().strip().isdigit()  # the first chunk is done
    begun = time.monotonic()
    os.killpg(child.pid, signal.SIGINT)
    out, err = child.communicate(timeout=60)
    assert child.returncode == 130
    assert out.strip().endswith("stopped")
    assert err == ""
    assert time.monotonic() - begun < 30
    while _group_lives(child.pid) and time.monotonic() - begun < 60:
        time.sleep(0.1)
    assert not _group_lives(child.pid)


def _group_lives(group: int) -> bool:
    """Whether any process of a group is left."""
    try:
        os.killpg(group, 0)
    except ProcessLookupError:
        return False
    return True
