"""Answers, plans and what a ledger has to say, in Spanish: whole, and every message that the desk may show is tried."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any, get_args

import pytest
from babel import Locale
from babel.messages.extract import extract_from_file

import trialkit.languages
from catalogue import KEYWORDS
from english_left import english_in
from sentences import sentences, too_long
from small_decision import BETWEEN, EVIDENCE, LARGE, LEAST, MOST, PRACTICE, THRESHOLDS, decide
from small_plan import small_plan
from small_recommended import ACID, GAIN, OLD, PROPOSED, bare_recommended, small_recommended, wordy_recommended
from trialkit.documents.decision import Decision, Evidence, Gain, NoDecision, OtherReading, Stood, TippingPoint, Verdict
from trialkit.documents.findings import HeadCounts, TreatmentLosses
from trialkit.documents.plan import DesignRow, Dropped, LimitName, Plan, PlanVerdict, Refusal
from trialkit.documents.recommended import GardenGain, PracticePart, Recommended, TrialName
from trialkit.documents.results import Results
from trialkit.domain.treatment import Treatment
from trialkit.domain.units import Measures
from trialkit.evidence.recommending import SUNS
from trialkit.languages import catalogue, speaking
from trialkit.steps.trial_steps import reason_for_none
from trialkit.words import decision_words, default_words, plan_words
from trialkit.words.decision_words import NO_DECISION_WORDS
from trialkit.words.measures import MeasureSystem, measures_of
from trialkit.words.treatment_names import treatment_words

WORDS = Path(decision_words.__file__).parent
MODULES = (
    "decision_words",
    "default_words",
    "departure_words",
    "dose_words",
    "loss_words",
    "plan_words",
    "treatment_names",
)
"""Modules all of whose translated messages are tried here."""
WAYS: tuple[Measures, ...] = get_args(Measures)
SYSTEMS = tuple(MeasureSystem(way, grams) for way in WAYS for grams in (None, 4.8))
NAMES = (
    *("Fenleaf", "Larkmoor Butter", "Paleheart", "Mossridge", ACID, "Blend L 9-12-30", "Thin Blend"),
    *("calcium nitrate 15.5-0-0", "magnesium sulfate 0-0-0", "trial-1", "trial-2", "STAT", "MILL", "school"),
)
IN_MONEY = {"unit": "currency a bucket", "thresholds": replace(THRESHOLDS, price_per_kg=10.0), "expected_loss": 0.123}
ALONE = replace(THRESHOLDS, margin_g=0.0)
UNTRIED = Stood(0, 0, 0)
ACIDS = Treatment("Mossridge", None, "none")
DECISIONS: tuple[dict[str, Any], ...] = (
    {},
    {"gain": Gain(0.2, -5.0, 6.0)},
    {"gain": Gain(-9.0, -28.0, -2.0)},
    {"gain": Gain(2.0, -12.2, 14.9), "near_best": 0.8996},
    {"near_best": 0.6, "better": 0.001, "expected_loss": 0.3},
    {"tipping": (TippingPoint(MOST, 12, 0.95, 0.3), TippingPoint(PRACTICE, 1, 0.9, None))},
    {"tipping": (TippingPoint(MOST, 1, 0.95, 0.3), TippingPoint(PRACTICE, 7, 0.9, None))},
    {"tipping": (TippingPoint(PRACTICE, 5, 0.5, 0.8),), "other_priors": (LEAST, MOST)},
    IN_MONEY,
    IN_MONEY | {"gain": Gain(-4.0, -9.0, 2.0)},
    IN_MONEY | {"gain": Gain(6.0, -9.0, 12.0)},
    IN_MONEY | {"thresholds": replace(ALONE, price_per_kg=10.0)},
    {"thresholds": ALONE},
    {"days_later": 12.0, "usable": (0.94, 0.8)},
    {"days_later": -3.68, "usable": (0.1, 1.0), "evidence": replace(EVIDENCE, failed_gardens=("STAT", "MILL"))},
    {"evidence": Evidence(90, 1, 2, ("spring 2026", "autumn 2026"), ()), "stood": Stood(24, 6, 2)},
    {"evidence": Evidence(1, 9, 2, ("winter 2026",), ())},
    {"evidence": replace(EVIDENCE, seasons=())},
    {"other": BETWEEN, "stood": UNTRIED},
    {"other": ACIDS, "stood": UNTRIED, "dose": None},
    *(
        {"other_readings": (OtherReading("all_lost", treatment, verdict, treatment == MOST, 0.9, heads, 0),)}
        for treatment, verdict in (
            (None, None),
            (LEAST, Verdict.CHANGE),
            (MOST, Verdict.CHANGE),
            (MOST, Verdict.CHANGE_AND_TEST),
        )
        for heads in (1, 48)
    ),
)
"""What may be so of a decision, each of which is said somehow."""
ASKED = small_plan().designs[0]
ROWS: tuple[dict[str, Any], ...] = (
    {"sites": 4, "buckets": 32, "value_g": 11.96},
    {"sites": 4, "value_g": 10.0},
    {"blocks": 1, "buckets": 12, "value_g": 9.24},
    {"kind": "volunteers", "buckets": 32, "sites": 16},
    {"heads": 1, "buckets": 8},
    {"kind": "practice buckets", "practice_buckets": 2},
    *(
        {"kind": "fewer levels", "dropped": Dropped(factor, level)}
        for factor, level in (("dose_tsp", 2.0), ("cultivar", None), ("cultivar", "Fenleaf"), ("acidifier", "none"))
    ),
)
"""Designs beside the one that was asked for."""


def answers() -> Iterator[str]:
    """What answers say, of every verdict in every measure."""
    for system in SYSTEMS:
        for verdict in Verdict:
            for changes in DECISIONS:
                yield from decision_words.sentences(_decide(verdict, **changes), system)


def _decide(verdict: Verdict, other: Treatment = MOST, gain: Gain = LARGE, **changes: Any) -> Decision:
    return decide(verdict, other, gain, **changes)


def news() -> Iterator[str]:
    """What a ledger says at the desk, in every measure."""
    for document in _documents():
        for way in WAYS:
            yield from default_words.answer(document, way)
            yield from default_words.changes(document, way)
            yield default_words.next_trial(document, way)
            yield default_words.why_next(document, way)


def _documents() -> Iterator[Recommended]:
    usual = small_recommended()
    then = usual.change
    assert then is not None
    yield from (usual, wordy_recommended(), bare_recommended())
    yield replace(usual, change=None, next_trial=None)
    yield replace(usual, recommended=then.recommended, next_trial=replace(PROPOSED, value_g=0.04, worth_it=False))
    idle = replace(PROPOSED, worth_it=False)
    yield replace(usual, decision=replace(usual.decision, verdict=Verdict.KEEP_AND_TEST), next_trial=idle)
    gone = replace(then, added=(), withdrawn=(TrialName("trial-1", ""),))
    yield replace(usual, change=gone, current=usual.recommended, next_trial=replace(PROPOSED, value_g=0.04))
    volunteers = replace(PROPOSED, block_size=3, acidifiers=(ACID, "none"), doses_tsp=(6.0,), cultivars=("Fenleaf",))
    volunteers = replace(volunteers, left_out=("STAT", "MILL"))
    parts = (PracticePart("calcium nitrate 15.5-0-0", 2.0, 5.0), PracticePart("magnesium sulfate 0-0-0", 0.1, 5.0))
    suns = tuple(GardenGain("sun", name, 2, False, GAIN) for name, _, _ in SUNS)
    yield replace(usual, change=replace(then, added=()), next_trial=volunteers, by_garden=suns)
    for fed in (
        then.recommended,
        replace(then.recommended, nutrient_g_per_tsp=None),
        replace(then.recommended, parts=parts),
    ):
        yield replace(usual, recommended=replace(fed, product="Thin Blend", treatment=replace(OLD, dose_tsp=12.0)))


def plans() -> Iterator[str]:
    """What plans say beside sizes, of every verdict in every measure."""
    for plan in _plans():
        for system in SYSTEMS:
            yield plan_words.verdict_words(plan.verdict)
            yield plan_words.what_to_do(plan, system)
            yield plan_words.limits_sentence(plan)
            yield plan_words.worth_sentence(plan, system)
            yield plan_words.takes_sentence(plan.designs[0])
            yield plan_words.chances_sentence(plan.value.asked)
            yield plan_words.left_open_sentence(plan.value.asked, system)


def _plans() -> Iterator[Plan]:
    plan = small_plan()
    yield from (plan, small_plan("[0, 2, 4, 6]", 2))
    for verdict in PlanVerdict:
        yield _planned(verdict, ROWS[0])
        dear = replace(ASKED, cost=96.0)
        year = replace(plan.value.asked, kg_a_year=50.0, worth_a_year=200.0)
        one = replace(plan.value, asked=year, heads_a_year=5000.0)
        yield replace(plan, verdict=verdict, proposed=0, designs=(dear, *plan.designs[1:]), value=one)
    light = replace(plan.value.asked, kg_a_year=50.0, worth_a_year=None, dose_half_width_tsp=None)
    yield replace(plan, value=replace(plan.value, asked=light, heads_a_year=5000.0))
    for row in ROWS:
        for kind in ("randomised complete blocks", "volunteer blocks", "Latin square", "row-column"):
            yield replace(_planned(PlanVerdict.ENLARGE, row), kind=kind)
    for most in (1, 9):
        limits = replace(plan.limits, buckets_per_site=most, heads_per_bucket=most, sites=most, visits=most, budget=9.5)
        beyond = replace(ASKED, beyond=get_args(LimitName))
        for stated in ((), get_args(LimitName)):
            yield replace(plan, limits=replace(limits, stated=stated), designs=(beyond,), proposed=0)


def _planned(verdict: PlanVerdict, row: dict[str, Any]) -> Plan:
    first, other = replace(ASKED, value_g=10.0), _row(**row)
    is_other = verdict in (PlanVerdict.ENLARGE, PlanVerdict.ASK_LESS)
    return replace(small_plan(), verdict=verdict, proposed=int(is_other), designs=(first, other))


def _row(**changes: Any) -> DesignRow:
    return replace(ASKED, **({"kind": "size"} | changes))


def refusals() -> Iterator[str]:
    """Why a plan cannot be made."""
    for one in (
        Refusal("not analysable", detail="the terms are the same"),
        Refusal("not comparable"),
        Refusal("simulations failed", 6, 100),
        Refusal("nothing fitted", 100, 100),
    ):
        yield plan_words.refusal_sentence(one)


def treatments() -> Iterator[str]:
    """Names of treatments, with and without each factor."""
    for cultivar in ("Fenleaf", None):
        for dose in (None, 0.0, 0.5, 6.0):
            for acid in (None, "none", ACID):
                yield treatment_words(Treatment(cultivar, dose, acid))


@pytest.fixture(scope="module")
def said(example_results: Callable[[str], Results]) -> tuple[str, ...]:
    """All of it in Spanish, each text once."""
    results = example_results("spring_dose")
    with speaking("es"):
        told = [*answers(), *news(), *plans(), *refusals(), *treatments(), *_undecided(results)]
    return tuple(dict.fromkeys(told))


def _undecided(results: Results) -> Iterator[str]:
    for code in NO_DECISION_WORDS:
        none = NoDecision(code)  # type: ignore[arg-type]
        yield reason_for_none(replace(results, decision=None, no_decision=none, losses=_lost(results)))


def _lost(results: Results) -> Any:
    """Losses of which one level is all lost and another was never recorded."""
    dead = HeadCounts(planned=9, harvested=2, lost=3, not_ready=1, unrecorded=2, unmarketable=2)
    one = HeadCounts(planned=5, harvested=1, lost=1, not_ready=2, unrecorded=1, unmarketable=1)
    unknown = HeadCounts(planned=8, harvested=0, lost=0, not_ready=0, unrecorded=8, unmarketable=0)
    gone = HeadCounts(planned=0, harvested=0, lost=0, not_ready=0, unrecorded=0, unmarketable=0)
    left = HeadCounts(planned=8, harvested=8, lost=0, not_ready=0, unrecorded=0, unmarketable=0)
    rows = tuple(
        TreatmentLosses(Treatment(None, dose), heads, None, None, None)
        for dose, heads in ((2.0, dead), (4.0, one), (6.0, unknown), (7.0, gone), (8.0, left))
    )
    return replace(results.losses, by_treatment=rows)


def test_no_english_is_left(said: tuple[str, ...]) -> None:
    """Nor a place that was not filled in."""
    assert english_in(said, NAMES) == []
    assert [text for text in said if "{" in text] == []


def test_every_message_is_tried(said: tuple[str, ...]) -> None:
    """Each message of these modules, in each of its forms, stands in what is said above: none goes unread."""
    whole = "\n".join(said)
    silent = [form for module in MODULES for form in _forms(WORDS / f"{module}.py") if not _pattern(form).search(whole)]
    assert silent == []


def _forms(path: Path) -> Iterator[str]:
    """Spanish of the messages of a module; of what is counted, the form for one and for several."""
    for _, message, _, context in extract_from_file("python", path, KEYWORDS):
        known = catalogue("es").get(message if isinstance(message, str) else message[0], context)
        assert known is not None, message
        assert known.string, message
        yield from [known.string] if isinstance(known.string, str) else known.string


def _pattern(form: str) -> re.Pattern[str]:
    return re.compile(".+?".join(re.escape(part) for part in re.split(r"\{\w+\}", form)))


def test_translations_are_as_short_as_what_they_translate() -> None:
    """At most as many words in a sentence as an English one may have, each place as one word."""
    for message in catalogue("es"):
        forms = [message.string] if isinstance(message.string, str) else message.string
        assert [one for form in forms if message.id for one in too_long(sentences(form))] == []


@pytest.mark.parametrize("name", ["autumn_dose", "spring_dose", "volunteer_cultivars"])
def test_answers_of_the_examples(name: str, example_results: Callable[[str], Results]) -> None:
    """With the numbers of real decisions; English again after it."""
    results = example_results(name)
    assert results.decision is not None
    english = decision_words.sentences(results.decision, measures_of(results))
    with speaking("es"):
        told = decision_words.sentences(results.decision, measures_of(results))
    assert english_in(told, [*NAMES, *results.decision.evidence.failed_gardens]) == []
    assert decision_words.sentences(results.decision, measures_of(results)) == english != told
    numbers = [sorted(re.findall(r"\d+(?:\.\d+)?", " ".join(text))) for text in (english, told)]
    assert numbers[0] == numbers[1]


def test_some_sentences_by_hand() -> None:
    """Order of words, gender and number are those of Spanish."""
    with speaking("es"):
        what, sure, rests = decision_words.sentences(decide(), MeasureSystem("both", 4.8))
        assert what == (
            "Cambie la recomendación: Fenleaf con 6 cucharaditas rasas (28.8 g) de nutriente por balde. Hoy la gente "
            "usa Fenleaf con 4 cucharaditas rasas (19.2 g) de nutriente por balde: es la práctica actual. Con el "
            "cambio esperamos 35 g más de cada lechuga trasplantada, en promedio de huertos y temporadas. Según los "
            "registros, la diferencia puede ser de 5 a 61 g más (intervalo del 95 %)."
        )
        assert "en un huerto y una temporada nuevos, es de 95 de cada 100." in sure
        assert rests.endswith("la respuesta se basa en 48 baldes de 4 huertos en otoño de 2026.")
        assert treatment_words(Treatment("Fenleaf", None, "none")) == "Fenleaf sin ácido"
        assert treatment_words(Treatment("Fenleaf", 0.0, ACID)) == f"Fenleaf sin nutriente y con {ACID}"
        assert treatment_words(Treatment("Fenleaf", 0.5, "none")) == (
            "Fenleaf con ½ cucharadita rasa de nutriente por balde y sin ácido"
        )
        assert plan_words.design_words(_row(sites=1, blocks=1), small_plan()) == "1 huerto con 1 bloque cada uno"


def test_numbers_go_by_the_locale(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where it has a decimal comma (Spanish of Spain, by the Unicode CLDR), no number is left with a point."""
    monkeypatch.setattr(trialkit.languages, "locale_of", lambda _: Locale("es", "ES"))
    with speaking("es"):
        told = [*answers(), *news(), *plans()]
    texts = [text.replace("15.5-0-0", "") for text in told]
    assert [text for text in texts if re.search(r"\d\.\d", text)] == []
    assert any("0,12 por balde" in text for text in texts)


def test_every_class_of_sun_has_words() -> None:
    """As the evidence names them."""
    assert {name for name, _, _ in SUNS} == set(default_words.SUN_WORDS)
