"""Everything public is documented, with an example that runs (the package's examples run as its doctests)."""

import dataclasses
import doctest
import inspect
from functools import cached_property
from pathlib import Path
from typing import Any

import pytest

import trialkit.mixed
from trialkit.mixed import BinomialFit, MixedFit, Refits


def documented(owner: type, name: str) -> Any:
    """What holds the docstring of a method or property."""
    member = inspect.getattr_static(owner, name)
    if isinstance(member, property):
        return member.fget
    return member.func if isinstance(member, cached_property) else member


def members() -> dict[str, Any]:
    """Public names of the package, and public methods and properties of its results."""
    found = {name: getattr(trialkit.mixed, name) for name in trialkit.mixed.__all__}
    for owner in (MixedFit, BinomialFit, Refits):
        fields = {field.name for field in dataclasses.fields(owner)}
        names = [name for name in dir(owner) if not name.startswith("_") and name not in fields]
        found |= {f"{owner.__name__}.{name}": documented(owner, name) for name in names}
    return found


MEMBERS = members()
PAGE = Path(__file__).parents[2] / "reports" / "engine.md"


@pytest.mark.parametrize("name", MEMBERS)
def test_public_names_have_a_docstring_with_an_example(name: str) -> None:
    """Each public name has a summary line and an example; what returns something says what."""
    text = inspect.getdoc(MEMBERS[name]) or ""
    assert text.splitlines()[0].strip()
    assert ">>>" in text
    if inspect.isfunction(MEMBERS[name]):
        assert "Returns\n-------" in text
        parameters = [p for p in inspect.signature(MEMBERS[name]).parameters if p != "self"]
        assert not parameters or "Parameters\n----------" in text
        assert all(parameter in text for parameter in parameters)


@pytest.mark.parametrize("owner", [MixedFit, BinomialFit, Refits])
def test_fields_are_described(owner: type) -> None:
    """Each field of a result stands under its Attributes."""
    text = inspect.getdoc(owner) or ""
    attributes = text[text.index("Attributes\n") :]
    assert all(field.name in attributes for field in dataclasses.fields(owner))


def test_public_names_are_shown() -> None:
    """What completes at the prompt is what is public, and the trial of the examples."""
    assert dir(trialkit.mixed) == sorted([*trialkit.mixed.__all__, "example"])
    assert {"fit_mixed", "fit_binomial", "compare_fits", "refit_many", "MixedFit"} <= set(trialkit.mixed.__all__)


def test_every_refusal_is_of_one_kind() -> None:
    """Each exception of the package is a `MixedModelError`, so that one `except` catches them all."""
    kinds = [kind for kind in MEMBERS.values() if inspect.isclass(kind) and issubclass(kind, Exception)]
    assert len(kinds) == 7
    assert all(issubclass(kind, trialkit.mixed.MixedModelError) for kind in kinds)


def test_the_page_for_statisticians_runs_and_shows_everything() -> None:
    """Every example of reports/engine.md gives what stands under it; each public name is on the page."""
    options = doctest.NORMALIZE_WHITESPACE | doctest.IGNORE_EXCEPTION_DETAIL
    assert doctest.testfile(str(PAGE), module_relative=False, optionflags=options).failed == 0
    text = PAGE.read_text(encoding="utf-8")
    shown = {name.rsplit(".", 1)[-1] for name in MEMBERS} - {"MixedFit", "BinomialFit", "Refits"}
    assert [name for name in sorted(shown) if name not in text] == []
