"""One trial, one answer: results, terminal, report, page of the ledger and handout tell one dose, gain and chance."""

from __future__ import annotations

import html
import re
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from once import value_once
from small_trial import small_trial
from trialkit._resources import resource_folder
from trialkit.analysis import Results
from trialkit.documents.decision import Decision
from trialkit.documents.document import as_data, as_text
from trialkit.domain.treatment import Treatment
from trialkit.evidence.accepting import trial_entry
from trialkit.evidence.ledger import add
from trialkit.evidence.versions import recommend_anew
from trialkit.planning.next_trial import propose
from trialkit.report.evidence_page import evidence_html
from trialkit.report.handout import handout_html
from trialkit.report.page import report_html
from trialkit.rules.trial_folder import read_trial
from trialkit.steps.summary import summary
from trialkit.words.measures import spoons
from trialkit.words.phrases import chance

EXAMPLES = ("autumn_dose", "spring_dose", "volunteer_cultivars")
PRICE = "price_per_kg = 10\ndelay_cost_per_day = 0.02\n"
SMALL: dict[str, dict[str, Any]] = {
    "doses": {"sites": 4, "blocks": 2, "doses": 4, "seed": 11},
    "cultivars": {"sites": 5, "blocks": 2, "cultivars": 3, "seed": 12},
    "both": {"sites": 3, "blocks": 2, "cultivars": 2, "doses": 3, "seed": 13, "days": False},
    "money": {"sites": 3, "blocks": 3, "doses": 4, "seed": 14, "decision": PRICE},
    "acids": {"sites": 4, "blocks": 2, "acidifiers": 3, "seed": 15, "days": False},
    "whole plots": {"sites": 4, "blocks": 2, "cultivars": 2, "doses": 2, "whole_plot": "cultivar", "seed": 16},
    "kept": {
        "sites": 4,
        "blocks": 2,
        "cultivars": 2,
        "doses": 2,
        "seed": 17,
        "decision": "change_cost_g = 90\n",
        "days": False,
    },
}
SPOONS = r"((?:\d+)?[¼½¾⅛⅓⅔]|\d+(?:\.\d+)?) (?:level )?(?:teaspoons?|tsp)\b(?! of calcium nitrate)"
"""A dose: what goes in with the base of a feed is none."""
RECOMMENDS = re.compile(r"recommend|default to|our best choice|stir in \d|^Keep ", re.I)
BESIDE = re.compile(r"\bagainst\b.*|\bbeside\b.*|\bwas .*")
"""What is said in the same sentence of the current practice, or of the rivals of a next trial."""
MORE = re.compile(r"(\d+(?:\.\d+)?) g (more|less)\b(?! for each)")
LEFT_OPEN = re.compile(r"The records leave open (\d+)(?: g (more|less))? to (\d+) g (more|less)")
"""An interval of the gain."""
OF_THE_NEXT_TRIAL = "The chance that it changes what is recommended"
"""What is said of a trial that was not run yet is another chance."""
IN_100 = re.compile(r"((?:more|less) than )?(\d+(?:\.\d+)?) in 100\b")


@dataclass(frozen=True)
class Told:
    """What is said of one trial."""

    results: Results
    texts: dict[str, list[str]]
    defaults: Decision

    @property
    def decision(self) -> Decision:
        """The decision of the trial."""
        assert self.results.decision is not None
        return self.results.decision


def page_lines(page: str) -> list[str]:
    """Everything that a page says: text, titles and descriptions of figures, labels for those who do not see."""
    spoken = re.findall(r'(?:aria-label|alt|title|content)="([^"]*)"', page)
    shown = re.sub(r"<(style|script)\b.*?</\1>", " ", page, flags=re.S)
    shown = re.sub(r"</?(?:bdi|b|i|em|strong|tspan|span|small|a|abbr|sub|sup)\b[^>]*>", "", shown)
    lines = [*re.sub(r"<[^>]*>", "\n", shown).split("\n"), *spoken]
    return [line for line in (" ".join(html.unescape(line).split()) for line in lines) if line]


def terminal_lines(text: str) -> list[str]:
    """Paragraphs put together again; rows of the table, which begin with spaces, one by one."""
    lines: list[str] = []
    for line in text.split("\n"):
        goes_on = bool(lines) and line[:1].strip() and lines[-1][:1].strip()
        lines = [*lines[:-1], f"{lines[-1]} {line}"] if goes_on else [*lines, line]
    return lines


def sentences(lines: list[str]) -> Iterator[str]:
    """Sentences, what stands in brackets left out: that is of intervals, and of other measures."""
    for line in lines:
        plain = re.sub(r"\([^()]*\)", "", line)
        yield from re.split(r"(?<=[.:;])\s+(?=[A-Z])", plain)


def made(folder: Path, results: Results, trial: Path) -> Told:
    """Say everything of a trial, and of a ledger that holds it alone."""
    ledger = folder / "ledger"
    add(ledger, trial_entry(read_trial(trial), results, as_text(results).encode()), date(2026, 11, 1))
    defaults = recommend_anew(ledger, "0.1.0", propose).document
    texts = {
        "terminal": terminal_lines(summary(results)),
        "report": page_lines(report_html(results)),
        "evidence": page_lines(evidence_html(defaults)),
        "handout": page_lines(handout_html(defaults)),
    }
    return Told(results, texts, defaults.decision)


