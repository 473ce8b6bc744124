"""`check_html`: what a check found, as a page to send to whoever can put it right."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

from trialkit.languages import ENGLISH, gettext, speaking
from trialkit.pages.running_lines import Corner, running_lines
from trialkit.pages.safe_text import safe_text
from trialkit.pages.shell import page_style, render_page
from trialkit.report.page import TEMPLATES
from trialkit.words.check_card_words import check_verdict, more_files, next_steps, of_file
from trialkit.words.problem_words import told_problem
from trialkit.words.question_words import (
    OF_THE_GARDEN,
    answers_asked,
    asked_about,
    asked_record,
    more_words,
    question_words,
    template_of,
)
from trialkit.words.record_check_words import MOST_ALIKE, column_words, greeting, place_words

if TYPE_CHECKING:
    from trialkit.documents.problems import Problem, ToldProblem
    from trialkit.rules.trial_folder import CheckResult, RecordPlace

# A volunteer can answer for what was written down in the garden; how the trial was set up is the adviser's.
RECORD_FILES = ("heads.csv", "solution.csv", "visits.csv")
RECORD_RULES = ("TK-H",)
MOST_FILES = 5
"""Of files that the adviser's card names."""
MOST_ASKED_ALIKE = 12
"""Of more records a garden is not asked the same one by one."""


@dataclass(frozen=True)
class ListedProblem:
    """One thing to look at: where, what stands there, what was expected."""

    where: str
    found: str
    expected: str


@dataclass(frozen=True)
class CheckTopic:
    """Problems of one kind in one column, with why it matters and what to do: for the adviser.

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


@dataclass(frozen=True)
class AskedRecord:
    """One record that a question is about."""

    number: Annotated[int, "Of the answer, on the page of its garden."]
    record: Annotated[str, "Which of its bucket's; empty where it is about all of them."]
    found: Annotated[str, "What we read; empty where nothing stands there."]
    expected: str
    choices: Annotated[tuple[str, ...], "Answers to tick; without any, a line to write on."]
    must: Annotated[bool, "Whether the answer of the trial waits for it."]
    source: Annotated[str, "Where it stands, for the adviser."]


@dataclass(frozen=True)
class AskedQuestion:
    """A question about one bucket, and the records that it is asked of."""

    text: str
    records: tuple[AskedRecord, ...]


@dataclass(frozen=True)
class AskedBucket:
    """What is asked about one bucket, about the visits or about the garden."""

    name: str
    questions: tuple[AskedQuestion, ...]


@dataclass(frozen=True)
class GardenPart:
    """What one garden is asked."""

    name: str
    greeting: str
    buckets: tuple[AskedBucket, ...]
    more: Annotated[tuple[tuple[str, str], ...], "Questions asked of many more records, and of which."]


@dataclass(frozen=True)
class CheckCard:
    """What the adviser reads first."""

    verdict: str
    tone: Annotated[str, "Class of the style sheet."]
    greeting: str
    files: Annotated[tuple[tuple[str, str, str], ...], "Name, what must be done in it, what else."]
    more: Annotated[str, "Of how many files more there is something."]
    steps: Annotated[tuple[str, ...], "What to do next."]


def check_html(result: CheckResult, title: str, site: str | None = None) -> str:
    """Write what a check found as one self-contained HTML page.

    Parameters
    ----------
    result : CheckResult
    title : str
        Title of the trial.
    site : str, optional
        The garden whose records the page is about, with places to answer, by bucket, in its language; without it, all
        gardens and what the adviser has to fix, in English.

    Returns
    -------
    str
        Without script, the same text for the same result.
    """
    with speaking(result.languages.get(site, ENGLISH) if site else ENGLISH):
        return _page(result, title, site)


def _page(result: CheckResult, title: str, site: str | None) -> str:
    gardens = [garden_part(result, name) for name in ([site] if site else asked_gardens(result))]
    garden = result.sites.get(site, site) if site else ""
    contact = safe_text(gettext(result.contact)) if result.contact else ""
    lines: dict[Corner, str] = {"top-left": garden or "Records to look at", "top-right": title}
    if garden and contact:
        lines["bottom-left"] = gettext("Send back to: {contact}", contact=contact)
    return render_page(
        TEMPLATES,
        "check.html.jinja",
        page_style() + (TEMPLATES / "check.css").read_text(encoding="utf-8") + running_lines(lines),
        title=safe_text(title),
        garden=safe_text(garden),
        contact=contact,
        greeting=gardens[0].greeting if site else "",
        card=None if site else _card(result),
        topics=() if site else _topics(result, [one for one in result.problems if not _garden(result, one)]),
        gardens=gardens,
    )


def _card(result: CheckResult) -> CheckCard:
    must, questions = len(result.errors), len(result.problems)
    by_file: dict[str, list[Problem]] = {}
    for problem in sorted(result.problems, key=lambda one: one.severity != "error"):
        by_file.setdefault(problem.file, []).append(problem)
    files = tuple(
        (safe_text(file), *of_file(len(those), sum(one.severity == "error" for one in those)))
        for file, those in by_file.items()
    )
    advisers = sum(not _garden(result, problem) for problem in result.problems)
    asked = [safe_text(result.sites.get(site, site)) for site in asked_gardens(result)]
    return CheckCard(
        verdict=check_verdict(questions, must),
        tone="retest" if must else "keep",
        greeting=greeting(questions, must),
        files=files[:MOST_FILES],
        more=more_files(len(files[MOST_FILES:])),
        steps=tuple(next_steps(advisers, asked, must)) if questions else (),
    )


def asked_gardens(result: CheckResult) -> tuple[str, ...]:
    """Name the gardens with something to look at, in the order of sites.csv."""
    asked = {_garden(result, problem) for problem in result.problems}
    return tuple(site for site in result.sites if site in asked)


def _garden(result: CheckResult, problem: Problem) -> str:
    """Name the garden whose volunteer can answer for a problem; nothing if it is the adviser's."""
    place = _place(result, problem)
    if place is None or place.site not in result.sites or template_of(problem) is None:
        return ""
    return place.site if problem.file in RECORD_FILES or problem.rule.startswith(RECORD_RULES) else ""


