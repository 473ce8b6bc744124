"""Keys of trial.toml set as a hand would: what else stands there stays."""

from __future__ import annotations

import tomllib
from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trialkit.domain.errors import WrongCall
from trialkit.protocol.setting import as_typed, path_of, value_from, with_keys
from trialkit.protocol.starting import NewTrial, new_trial_text
from trialkit.protocol.trial_protocol import parse_protocol

TEXT = new_trial_text(NewTrial("Which?", ["Fenleaf", "Paleheart"], [], [], ["FERN"], {"cultivar": "Fenleaf"}, 1))
CHANGES: dict[tuple[str, ...], object] = {
    ("layout", "blocks"): 2,
    ("trial", "season"): 'a "spring" of 2028',
    ("trial", "blind"): True,
    ("schedule", "sow_on"): date(2028, 2, 1),
    ("schedule", "harvest_after_days"): [30, 50],
    ("limits", "sites"): 4,
    ("variation", "head_sd_g"): 3.5,
    ("decision", "current_practice", "cultivar"): "Paleheart",
    ("factors", "dose", "levels"): [2.5],
    ("factors", "dose", "product"): "Gartenquell, 4-18-38",
    ("factors", "dose", "parts", "calcium nitrate 15.5-0-0"): 0.5,
}


def _data(text: str, path: tuple[str, ...]) -> Any:
    found: Any = tomllib.loads(text)
    for part in path:
        found = found.get(part, {})
    return found


@given(st.lists(st.sampled_from(sorted(CHANGES)), unique=True), st.sampled_from(["\n", "\r\n"]))
def test_just_those_keys_are_set_and_taken_away(paths: list[tuple[str, ...]], end: str) -> None:
    """Whatever is set together: the data differ by that alone, every remark is there, and taking away undoes it."""
    text = TEXT.replace("\n", end)
    changes = {path: CHANGES[path] for path in paths}
    changed = with_keys(text, changes)
    assert {path: _data(changed, path) for path in paths} == changes
    before, after = (_flat(tomllib.loads(one)) for one in (text, changed))
    assert {key: value for key, value in after.items() if key not in changes} == {
        key: value for key, value in before.items() if key not in changes
    }
    examples = {f"# {path[-1]} =" for path in paths}  # an example becomes the setting
    for line in text.splitlines():
        remark = line.partition("#")[2]
        assert remark.rpartition("#")[2] in changed or any(line.startswith(one) for one in examples)
    assert (changed.count("\r\n") == changed.count("\n")) == (end == "\r\n")
    back = with_keys(changed, {path: before.get(path) for path in paths})
    assert _flat(tomllib.loads(back)) == before
    assert with_keys(changed, changes) == changed


def _flat(data: dict[str, Any], path: tuple[str, ...] = ()) -> dict[tuple[str, ...], Any]:
    found: dict[tuple[str, ...], Any] = {}
    for key, value in data.items():
        found |= _flat(value, (*path, key)) if isinstance(value, dict) else {(*path, key): value}
    return found


def test_an_example_becomes_the_setting() -> None:
    """In its place, with its remark; the rest of the file stays to the byte."""
    changed = with_keys(TEXT, {("trial", "season"): "spring 2028"})
    old, new = (set(text.splitlines()) for text in (TEXT, changed))
    assert (old - new, new - old) == ({'# season = "autumn 2026"'}, {'season = "spring 2028"'})
    assert parse_protocol(changed).trial.season == "spring 2028"


@pytest.mark.parametrize("path", sorted(CHANGES))
def test_values_are_read_as_they_are_typed(path: tuple[str, ...]) -> None:
    """What a command shows is read again as the same value."""
    assert value_from(path, as_typed(path, CHANGES[path])) == CHANGES[path]


@pytest.mark.parametrize(
    ("path", "text", "value"),
    [
        (("trial", "season"), "2028", "2028"),
        (("trial", "season"), '"2028"', "2028"),
        (("trial", "question"), '"Which" is best?', '"Which" is best?'),
        (("layout", "kind"), "split-plot", "split-plot"),
        (("layout", "blocks"), "two", "two"),
        (("decision", "current_practice", "cultivar"), "Fenleaf", "Fenleaf"),
        (("decision", "current_practice", "dose"), "4.5", 4.5),
        (("limits", "sites"), "1\nb = 2", "1\nb = 2"),
        (("limits", "sites"), "", None),
    ],
)
def test_a_value_is_what_the_key_takes(path: tuple[str, ...], text: str, value: object) -> None:
    """A text needs no marks; a number is one; two lines are no value."""
    assert value_from(path, text) == value


@pytest.mark.parametrize("key", ["", "layout", "a b.c", "a = 1\nb.c", "x." * 200 + "y", "trial.[season]"])
def test_what_is_no_key_is_refused(key: str) -> None:
    """Whatever stands there."""
    with pytest.raises(WrongCall, match="no key of trial"):
        path_of(key)


def test_no_key_leads_through_a_value() -> None:
    """A text has no keys of its own."""
    with pytest.raises(WrongCall, match="title has a value"):
        with_keys(TEXT, {("trial", "title", "size"): 1})
