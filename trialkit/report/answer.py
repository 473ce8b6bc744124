"""The first section: what to do, how sure, and the card that goes on the shed door."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from trialkit.domain.factors import FACTOR_COLUMNS
from trialkit.domain.units import GALLON_L, TEASPOON_ML
from trialkit.pages.numerals import (
    ABSENT,
    difference_interval,
    in_ounces,
    is_number,
    percent,
    plain,
    signed,
    with_interval,
)
from trialkit.pages.table import Row, Table, columns, make_table, text_column
from trialkit.report.reading import Json, Reading, mapping, rows, texts
from trialkit.words.measures import spoons, teaspoons
from trialkit.words.phrases import VERDICT_WORDS, chance, chance_word, count
from trialkit.words.treatments import acid_words, level_label, treatment_words

MOST_SPOONS_DRAWN = 12
DISSOLVE = "Dissolve the powder in a cup of water first, and add that by small measures."
NO_DIFFERENCE = "no practical difference: take the cheaper"
TONES = {"adopt": "change", "keep current": "keep", "keep current, retest": "retest", NO_DIFFERENCE: "change"}
FACTOR_TITLES = {"cultivar": "Grow", "dose_tsp": "Feed", "acidifier": "Acidify with"}


@dataclass(frozen=True)
class Measured:
    """An amount in kitchen measures, and in metric ones: empty where there is but one way to say it."""

    kitchen: str
    metric: str = ""


@dataclass(frozen=True)
class CardLine:
    """One line of the default card: what to do, in large letters, and what it was before, if it changes."""

    title: str
    text: Measured
    note: str = ""
    spoons: int = 0
    before: str = ""
    amount: Measured | None = None
    """Stands before the note."""


@dataclass(frozen=True)
class Sureness:
    """A chance as a picture of a hundred gardens, with the words around it."""

    hundredths: int
    headline: str
    word: str
    meaning: str
    needed: str


@dataclass(frozen=True)
class Answer:
    """The answer, ready for the template."""

    verdict: str
    tone: str
    sentences: tuple[str, ...]
    cautions: tuple[str, ...]
    card: tuple[CardLine, ...]
    card_title: str
    bucket: Measured | None
    heads: str
    expected: str
    expectation: Measured | None
    sureness: Sureness | None
    versus: Table | None
    acid: Table | None


def answer(reading: Reading) -> Answer:
    """Put the decision into words and pictures; where there is none, say why."""
    found = str(reading.decision.get("verdict"))
    verdict, tone = VERDICT_WORDS.get(found, "no recommendation"), TONES.get(found, "none")
    sentences = texts(reading.decision, "sentences")
    if not reading.decision:
        sentences = ("This trial gives no recommendation.", str(reading.results.get("no_decision") or ""))
    return Answer(
        verdict=verdict[:1].upper() + verdict[1:],
        tone=tone,
        sentences=sentences,
        cautions=texts(reading.decision, "cautions"),
        card=tuple(_card(reading)),
        card_title="The default stays" if reading.is_kept else "The new default",
        bucket=_bucket(reading.design),
        heads=_heads(reading.design),
        expected=str((reading.response or {}).get("label") or "mean"),
        expectation=_expectation(reading),
        sureness=sureness(reading),
        versus=versus_table(reading),
        acid=acid_table(reading.design, reading.recommended),
    )


def acid_table(design: Json, recommended: Json) -> Table | None:
    """How much of the recommended acid each garden used, and the pH that it gave."""
    fixed = {str(f.get("name")): f.get("level") for f in rows(design, "fixed")}
    acid = recommended.get("acidifier") or fixed.get("acidifier")
    sites = {site.get("site"): site for site in rows(design, "sites")}
    used = [row for row in rows(design, "acid_used") if row.get("acidifier") == acid != "none"]
    powder = any(is_number(row.get("powder_g_per_tsp")) for row in used)
    amounts = ("g of powder a bucket",) if powder else ("teaspoons a bucket", "mL a bucket")
    heads = (
        text_column("garden"),
        *columns("", "alkalinity, mg/L CaCO₃", *amounts, "pH after mixing", "buckets")[1:],
    )
    body = (
        Row(
            str(mapping(sites.get(row.get("site"))).get("name") or row.get("site")),
            (
                plain(mapping(sites.get(row.get("site"))).get("alkalinity_mg_l_caco3")),
                *_acid_amounts(row),
                plain(row.get("ph_after")),
                plain(row.get("buckets")),
            ),
        )
        for row in used
    )
    note = (
        "Medians of what was recorded. Harder water needs more acid: go by your own water, add a little at a time, "
        "test with a strip, and add acid to water, never water to acid."
        f"{' ' + DISSOLVE if powder else ''}"
    )
    return make_table("acid", f"How much {acid} the gardens used", heads, body, note)


def _card(reading: Reading) -> Iterator[CardLine]:
    columns_of: dict[str, str] = dict(FACTOR_COLUMNS.items())
    fixed = {columns_of.get(str(f.get("name")), ""): f.get("level") for f in rows(reading.design, "fixed")}
    for column, level in (*reading.recommended.items(), *(fixed.items() if reading.recommended else ())):
        before = reading.current.get(column)
        was = "" if before == level or before is None else f"was {level_label(column, before)}"
        if column == "dose_tsp":
            drawn = round(level) if is_number(level) and 0.5 <= level <= MOST_SPOONS_DRAWN else 0
            note = f"of {_nutrient(reading.design)} a bucket" if level else ""
            text = Measured(teaspoons(level), _grams(reading.results, level))
            yield CardLine(FACTOR_TITLES[column], text, note, drawn if drawn == level else 0, was)
        elif column == "acidifier":
            used = _acid_used(reading.design, level)
            note = "a bucket was used, by the garden's water (table below)" if used else ""
            yield CardLine(FACTOR_TITLES[column], Measured(acid_words(level)), note, 0, was, used)
        else:
            yield CardLine(FACTOR_TITLES.get(column, column), Measured(str(level)), before=was)


def _grams(results: Json, dose: Any) -> str:
    """Weight of a dose of nutrient, where the product's spoonful was weighed."""
    doses = rows(mapping(results.get("water")), "doses")
    grams = next((one.get("grams") for one in doses if one.get("dose_tsp") == dose), None)
    return f"{plain(grams)} g" if is_number(grams) and grams > 0 else ""


