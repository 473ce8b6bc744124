"""What reading costs where a file was made to be dear: python tests/benchmarks/hostile.py [WORD] prints a table.

Aimed at: under 5 s and 300 MB for each, whatever its bytes, the interpreter's start included. WORD takes those whose
description holds it.
"""

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

LONGEST_S = 90


def measured(folder: Path, *arguments: str) -> tuple[float, float, str]:
    """Run trialkit; return processor seconds, peak megabytes and the last line that tells of an error."""
    began = time.perf_counter()
    with tempfile.TemporaryFile() as output:
        process = subprocess.Popen(
            [sys.executable, "-m", "trialkit", *arguments], cwd=folder, stdout=output, stderr=output
        )
        try:
            while time.perf_counter() - began < LONGEST_S:
                pid, status, usage = os.wait4(process.pid, os.WNOHANG)
                if pid:
                    process.returncode = os.waitstatus_to_exitcode(status)
                    break
                time.sleep(0.02)
            else:
                process.kill()
                _, _, usage = os.wait4(process.pid, 0)
                process.returncode = -9
        except BaseException:
            process.kill()
            raise
        output.seek(0)
        lines = output.read().decode("utf-8", "replace").splitlines()
    told = next((line for line in lines if "[TK-" in line or "Error" in line), lines[-1] if lines else "")
    return usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1000, f"{process.returncode}: {told[:150]}"


def prepare(place: Path, title: str) -> None:
    """Write a trial folder and the file into a place; this in a process of its own, whose memory counts for nothing."""
    from hostile_files import IN_THE_FOLDER, RETURNED
    from returned_files import good_return

    folder = good_return().write_trial(place / "trial")
    if title in RETURNED:
        name, make = RETURNED[title]
        (place / name).write_bytes(make())
        return
    name, make = IN_THE_FOLDER[title]
    (folder / name).parent.mkdir(exist_ok=True)
    (folder / "heads.csv").write_text(good_return().csv(), encoding="utf-8")
    (folder / name).write_bytes(make())


def main(word: str = "") -> None:
    """Print the table."""
    told = subprocess.run([sys.executable, __file__, "--titles"], check=True, capture_output=True, text=True).stdout
    print(f"{'file':55} {'s':>6} {'MB':>6}  what it says")
    for title in (title for title in told.splitlines() if word in title):
        with tempfile.TemporaryDirectory() as place:
            subprocess.run([sys.executable, __file__, "--prepare", place, title], check=True)
            others = [path.name for path in Path(place).iterdir() if path.name != "trial"]
            arguments = ["merge", ".", f"../{others[0]}"] if others else ["check", "."]
            seconds, megabytes, says = measured(Path(place) / "trial", *arguments)
        print(f"{title:55} {seconds:6.1f} {megabytes:6.0f}  {says}", flush=True)


def titles() -> None:
    """Print what each file is."""
    from hostile_files import IN_THE_FOLDER, RETURNED

    print(*RETURNED, *IN_THE_FOLDER, sep="\n")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--titles"]:
        titles()
    elif sys.argv[1:2] == ["--prepare"]:
        prepare(Path(sys.argv[2]), sys.argv[3])
    else:
        main(*sys.argv[1:2])
