"""Damage of no planned kind: the check answers, whatever stands in the files."""

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from trialkit.rules.trial_folder import check_trial
from trialkit.tables.atomic import write_bytes
from trialkit.words.problem_words import problem_sentence

FILES = ["trial.toml", "sites.csv", "products.csv", "layout.csv", "solution.csv", "visits.csv", "heads.csv"]
# Bytes that mean something to a reader of CSV, TOML, dates or numbers, and some that mean nothing.
TELLING = [
    b'"', b",", b"\n", b"\r", b"\0", b"\xff", b"\xef\xbb\xbf", b"=", b"[", b"1e999", b"-", b"nan", b"{", b"\\u", b"''",
]  # fmt: skip
damage = st.tuples(
    st.sampled_from(FILES), st.floats(0, 1), st.integers(0, 40), st.sampled_from(TELLING) | st.binary(max_size=9)
)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(damage, min_size=1, max_size=4))
def test_no_damage_makes_the_check_crash(good_folder: Path, hits: list[tuple[str, float, int, bytes]]) -> None:
    """Bytes replaced at random give problems that can be shown, or a trial that can be analysed; never a crash."""
    good = {name: (good_folder / name).read_bytes() for name in FILES}
    try:
        for name, place, length, patch in hits:
            data = (good_folder / name).read_bytes()
            at = int(place * len(data))
            write_bytes(good_folder / name, data[:at] + patch + data[at + length :])
        result = check_trial(good_folder)
    finally:
        for name, data in good.items():
            write_bytes(good_folder / name, data)
    assert (result.trial is None) == bool(result.errors)
    for problem in result.problems:
        assert problem.file in FILES
        assert problem_sentence(problem).isprintable()
        assert len(problem_sentence(problem)) < 1000


@pytest.mark.parametrize("name", FILES)
def test_every_file_may_be_noise(good_folder: Path, name: str) -> None:
    """A file of noise gives at least one error, in that file."""
    write_bytes(good_folder / name, bytes(range(1, 256)) * 20)
    assert name in {problem.file for problem in check_trial(good_folder).errors}
