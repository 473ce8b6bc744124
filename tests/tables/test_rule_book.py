"""The rule book and its documentation page."""

import re
from pathlib import Path

from trialkit.tables import rule_book

ROOT = Path(__file__).parents[2]


def test_the_page_is_that_of_the_rules() -> None:
    """reports/checks.md is what the rules print: python -m trialkit.tables.rule_book > reports/checks.md."""
    assert (ROOT / "reports" / "checks.md").read_text(encoding="utf-8") == rule_book.catalogue()


def test_every_rule_is_on_the_page_once() -> None:
    """No rule is left out because its letter has no group."""
    page = rule_book.catalogue()
    assert sorted(re.findall(r"^\| (TK-[A-Z]\d\d) ", page, flags=re.MULTILINE)) == sorted(rule_book.RULES)


def test_every_rule_is_raised_somewhere() -> None:
    """An identity that no code names is a rule that cannot be found; one that the book lacks has no documentation."""
    paths = [p for p in (ROOT / "trialkit").rglob("*.py") if p.name != "rule_book.py" and p.parent.name != "words"]
    sources = [p.read_text(encoding="utf-8") for p in paths]
    named = set(re.findall(r"TK-[A-Z]\d\d", "\n".join(sources)))
    assert named == set(rule_book.RULES)


def test_every_rule_is_described_for_the_documentation() -> None:
    """Each rule has an identity of one form, a title, a reason and a remedy."""
    for identity, entry in rule_book.RULES.items():
        assert identity == entry.identity
        assert identity[:3] == "TK-"
        assert len(identity) == 6
        assert entry.title
        assert not entry.title.endswith(".")
        assert entry.why.endswith(".")
        assert entry.how_to_fix.endswith(".")