@pytest.fixture(scope="module", params=[*EXAMPLES, *SMALL])
def told(
    request: pytest.FixtureRequest,
    example_results: Callable[[str], Results],
    tmp_path_factory: pytest.TempPathFactory,
) -> Told:
    """All that is said of each of ten trials."""
    name = str(request.param)

    def make() -> Told:
        folder = tmp_path_factory.mktemp("one")
        if name in SMALL:
            about = 'season = "autumn 2026"\nstarted_on = 2026-08-20\n'
            results = small_trial(folder / "trial", id=name.replace(" ", "-"), about=about, **SMALL[name])
            return made(folder, results, folder / "trial")
        shutil.copytree(resource_folder("example_trials") / name, folder / "trial")
        return made(folder, example_results(name), folder / "trial")

    return value_once(tmp_path_factory, f"told-{name.replace(' ', '-')}", make)


def recommended_in(value: Any, inside: str = "") -> Iterator[dict[str, Any]]:
    """Treatments that a document calls recommended, wherever they stand."""
    if isinstance(value, dict):
        if value.get("is_recommended"):
            yield value["treatment"]
        for key, item in value.items():
            if "recommended" in key and isinstance(item, dict):
                yield item
            yield from recommended_in(item, key)
    elif isinstance(value, list):
        for item in value:
            yield from recommended_in(item, inside)


def test_results_name_one_treatment(told: Told) -> None:
    """Nothing in results.json calls another treatment recommended, or has a dose of its own to recommend."""
    data = as_data(told.results)
    found = list(recommended_in(data))
    assert len(found) == 2  # the decision's, and the candidate that it is
    assert found[0] == found[1] == as_data(told.decision.recommended)
    assert all("dose" not in response for response in data["responses"].values())
    points = told.decision.dose.points if told.decision.dose else ()
    own = [point for point in points if point.dose_tsp == told.decision.recommended.dose_tsp]
    assert [point.yield_g for point in own] == [pytest.approx(told.decision.chosen.yield_g)] * bool(points)


def test_a_ledger_of_one_trial_says_what_the_trial_says(told: Told) -> None:
    """The same verdict, treatment, gain and chances."""
    mine, ours = told.decision, told.defaults
    assert ours.verdict == mine.verdict
    assert _levels(ours.recommended, mine.recommended) == mine.recommended
    assert _levels(ours.alternative, mine.alternative) == mine.alternative
    for one, other in ((ours.chosen, mine.chosen), (ours.shown, mine.shown)):
        assert one.yield_g == pytest.approx(other.yield_g, rel=1e-6)
        assert one.probability_near_best == pytest.approx(other.probability_near_best, abs=1e-3)
        assert (one.gain is None) == (other.gain is None)
        if one.gain and other.gain:
            assert one.gain.estimate == pytest.approx(other.gain.estimate, abs=1e-4)
            assert one.probability_better == pytest.approx(other.probability_better, abs=1e-4)


def _levels(whole: Treatment, of: Treatment) -> Treatment:
    """Only the levels that another treatment has: a ledger names those that a trial kept the same, too."""
    return Treatment(**{column: level for column, level in whole.levels.items() if column in of.levels})


def test_one_dose(told: Told) -> None:
    """Every sentence that recommends a dose names the recommended one, and each text has such a sentence."""
    dose = told.decision.recommended.dose_tsp
    if dose is None:
        return
    for name, lines in told.texts.items():
        found = set()
        for sentence in sentences(lines):
            if RECOMMENDS.search(sentence):
                found |= set(re.findall(SPOONS, BESIDE.sub("", sentence)))
        assert found == {spoons(dose)}, (name, found)


def test_one_gain(told: Told) -> None:
    """Whatever is said to be so many grams more, or less, is the one expected gain."""
    gain = told.decision.shown.gain
    assert gain is not None
    for name, lines in told.texts.items():
        said = {
            float(number) * (1 if way == "more" else -1)
            for sentence in sentences(lines)
            for number, way in MORE.findall(LEFT_OPEN.sub("", sentence))
        }
        assert all(abs(value - gain.estimate) <= 0.5 for value in said), (name, said, gain)
        assert len(said) <= 1, (name, said)
    assert any(MORE.search(sentence) for sentence in sentences(told.texts["report"]))


def test_one_interval(told: Told) -> None:
    """Whatever the records are said to leave open is the interval of the gain; each page and the terminal tell it."""
    gain = told.decision.shown.gain
    assert gain is not None
    for name in ("terminal", "report", "evidence"):
        found = [match for line in told.texts[name] for match in LEFT_OPEN.findall(line)]
        assert found, name
        for first, its_way, last, way in found:
            ends = sorted(int(n) * (1 if w == "more" else -1) for n, w in ((first, its_way or way), (last, way)))
            assert ends == [pytest.approx(gain.lower, abs=0.5), pytest.approx(gain.upper, abs=0.5)], (name, found)


def test_one_measure_of_each_chance(told: Told) -> None:
    """Of the chance of being better one number is told, of that of being near the best another, and no third."""
    shown, chosen, rule = told.decision.shown, told.decision.chosen, told.decision.thresholds
    better = chance(shown.probability_better or 0.0)
    near = {chance(one.probability_near_best) for one in (shown, chosen)}
    asked = {f"{100 * rule.adopt_probability:g} in 100", f"{100 * rule.confidence:g} in 100"}
    for name, lines in told.texts.items():
        for sentence in sentences(lines):
            if OF_THE_NEXT_TRIAL in sentence:
                continue
            for match in IN_100.finditer(sentence):
                said = match.group(0)
                if re.search(r"chance\b.*\b(better|beats)\b", sentence[: match.start()]):
                    assert said == better, (name, sentence)
                else:
                    assert said in {better, *near, *asked}, (name, sentence)


def test_nobody_adopts(told: Told) -> None:
    """Changes are changes of the default: words of the old rule are gone."""
    for name, lines in told.texts.items():
        assert not re.search(r"\badopt", " ".join(lines), re.I), name
