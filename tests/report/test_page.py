"""The page as text: structure, safety, and the same bytes every time."""

from __future__ import annotations

import copy
import re
from collections import Counter
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser
from itertools import pairwise
from typing import Any, get_args

import pytest

from page_lines import page_lines
from sample_results import NAMES
from sentences import sentences, too_long
from trialkit.documents.decision import OtherReading, Verdict
from trialkit.documents.departures import Departure
from trialkit.documents.returns import Correction
from trialkit.domain.units import Measures
from trialkit.pages.numerals import tie
from trialkit.pages.shell import page_script
from trialkit.report.page import report_html
from trialkit.report.references import REFERENCES
from trialkit.words.cautions import cautions_for
from trialkit.words.decision_words import chances, given_up, what_it_rests_on, what_to_do
from trialkit.words.measures import MeasureSystem, nutrient_g_per_tsp
from trialkit.words.phrases import chance

FOUR_VERDICTS = {
    Verdict.CHANGE: "Change the default",
    Verdict.CHANGE_AND_TEST: "Change the default, and test again",
    Verdict.KEEP: "Keep the current practice",
    Verdict.KEEP_AND_TEST: "Keep the current practice, and test again",
}
VOID = {"meta", "link", "br", "hr", "img", "input"}


class Outline(HTMLParser):
    """Elements of a page with their attributes, and the text in each kind of element."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self._data: dict[str, list[str]] = {}
        self.feed(page)
        self.close()
        self.text = {tag: "".join(data) for tag, data in self._data.items()}

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Record an element; a repeated attribute would be lost silently."""
        assert len(dict(attrs)) == len(attrs)
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Record an element that closes itself."""
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        """Check that elements close in order."""
        assert tag == self.open.pop()

    def handle_data(self, data: str) -> None:
        """Collect text under every element that is open."""
        for tag in set(self.open):
            self._data.setdefault(tag, []).append(data)

    def all(self, tag: str) -> list[dict[str, str | None]]:
        """Attributes of every element of a kind."""
        return [attributes for name, attributes in self.elements if name == tag]


outline_of = cache(Outline)
"""Of a page that many tests read: it is taken apart once."""


@pytest.mark.parametrize("name", [name for name in NAMES if name not in set(Verdict)])
def test_the_same_results_give_the_same_page(pages: Any, name: str) -> None:
    """Writing the report twice changes no byte, and nothing in what it reads."""
    results = pages.results(name)
    before = copy.deepcopy(results)
    assert pages[name] == report_html(results)
    assert before == results


def test_a_page_stays_below_a_megabyte(pages: Any, name: str) -> None:
    """The page can be sent by mail."""
    assert len(pages[name].encode()) < 1_000_000


def test_a_page_runs_its_own_script_only_and_asks_for_nothing(pages: Any, name: str) -> None:
    """One script, without an address; no event attribute, no inline style, no address outside the page."""
    outline = outline_of(pages[name])
    assert [dict(attributes) for tag, attributes in outline.elements if tag == "script"] == [{}]
    assert outline.text["script"] == page_script()
    assert not {tag for tag, _ in outline.elements} & {
        "iframe",
        "object",
        "embed",
        "img",
        "form",
        "base",
        "a:href",
    }
    for tag, attributes in outline.elements:
        assert not [key for key in attributes if key.startswith("on") or key in ("style", "src", "srcset", "xmlns")]
        for key in ("href", "xlink:href", "action", "cite"):
            link = attributes.get(key)
            assert link is None or link.startswith("#") or (tag == "link" and link == "data:,")
    style = outline.text["style"]
    assert "url(" not in style
    assert "@import" not in style


def test_hostile_names_are_shown_as_text(pages: Any) -> None:
    """What an attacker typed can be read, and does nothing."""
    page, outline = pages["hostile"], outline_of(pages["hostile"])
    assert "<script>alert(1)</script>" in outline.text["h1"]
    assert "&lt;script&gt;alert(1)" in page
    assert "N" * 500 in page  # in full in the tables
    assert "{{ 7*7 }}" in outline.text["body"]
    assert "\u202e" not in page
    page.encode("utf-8")


def test_corrections_are_listed_with_their_reason(pages: Any) -> None:
    """Each value that was put right, folded away; a page without any does not speak of them."""
    made = Correction("heads", ("334X", "2"), "weight_g", "241", "142", "adviser", "2026-10-02", "read 241")
    text = Outline(report_html(replace(pages.results("variety"), corrections=(made,)))).text["main"]
    for said in ("heads.csv, 334X 2, weight_g", "241", "142", "adviser", "2026-10-02", "read 241"):
        assert said in text
    assert "What was put right in the records" not in outline_of(pages["variety"]).text["main"]


def test_departures_are_said_first_and_listed(pages: Any) -> None:
    """One sentence on the card, each in a table; a page without any does not speak of them."""
    results = pages.results("variety")
    made = Departure("334X", results.design.sites[0].site, "dose", 3.5, 30.0, "[tsp_us]", "2026-08-20", "wrong spoon")
    other = OtherReading("as_applied", results.decision.recommended, results.decision.verdict, True, 0.9, 0, 1)
    decision = replace(results.decision, other_readings=(other,))
    page = Outline(report_html(replace(results, decision=decision, departures=(made,))))
    text = page.text["main"]
    said = (
        f"1 of {results.design.buckets} buckets was not treated as assigned: 1 in dose. It counts as assigned here. "
        "Counted by what was really done, with 1 bucket left out, the answer would be the same."
    )
    assert said in text.split("What to mind")[1].split("What was tried")[0]
    for one in ("334X", "3½ level teaspoons", "30 level teaspoons", "2026-08-20", "wrong spoon"):
        assert one in text
    assert "not treated as assigned" not in outline_of(pages["variety"]).text["main"]


def test_the_policy_names_the_style_sheet_by_its_digest(pages: Any) -> None:
    """A browser dresses the page by its own style sheet and lets nothing else in."""
    import base64
    import hashlib

    outline = outline_of(pages["full"])
    policy = next(m["content"] for m in outline.all("meta") if m.get("http-equiv") == "Content-Security-Policy")
    digest = base64.b64encode(hashlib.sha256(outline.text["style"].encode()).digest()).decode()
    assert policy is not None
    assert "default-src 'none'" in policy
    assert f"style-src 'sha256-{digest}'" in policy
    ours = base64.b64encode(hashlib.sha256(page_script().encode()).digest()).decode()
    assert f"script-src 'sha256-{ours}'" in policy


def test_a_page_has_one_title_headings_in_order_and_landmarks(pages: Any, name: str) -> None:
    """A reader who jumps from heading to heading misses none."""
    outline = outline_of(pages[name])
    levels = [int(tag[1]) for tag, _ in outline.elements if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))
    assert [len(outline.all(tag)) for tag in ("header", "nav", "main", "footer")] == [1, 1, 1, 1]
    assert outline.all("html") == [{"lang": "en"}]
    ids = Counter(a["id"] for _, a in outline.elements if "id" in a)
    assert not [one for one, count in ids.items() if count > 1]
    targets = {a["href"][1:] for a in outline.all("a") if a.get("href")}
    assert targets <= set(ids)


def test_every_use_of_a_drawn_shape_finds_it(pages: Any, name: str) -> None:
    """Ids inside the pictures resolve, so that no mark is missing."""
    outline = outline_of(pages[name])
    ids = {a["id"] for _, a in outline.elements if "id" in a}
    assert {a["href"][1:] for a in outline.all("use") if a.get("href")} <= ids
    clips = {a["clip-path"] for _, a in outline.elements if a.get("clip-path")}
    assert {clip[5:-1] for clip in clips if clip} <= ids


def test_every_table_has_a_caption_and_scoped_headings(pages: Any, name: str) -> None:
    """Whoever hears a table knows what each cell belongs to."""
    outline = outline_of(pages[name])
    assert len(outline.all("table")) == len(outline.all("caption"))
    assert all(heading.get("scope") in ("col", "row") for heading in outline.all("th"))


@pytest.mark.parametrize(("verdict", "words"), FOUR_VERDICTS.items())
def test_each_verdict_is_said_in_words(pages: Any, verdict: Verdict, words: str) -> None:
    """The verdict, what is expected, both chances and what they rest on: in kitchen measures, metric ones and both."""
    page, results = outline_of(pages[verdict]).text["main"], pages.results(verdict)
    assert words in page
    grams = nutrient_g_per_tsp(results.water)
    assert grams is not None
    for measures in ("kitchen", "metric", "both"):
        decision, system = results.decision, MeasureSystem(measures, grams)
        meanings = [words for _, words in chances(decision, system)]
        for sentence in (
            what_to_do(decision, system),
            *meanings,
            given_up(decision),
            what_it_rests_on(decision, system),
        ):
            assert tie(sentence) in page
    for probability, _ in chances(results.decision):
        assert tie(chance(probability)) in page


def test_the_card_says_the_default_in_kitchen_measures(pages: Any) -> None:
    """The card names cultivar, level teaspoons and acid, and what changes."""
    card = outline_of(pages["full"]).text["dl"]
    assert "Fenleaf" in card
    assert "was Larkmoor Butter" in card
    assert "8 level teaspoons" in card
    assert "was 4\u00a0tsp" in card
    assert pages["full"].count('class="spoon"') == 8
    # What the feed has beside its base is on the card too: a reader may follow nothing else.
    assert "Then stir in" in card
    assert re.search(r"3 level teaspoons \(15\u00a0g\)\S.*\s+of calcium nitrate 15\.5-0-0 a bucket", card)


def test_without_an_answer_the_page_says_why(pages: Any) -> None:
    """A trial that could not be analysed has a page that says so."""
    text = outline_of(pages["undecided"]).text["main"]
    assert "No recommendation" in text
    assert "No marketable head was weighed" in text
    assert "No head has this record." in text
    assert "nothing to draw" in text
    assert not outline_of(pages["undecided"]).all("figure")


def test_a_response_that_was_not_analysed_says_why(pages: Any) -> None:
    """Days fixed by the plan are named as such."""
    said = "Not analysed: Every head of a garden was cut on one day. So the plan fixed the days"
    assert said in outline_of(pages["split plot"]).text["main"]


def test_the_tables_hold_every_number_a_statistician_wants(pages: Any) -> None:
    """The statistician's captions are there, and the current practice's difference is not compared with itself."""
    captions = outline_of(pages["full"]).text["caption"]
    for wanted in ("could be the default", "variation lies", "F tests", "every combination",
                   "Difference from the current practice", "How much things vary",
                   "SHA-256", "gardens", "by nutrient dose"):  # fmt: skip
        assert wanted in captions
    assert "< 0.001" in outline_of(pages["full"]).text["td"]


def test_cautions_and_references_are_on_every_page(pages: Any, name: str) -> None:
    """Whatever the answer, the hazards and the methods are named."""
    text = outline_of(pages[name]).text["main"]
    volume_l = pages.results(name).design.volume_l
    assert all(tie(caution.text) in text for caution in cautions_for("evidence", volume_l))
    assert all(reference.title in text for reference in REFERENCES)
    assert "Add acid to water, never water to acid" in text


def test_sentences_are_short(pages: Any, name: str) -> None:
    """Whatever a trial was like; of names that somebody made long on purpose nothing can be asked."""
    if name != "hostile":
        for way in get_args(Measures):
            lines = page_lines(pages[name], way)
            assert too_long([one for line in lines for one in sentences(line)]) == []
