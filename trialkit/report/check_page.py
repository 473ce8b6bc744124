"""`check_html`: what a check found, as a page to send to whoever can put it right."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from trialkit.pages.safe_text import safe_results, safe_text
from trialkit.pages.shell import content_security_policy, environment, page_style
from trialkit.report.page import TEMPLATES
from trialkit.words.phrases import count, date_words

if TYPE_CHECKING:
    from trialkit.rules.check import CheckResult, RecordPlace
    from trialkit.tables.problem import Problem

MOST_ALIKE = 5
# A volunteer can answer for what was written down in the garden; how the trial was set up is the adviser's.
RECORD_FILES = ("heads.csv", "solution.csv", "visits.csv")
RECORD_RULES = ("TK-H",)


@dataclass(frozen=True)
class Finding:
    """One thing to look at: where, what stands there, what was expected."""

    where: str
    found: str
    expected: str


@dataclass(frozen=True)
class Topic:
    """Findings of one kind in one column, with why it matters and what to do.

    `more` counts those that are not listed; `must` is whether the answer waits for them.
    """

    rule: str
    title: str
    column: str
    why: str
    mends: tuple[str, ...]
    findings: tuple[Finding, ...]
    more: int
    must: bool


@dataclass(frozen=True)
class Part:
    """What one garden, or the adviser, is asked."""

    name: str
    topics: tuple[Topic, ...]

    @property
    def questions(self) -> int:
        """How many things there are to look at."""
        return sum(len(topic.findings) + topic.more for topic in self.topics)


def check_html(result: CheckResult, title: str, site: str | None = None) -> str:
    """Write what a check found as one self-contained HTML page.

    Parameters
    ----------
    result : CheckResult
    title : str
        Title of the trial.
    site : str, optional
        The garden whose records the page is about; without it, all gardens and what the adviser has to mend.

    Returns
    -------
    str
        Without script, the same text for the same result.
    """
    gardens = [site] if site else asked_gardens(result)
    parts = [_part(result, name) for name in gardens]
    own = None if site else _adviser_part(result)
    style = page_style() + (TEMPLATES / "check.css").read_text(encoding="utf-8")
    return (
        environment(TEMPLATES)
        .get_template("check.html.jinja")
        .render(
            title=safe_text(title),
            garden=safe_text(result.sites.get(site, site)) if site else "",
            greeting=_greeting(parts if site else [*parts, *([own] if own else [])], bool(site)),
            parts=[part for part in ([own] if own and own.topics else []) + parts if part.topics],
            style=style,
            policy=content_security_policy(style),
        )
    )


def asked_gardens(result: CheckResult) -> tuple[str, ...]:
    """Name the gardens with something to look at, in the order of sites.csv."""
    asked = {_garden(result, problem) for problem in result.problems}
    return tuple(site for site in result.sites if site in asked)


def _garden(result: CheckResult, problem: Problem) -> str:
    """Name the garden whose volunteer can answer for a problem; nothing if it is the adviser's."""
    place = _place(result, problem)
    if place is None or place.site not in result.sites:
        return ""
    return place.site if problem.file in RECORD_FILES or problem.rule.startswith(RECORD_RULES) else ""


def _place(result: CheckResult, problem: Problem) -> RecordPlace | None:
    return result.places.get((problem.file, problem.row)) if problem.row else None


def _part(result: CheckResult, site: str) -> Part:
    own = [problem for problem in result.problems if _garden(result, problem) == site]
    return Part(safe_text(result.sites.get(site, site)), _topics(result, own, with_file=False))


def _adviser_part(result: CheckResult) -> Part:
    own = [problem for problem in result.problems if not _garden(result, problem)]
    return Part("For the adviser", _topics(result, own, with_file=True))


def _topics(result: CheckResult, problems: Iterable[Problem], *, with_file: bool) -> tuple[Topic, ...]:
    """Group problems of one rule in one column; what must be mended comes first."""
    from trialkit.tables.rule_book import RULES

    groups: dict[tuple[str, str, str | None], list[Problem]] = {}
    for problem in problems:
        groups.setdefault((problem.rule, problem.file, problem.column), []).append(problem)
    topics = []
    for (rule, file, column), group in groups.items():
        shown = group[:MOST_ALIKE]
        topics.append(
            Topic(
                rule=rule,
                title=RULES[rule].title,
                column=_column_title(file, column) if file != "layout.csv" else "",
                why=RULES[rule].why,
                mends=tuple(dict.fromkeys(safe_text(problem.mend) for problem in shown)),
                findings=tuple(_finding(result, problem, with_file=with_file) for problem in shown),
                more=len(group) - len(shown),
                must=any(problem.severity == "error" for problem in group),
            )
        )
    return tuple(sorted(topics, key=lambda topic: not topic.must))


def _finding(result: CheckResult, problem: Problem, *, with_file: bool) -> Finding:
    place = _place(result, problem)
    row = [f"row {problem.row}" if problem.file.endswith(".csv") else f"line {problem.row}"] if problem.row else []
    record = _record_words(place.key) if place else ""
    where = ", ".join([problem.file, *row, record] if with_file else [record]).strip(", ")
    safe = safe_results({"where": where, "found": problem.found, "expected": problem.expected})
    return Finding(**safe)


def _record_words(key: Mapping[str, str]) -> str:
    """Name a record as a gardener would: bucket 334X, head 2.

    Examples
    --------
    >>> _record_words({"bucket": "334X", "head": "2"})
    'bucket 334X, head 2'
    >>> _record_words({"bucket": "334X", "measured_on": "2026-08-20"})
    'bucket 334X, 20 August 2026'
    """
    words = []
    for column, text in key.items():
        if column.endswith("_on"):
            words.append(date_words(text) or "no date")
        elif column != "site":
            words.append(f"{column} {text or '?'}")
    return ", ".join(words) or "visit"


def _column_title(file: str, column: str | None) -> str:
    """Name a column as forms do; a key of the protocol, or a column that no schema knows, by itself."""
    from trialkit.tables.table_schema import TABLE_NAMES, load_schema

    if column is None:
        return ""
    schema = next((load_schema(name) for name in TABLE_NAMES if f"{name}.csv" == file), None)
    if schema is None or column not in schema.columns:
        return safe_text(column)
    field = schema.field(column)
    return f"{field.title}, {field.unit}" if field.unit and "[" not in field.unit else field.title


def _greeting(parts: Sequence[Part], for_garden: bool) -> str:
    questions = sum(part.questions for part in parts)
    must = sum(len(topic.findings) + topic.more for part in parts for topic in part.topics if topic.must)
    if not questions:
        return "Everything that was written down is in order. There is nothing to do."
    thanks = "Thank you for your records. " if for_garden else ""
    asked = f"{count(questions, 'thing')} {'needs' if questions == 1 else 'need'} a second look"
    if not must:
        return f"{thanks}{asked}; nothing has to be changed if it is right as it stands."
    which = "it" if must == questions == 1 else "all of them" if must == questions else f"{must} of them"
    return f"{thanks}{asked}. The answer of the trial waits for {which}."
