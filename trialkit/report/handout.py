"""`handout_html`: one printed page for gardeners, in plain words and kitchen measures."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from trialkit.domain.units import GALLON_L, OUNCE_G, TEASPOON_ML
from trialkit.pages.numerals import is_number
from trialkit.pages.palette import LIGHT
from trialkit.pages.safe_text import safe_results
from trialkit.pages.shell import content_security_policy, environment
from trialkit.report.page import TEMPLATES
from trialkit.report.reading import Json, mapping, rows
from trialkit.words.measures import measure_words, spoons
from trialkit.words.phrases import chance, count, date_words

TABLESPOON_TSP = 3
WATER_WORDS = {
    "low": "soft",
    "medium": "fairly soft",
    "high": "hard",
    "very high": "very hard",
}
MOST_SPOONS_DRAWN = 12


@dataclass(frozen=True)
class AcidLine:
    """Acid for one class of water: how to know it, how much in all, and how much at a time."""

    water: str
    range: str
    amount: str
    millilitres: str | None
    step: str | None
    seen: bool


def handout_html(document: Mapping[str, Any]) -> str:
    """Write the handout as one self-contained HTML page that prints on one sheet of A4 or Letter.

    Parameters
    ----------
    document : Mapping
        As ``recommended.json``. Every text in it may come from strangers.
    """
    safe = mapping(safe_results(document))
    style = _style()
    best = mapping(safe.get("recommended"))
    dose = best.get("dose_tsp")
    whole = min(int(dose), MOST_SPOONS_DRAWN) if is_number(dose) else 0
    return (
        environment(TEMPLATES)
        .get_template("handout.html.jinja")
        .render(
            cultivar=str(best.get("cultivar") or "lettuce"),
            bucket=_bucket(best),
            heads=best.get("heads"),
            nutrient=_nutrient(best),
            spoons_drawn=whole,
            acid_name=_acid_name(best),
            acid_compared=_acid_compared(safe),
            acid=tuple(_acid_lines(safe)),
            acid_dissolved=_is_dissolved(safe),
            steps=tuple(_steps(safe)),
            expect=tuple(_expect(safe)),
            evidence=_evidence(safe),
            cautions=SHORT_CAUTIONS,
            version=safe.get("version"),
            date=date_words(safe.get("date")) or safe.get("date"),
            digest=str(safe.get("evidence_sha256"))[:12],
            colour=LIGHT,
            style=style,
            policy=content_security_policy(style),
        )
    )


def _style() -> str:
    """The sheet is paper on every screen: the light palette, written out, which every printing library understands."""
    text = (TEMPLATES / "handout.css").read_text(encoding="utf-8")
    for role, value in LIGHT.items():
        text = text.replace(f"var(--{role})", value)
    return text


SHORT_CAUTIONS = (
    "Your local rules and the label on the pack come first.",
    "Pour acid into water. Never pour water into acid. Wear goggles. Keep bleach far away.",
    "Keep plant food, acid and full buckets out of reach of children and pets. A child can drown in a bucket.",
    "Keep the lid tight, so that no mosquitoes breed. Look at it each week.",
    "Drill the lid before you fill the bucket. Clamp it, and wear goggles.",
    "Wash your hands before you pick. Do not pick when you are ill. Rinse the leaves.",
    "Do not pour used water into drains or streams. Ask where it may go.",
)


def _bucket(best: Json) -> str:
    litres = float(best.get("volume_l") or 20.0)
    return f"{litres:g} L ({litres / GALLON_L:.0f} US gallon)"


def _nutrient(best: Json) -> str | None:
    """Amount of nutrient for a bucket, in words."""
    dose = best.get("dose_tsp")
    if not is_number(dose):
        return None
    product = best.get("product") or "plant food"
    return f"{spoons(dose)} level teaspoon{'' if dose <= 1 else 's'} of {product}"


def _acid_name(best: Json) -> str | None:
    name = str(best.get("acidifier") or "none")
    return None if name == "none" else name


def _acid_compared(safe: Json) -> bool:
    """Whether going without acid was compared with acid, so that it is a finding."""
    tried = {str(mapping(row.get("treatment")).get("acidifier") or "") for row in rows(safe, "compared")}
    return "none" in tried and len(tried - {"", "none"}) > 0


def _is_dissolved(safe: Json) -> bool:
    """Whether the acid is a powder, whose amounts are those of its solution."""
    return any(row.get("solution_tsp") is not None for row in rows(safe, "acid"))


def _acid_lines(safe: Json) -> Iterator[AcidLine]:
    for row in rows(safe, "acid"):
        amount = float(row["acid_tsp"] if row.get("solution_tsp") is None else row["solution_tsp"])
        upper = (
            f"{row['lower']:.0f} to {row['upper']:.0f}" if row["name"] != "very high" else f"over {row['lower']:.0f}"
        )
        yield AcidLine(
            WATER_WORDS.get(str(row["name"]), str(row["name"])) if row["lower"] else "very soft",
            upper,
            kitchen_measure(amount) if is_number(row["step_tsp"]) else "no acid",
            f"{amount * TEASPOON_ML:.0f} mL" if is_number(row["step_tsp"]) else None,
            measure_words(row["step_tsp"]) if is_number(row["step_tsp"]) else None,
            bool(row.get("gardens")),
        )


def kitchen_measure(teaspoons: float) -> str:
    """Say an amount in spoons as a cook measures it, to a quarter of a teaspoon.

    Examples
    --------
    >>> kitchen_measure(1.75), kitchen_measure(6.75), kitchen_measure(18.0), kitchen_measure(0.0)
    ('1¾ teaspoons', '2 tablespoons and ¾ teaspoon', '6 tablespoons', 'none')
    """
    quarters = round(teaspoons * 4)
    big, small = divmod(quarters, 4 * TABLESPOON_TSP)
    if big < 2:
        big, small = 0, quarters
    parts = [count(big, "tablespoon")] if big else []
    if small:
        parts.append(f"{spoons(small / 4)} teaspoon{'' if small <= 4 else 's'}")
    return " and ".join(parts) or "none"


def _steps(safe: Json) -> Iterator[str]:
    """What to do, one short sentence after the other."""
    best = mapping(safe.get("recommended"))
    heads = int(best.get("heads") or 1)
    yield f"Put the bucket where it will stay. Fill it with {_bucket(best)} of tap water."
    nutrient = _nutrient(best)
    if nutrient:
        yield f"Stir in {nutrient}. Level the spoon. Stir until you see no grains."
    if _acid_name(best) and rows(safe, "acid"):
        if _is_dissolved(safe):
            yield "Never put the acid powder in the bucket. Stir one level teaspoon of it into a cup of water first."
        yield "Add the acid for your water step by step. The table says how big a step may be. Stir."
        yield "Wait one minute. Test with a pH strip. Stop when it is 5.5 to 6."
    plants = "one plant" if heads == 1 else f"{_number_word(heads)} plants"
    yield f"Close the lid. Set {plants} in net cups, so that the roots just touch the water."
    yield "Do not stir or pump. Let the water sink as the plants drink. Leave an air gap."


def _number_word(number: int) -> str:
    words = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
    return words[number] if number < len(words) else str(number)


def _expect(safe: Json) -> Iterator[str]:
    """What a gardener may expect."""
    days, yields = mapping(safe.get("days")), mapping(safe.get("yield_g"))
    if is_number(days.get("mean")):
        yield f"Ready to cut about {days['mean']:.0f} days after you set the plants."
    if is_number(yields.get("mean")):
        grams = float(yields["mean"])
        measured = f"{_round(grams):.0f} g ({grams / OUNCE_G:.0f} oz)"
        yield f"Each plant gives about {measured} of lettuce. Lost plants count as none."
    if is_number(yields.get("new_lower")):
        yield f"In your garden it may be {_round(yields['new_lower']):.0f} to {_round(yields['new_upper']):.0f} g."


def _round(grams: float) -> float:
    """To five grams: a kitchen scale is not finer, and nor is the forecast."""
    return 5 * math.floor(grams / 5 + 0.5)


def _evidence(safe: Json) -> str:
    """The evidence in one honest line."""
    evidence = rows(safe, "evidence")
    buckets = sum(int(one.get("buckets") or 0) for one in evidence)
    seasons = [str(one["season"]) for one in evidence if one.get("season")]
    when = "" if not seasons else f", {seasons[0]}" if len(set(seasons)) == 1 else f", {seasons[0]} to {seasons[-1]}"
    what = f"{count(len(evidence), 'trial')} with {count(buckets, 'bucket')} in {count(safe.get('gardens'), 'garden')}"
    said = f"This rests on {what}{when}."
    changed = mapping(safe.get("recommended")) != mapping(safe.get("current"))
    likely = safe.get("probability_better")
    if changed and is_number(likely):
        return f"{said} The chance that it beats our old advice in your garden is {chance(likely)}."
    return f"{said} Nothing that we tried was surely better."
