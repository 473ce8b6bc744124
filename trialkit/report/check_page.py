"""`check_html`: what a check found, as a page to send to whoever can put it right."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from trialkit.pages.safe_text import safe_text
from trialkit.pages.shell import page_style, render_page
from trialkit.report.page import TEMPLATES
from trialkit.words.problem_words import told_problem
from trialkit.words.record_check_words import MOST_ALIKE, column_words, greeting, place_words

if TYPE_CHECKING:
    from trialkit.documents.problems import Problem, ToldProblem
    from trialkit.rules.trial_folder import CheckResult, RecordPlace

# A volunteer can answer for what was written down in the garden; how the trial was set up is the adviser's.
RECORD_FILES = ("heads.csv", "solution.csv", "visits.csv")
RECORD_RULES = ("TK-H",)


@dataclass(frozen=True)
class ListedProblem:
    """One thing to look at: where, what stands there, what was expected."""

    where: str
    found: str
    expected: str


@dataclass(frozen=True)
class CheckTopic:
    """Problems of one kind in one column, with why it matters and what to do.

    `more` counts those that are not listed; `must` is whether the answer waits for them.
    """

    rule: str
    title: str
    column: str
    why: str
    ways_to_fix: tuple[str, ...]
    problems: tuple[ListedProblem, ...]
    more: int
    must: bool

    @property
    def questions(self) -> int:
        """How many things there are to look at."""
        return len(self.problems) + self.more


@dataclass(frozen=True)
class CheckPart:
    """What one garden, or the adviser, is asked."""

    name: str
    topics: tuple[CheckTopic, ...]


def check_html(result: CheckResult, title: str, site: str | None = None) -> str:
    """Write what a check found as one self-contained HTML page.

    Parameters
    ----------
    result : CheckResult
    title : str
        Title of the trial.
    site : str, optional
        The garden whose records the page is about; without it, all gardens and what the adviser has to fix.

    Returns
    -------
    str
        Without script, the same text for the same result.
    """
    parts = [_garden_part(result, name) for name in ([site] if site else asked_gardens(result))]
    if site is None:
        parts.insert(0, _adviser_part(result))
    topics = [topic for part in parts for topic in part.topics]
    return render_page(
        TEMPLATES,
        "check.html.jinja",
        page_style() + (TEMPLATES / "check.css").read_text(encoding="utf-8"),
        title=safe_text(title),
        garden=safe_text(result.sites.get(site, site)) if site else "",
        greeting=greeting(
            sum(topic.questions for topic in topics),
            sum(topic.questions for topic in topics if topic.must),
            for_garden=site is not None,
        ),
        parts=[part for part in parts if part.topics],
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


def _garden_part(result: CheckResult, site: str) -> CheckPart:
    own = [problem for problem in result.problems if _garden(result, problem) == site]
    return CheckPart(safe_text(result.sites.get(site, site)), _topics(result, own, with_file=False))


def _adviser_part(result: CheckResult) -> CheckPart:
    own = [problem for problem in result.problems if not _garden(result, problem)]
    return CheckPart("For the adviser", _topics(result, own, with_file=True))


def _topics(result: CheckResult, problems: Sequence[Problem], *, with_file: bool) -> tuple[CheckTopic, ...]:
    """Group problems of one rule in one column; what must be fixed comes first."""
    groups: dict[tuple[str, str, str | None], list[Problem]] = {}
    for problem in problems:
        groups.setdefault((problem.rule, problem.file, problem.column), []).append(problem)
    topics = (_topic(result, group, with_file=with_file) for group in groups.values())
    return tuple(sorted(topics, key=lambda topic: not topic.must))


def _topic(result: CheckResult, group: Sequence[Problem], *, with_file: bool) -> CheckTopic:
    from trialkit.tables.rule_book import RULES

    first, shown = group[0], tuple(map(told_problem, group[:MOST_ALIKE]))
    return CheckTopic(
        rule=first.rule,
        title=RULES[first.rule].title,
        column=safe_text(column_words(first.file, first.column)) if first.file != "layout.csv" else "",
        why=RULES[first.rule].why,
        ways_to_fix=tuple(dict.fromkeys(safe_text(problem.how_to_fix) for problem in shown)),
        problems=tuple(_listed(result, problem, with_file=with_file) for problem in shown),
        more=len(group) - len(shown),
        must=any(problem.severity == "error" for problem in group),
    )


def _listed(result: CheckResult, problem: ToldProblem, *, with_file: bool) -> ListedProblem:
    place = _place(result, problem)
    where = place_words(problem, place.key if place else None, with_file=with_file)
    return ListedProblem(safe_text(where), safe_text(problem.found), safe_text(problem.expected))