def _nutrient(design: Json) -> str:
    """Name the product that the doses are of."""
    factors = (*rows(design, "factors"), *rows(design, "fixed"))
    return next((str(f["product"]) for f in factors if f.get("name") == "dose" and f.get("product")), "nutrient")


def _acid_used(design: Json, acidifier: Any) -> Measured | None:
    """How much of it the gardens used: it follows their water, so there is no one dose."""
    used = [row for row in rows(design, "acid_used") if row.get("acidifier") == acidifier]
    doses = sorted(row["acid_tsp"] for row in used if is_number(row.get("acid_tsp")))
    if not doses or acidifier == "none":
        return None
    grams = used[0].get("powder_g_per_tsp")
    if is_number(grams):
        weights = [plain(dose * grams, 2) for dose in (doses[0], doses[-1])]
        return Measured(f"{weights[0] if weights[0] == weights[1] else ' to '.join(weights)} g, dissolved first,")
    low, high = teaspoons(doses[0]), teaspoons(doses[-1])
    measured = [plain(dose * TEASPOON_ML, 2) for dose in (doses[0], doses[-1])]
    if low == high:
        return Measured(high, f"{measured[1]} mL")
    return Measured(f"{spoons(doses[0])} to {high}", f"{measured[0]} to {measured[1]} mL")


def _acid_amounts(row: Json) -> tuple[str, ...]:
    """A liquid in teaspoons and mL; a powder by weight, since nobody may add it by the spoon."""
    amount, grams = row.get("acid_tsp"), row.get("powder_g_per_tsp")
    if is_number(grams):
        return (plain(amount * grams, 2) if is_number(amount) else ABSENT,)
    return (spoons(amount), plain(amount * TEASPOON_ML, 2)) if is_number(amount) else (ABSENT, ABSENT)


