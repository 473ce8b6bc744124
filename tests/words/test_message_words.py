"""Every message of a rule or a return is written once, and is given the facts that it says."""

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from trialkit.documents.problems import Fact, facts
from trialkit.tables.problem import problem
from trialkit.tables.rule_book import RULES
from trialkit.words.message_words import MessageWords, fill_in, names_in
from trialkit.words.problem_words import ACCEPTED, MESSAGES, VALUES, problem_sentence
from trialkit.words.repair_words import RETURN_MESSAGES

ROOT = Path(__file__).parents[2] / "trialkit"
BELOW_WORDS = [p for name in ("tables", "protocol", "rules", "returns") for p in sorted((ROOT / name).glob("*.py"))]
# Where a call that makes a message has its case; the rule is always first.
CASE_AT = {"problem": 2, "at_key": 2, "at_rows": 4, "broken_rule": 1, "Fault": 1,
           "note": 2, "refuse": 2, "ask": 2, "ask_option": 3, "give_up": 1}  # fmt: skip
GIVEN = {"file", "column", "answers", "text", "of_rule", "of_column", "of_table", "which", "differences", "cause",
         "most_read", "found_there"}  # fmt: skip
"""What words know of any message, from its place, the rule book, the schema, a budget or an earlier message."""
DEFAULTS = MessageWords("")


@dataclass(frozen=True)
class Call:
    """A call that makes a message of a rule; no facts where they are handed on."""

    where: str
    rule: str
    case: ast.expr | None
    facts: frozenset[str] | None


def calls() -> Iterator[Call]:
    """Find every call that makes a message with its rule written out, but for options that were given."""
    for path in BELOW_WORDS:
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if not isinstance(node, ast.Call) or not node.args:
                continue
            name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            rule, names = node.args[0], {keyword.arg for keyword in node.keywords}
            if name in CASE_AT and isinstance(rule, ast.Constant) and "option" not in names:  # an option says itself
                case = node.args[CASE_AT[name]] if len(node.args) > CASE_AT[name] else None
                known = None if None in names or name == "Fault" else frozenset(filter(None, names))
                yield Call(f"{path.name}:{node.lineno}", str(rule.value), case, known)


def cases(expression: ast.expr | None) -> set[str]:
    """Return the cases that an expression may be; none if that is not written out."""
    if expression is None:
        return {""}
    if isinstance(expression, ast.IfExp):
        return cases(expression.body) | cases(expression.orelse)
    return {str(expression.value)} if isinstance(expression, ast.Constant) else set()


def said(message: MessageWords) -> set[str]:
    """Name the facts that a message says."""
    own = {name: text for name, text in vars(message).items() if text != getattr(DEFAULTS, name)}
    return {fact for text in own.values() for fact in names_in(text)}


def test_a_message_is_made_with_the_facts_that_it_says() -> None:
    """Else it could not be said, or would say less than is known."""
    messages = MESSAGES | RETURN_MESSAGES
    made = [(call, f"{call.rule} {case}".strip()) for call in calls() for case in cases(call.case)]
    assert len(made) > 200
    assert not [f"{call.where}: {code}" for call, code in made if code not in messages]
    short = [
        f"{call.where}: {code} needs {missing}"
        for call, code in made
        if call.facts is not None and (missing := said(messages[code]) - call.facts - GIVEN - {"became"})
    ]
    assert not short


def test_no_message_is_written_that_nothing_makes() -> None:
    """The case of every entry is named beside its rule; kinds of error are pydantic's, of limits the schema's."""
    texts = {path: path.read_text("utf-8") for path in BELOW_WORDS}
    named = {
        path: {node.value for node in ast.walk(ast.parse(text)) if isinstance(node, ast.Constant)}
        for path, text in texts.items()
    }
    kinds = {f"TK-P04 {kind}".strip() for kind in VALUES} | {f"TK-V1{n} {kind}" for n in range(4) for kind in ACCEPTED}
    for code in (MESSAGES | RETURN_MESSAGES).keys() - kinds:
        rule, case = code[:6], code[7:]
        assert rule in RULES
        assert any(rule in text and (not case or case in named[path]) for path, text in texts.items()), code


def test_a_strangers_text_is_no_template_and_steers_nothing() -> None:
    """Braces and control characters in a cell are shown, on one line."""
    told = problem_sentence(problem("TK-V02", "heads.csv", row=2, column="weight_g", text="{of_rule}[[x]]\x1b[2J\n"))
    assert told == (
        r'heads.csv, row 2, column weight_g: found "{of_rule}[[x]]\x1b[2J\n". Expected a number. '
        "Write the number in plain figures. [TK-V02]"
    )


def test_facts_that_are_not_given_are_left_out() -> None:
    """None is no fact, and what would say it is left out; without it a message is not said by halves."""
    assert facts(near=None, count=2) == (Fact("count", 2),)
    assert fill_in("{count} cells[[, near {near!q}]]", {"count": 2}) == "2 cells"
    with pytest.raises(KeyError):
        fill_in("{count} cells, near {near!q}", {"count": 2})