def _place(result: CheckResult, problem: Problem) -> RecordPlace | None:
    return result.places.get((problem.file, problem.row)) if problem.row else None


def garden_part(result: CheckResult, site: str) -> GardenPart:
    """Ask one garden, in the language that is spoken."""
    own = [problem for problem in result.problems if _garden(result, problem) == site]
    alike: dict[tuple[str, str, str | None], list[Problem]] = {}
    for problem in own:
        alike.setdefault((problem.rule, problem.file, problem.column), []).append(problem)
    listed = {id(problem) for group in alike.values() for problem in group[:MOST_ASKED_ALIKE]}
    by_bucket: dict[str, list[Problem]] = {}
    for problem in own:
        if id(problem) in listed:
            by_bucket.setdefault(_about(result, problem), []).append(problem)
    numbers = itertools.count(1)
    errors = sum(problem.severity == "error" for problem in own)
    return GardenPart(
        safe_text(result.sites.get(site, site)),
        answers_asked(len(own), len(_buckets(result, own)), errors),
        tuple(
            AskedBucket(safe_text(name), tuple(_questions(result, problems, numbers)))
            for name, problems in sorted(by_bucket.items())  # buckets, then the garden, then visits
        ),
        tuple(
            (question_words(rest[0]).question, safe_text(more_words(_buckets(result, rest), len(rest))))
            for rest in (group[MOST_ASKED_ALIKE:] for group in alike.values())
            if rest
        ),
    )


def _about(result: CheckResult, problem: Problem) -> str:
    return asked_about(_key(result, problem).get("bucket", ""), whole_garden=problem.rule in OF_THE_GARDEN)


def _key(result: CheckResult, problem: Problem) -> dict[str, str]:
    place = _place(result, problem)
    return dict(place.key) if place else {}


def _buckets(result: CheckResult, problems: Sequence[Problem]) -> list[str]:
    """Name the buckets that some problems are about, each once."""
    of_buckets = (problem for problem in problems if problem.rule not in OF_THE_GARDEN)
    return [bucket for bucket in dict.fromkeys(_key(result, one).get("bucket", "") for one in of_buckets) if bucket]


def _questions(result: CheckResult, problems: Sequence[Problem], numbers: Iterator[int]) -> Iterator[AskedQuestion]:
    """Ask about a bucket; the same question of several heads or days stands once."""
    by_question: dict[str, list[Problem]] = {}
    for problem in problems:
        by_question.setdefault(question_words(problem).question, []).append(problem)
    for question, group in by_question.items():
        yield AskedQuestion(question, tuple(_asked(result, problem, next(numbers)) for problem in group))


def _asked(result: CheckResult, problem: Problem, number: int) -> AskedRecord:
    words = question_words(problem)
    return AskedRecord(
        number,
        "" if problem.rule in OF_THE_GARDEN else safe_text(asked_record(_key(result, problem))),
        safe_text(words.found),
        safe_text(words.expected),
        words.choices,
        problem.severity == "error",
        f"{problem.file}, row {problem.row}, {problem.rule}",
    )


def _topics(result: CheckResult, problems: Sequence[Problem]) -> tuple[CheckTopic, ...]:
    """Group problems of one rule in one column; what must be fixed comes first."""
    groups: dict[tuple[str, str, str | None], list[Problem]] = {}
    for problem in problems:
        groups.setdefault((problem.rule, problem.file, problem.column), []).append(problem)
    topics = (_topic(result, group) for group in groups.values())
    return tuple(sorted(topics, key=lambda topic: not topic.must))


def _topic(result: CheckResult, group: Sequence[Problem]) -> CheckTopic:
    from trialkit.tables.rule_book import RULES

    first, shown = group[0], tuple(map(told_problem, group[:MOST_ALIKE]))
    return CheckTopic(
        rule=first.rule,
        title=RULES[first.rule].title,
        column=safe_text(column_words(first.file, first.column)) if first.file != "layout.csv" else "",
        why=RULES[first.rule].why,
        ways_to_fix=tuple(dict.fromkeys(safe_text(problem.how_to_fix) for problem in shown)),
        problems=tuple(_listed(result, problem) for problem in shown),
        more=len(group) - len(shown),
        must=any(problem.severity == "error" for problem in group),
    )


def _listed(result: CheckResult, problem: ToldProblem) -> ListedProblem:
    place = _place(result, problem)
    where = place_words(problem, place.key if place else None)
    return ListedProblem(safe_text(where), safe_text(problem.found), safe_text(problem.expected))