def _bucket(design: Json) -> Measured | None:
    volume = design.get("volume_l")
    return Measured(f"{plain(volume / GALLON_L, 2)} US gal", f"{plain(volume)} L") if is_number(volume) else None


def _heads(design: Json) -> str:
    heads = design.get("heads_per_bucket")
    return f", {count(heads, 'head')}" if is_number(heads) else ""


def _expectation(reading: Reading) -> Measured | None:
    row = reading.find("means", reading.recommended)
    if not reading.recommended or not is_number(row.get("mean")):
        return None
    known = _with_interval(row, reading.unit)
    if reading.unit != "g":
        return Measured(known)
    return Measured(in_ounces(row.get("mean"), row.get("lower"), row.get("upper")), known)


def sureness(reading: Reading) -> Sureness | None:
    """How sure the verdict is, as the one chance that it turned on; None where it is not known."""
    row = reading.candidate(reading.rival)
    thresholds = mapping(reading.decision.get("thresholds"))
    alike = reading.decision.get("verdict") == NO_DIFFERENCE
    probability = row.get("probability_equivalent" if alike else "probability_better")
    if not is_number(probability):
        return None
    margin = plain(thresholds.get("equivalence_margin_g" if alike else "margin_g"))
    costs = " after costs" if str(reading.decision.get("unit")).startswith("currency") else ""
    where = f"{costs} {reading.decision.get('place') or ''}".rstrip()
    meaning = (
        f"that the recommended default and the current practice differ by less than {margin} g a planted head{where}"
        if alike
        else f"that {_subject(reading)} worth at least {margin} g a planted head more than the current practice{where}"
    )
    return Sureness(
        hundredths=round(min(max(100 * float(probability), 1.0), 99.0)),  # a picture claims no certainty either
        headline=chance(probability),
        word=chance_word(probability),
        meaning=meaning,
        needed=_needed(thresholds.get("adopt_probability")),
    )


def _subject(reading: Reading) -> str:
    if reading.is_kept:
        return f"the best alternative, {treatment_words(reading.rival)}, is"
    return "the recommended default is"


def _needed(probability: Any) -> str:
    return f"The protocol asks for {chance(probability)} before a default is changed." if is_number(probability) else ""


def versus_table(reading: Reading) -> Table | None:
    """Current practice beside the recommended default, or beside the best alternative where it is kept."""
    if not reading.current or not reading.rival:
        return None
    names = ("", "current practice", "best alternative" if reading.is_kept else "recommended", "difference")
    return make_table(
        "versus",
        "Against the current practice",
        tuple(text_column(name) for name in names),
        (*_levels(reading), *_responses(reading)),
        f"Intervals in brackets are {percent(reading.confidence)} intervals; those of differences allow for all "
        "comparisons.",
        is_ordered=True,
    )


def _levels(reading: Reading) -> Iterator[Row]:
    labels = {str(f.get("column")): str(f.get("label")) for f in rows(reading.design, "factors")}
    for column in reading.columns:
        now, then = reading.current.get(column), reading.rival.get(column)
        change = "the same" if now == then else "changes"
        yield Row(labels[column], (level_label(column, now), level_label(column, then), change))


def _responses(reading: Reading) -> Iterator[Row]:
    for response in mapping(reading.results.get("responses")).values():
        one = Reading(reading.results, mapping(response), reading.columns)
        now, then = one.find("means", reading.current), one.find("means", reading.rival)
        if not is_number(now.get("mean")) or not is_number(then.get("mean")):
            continue
        yield Row(
            f"{one.response and one.response.get('label')}, {one.unit}",
            (
                _with_interval(now),
                _with_interval(then),
                _difference(one.find("comparisons", reading.rival)),
            ),
        )


def _difference(row: Json) -> str:
    return f"{signed(row.get('difference'))} ({difference_interval(row.get('lower'), row.get('upper'))})"


def _with_interval(row: Json, unit: str = "") -> str:
    return with_interval(row.get("mean"), row.get("lower"), row.get("upper"), unit)
