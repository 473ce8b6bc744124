"""Amounts in the measures of a kitchen, as a cook would say them, or in metric ones."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Annotated, get_args

from trialkit.documents.results import Results
from trialkit.documents.water import RecordedWater
from trialkit.domain.units import GALLON_L, INCH_CM, OUNCE_G, POUND_KG, TEASPOON_ML, Measures, fahrenheit
from trialkit.languages import gettext, ngettext, translatable
from trialkit.words.phrases import DECIMALS, FINER, from_to, listed, number

FRACTIONS = {0.25: "¼", 0.5: "½", 0.75: "¾"}
MOST_SPOONS_TSP = 12.0
"""A quarter of a cup: beyond it liquids are told in cups."""
SMALL_PART_G = 10.0
"""Of a head: below it a gain is told to one decimal more than a head is."""
TABLESPOON_TSP, CUP_TABLESPOONS = 3, 16
FILLED_ONCE = {
    12.0: translatable("a quarter of a cup"),
    3.0: translatable("a tablespoon"),
    1.0: translatable("a teaspoon"),
    0.5: translatable("half a teaspoon"),
    0.25: translatable("a quarter of a teaspoon"),
}
"""Measures that somebody fills once, by their teaspoons."""


@dataclass(frozen=True)
class MeasureSystem:
    """How amounts are said."""

    measures: Annotated[Measures, "With both, metric ones stand in brackets."] = "kitchen"
    nutrient_g_per_tsp: Annotated[
        float | None,
        "Weight of a level teaspoon of the nutrient; None where it was not weighed, and then a dose can be said in "
        "spoons only.",
    ] = None


KITCHEN = MeasureSystem()
BOTH = MeasureSystem("both")
"""What is said where nobody asked: spoons, and grams where something is weighed."""


def in_measures(measures: Measures, kitchen: str, metric: str) -> str:
    """Say an amount in one system of measures, or in the kitchen's with the metric one beside.

    Examples
    --------
    >>> in_measures("both", "a teaspoon", "4.9 mL"), in_measures("metric", "a teaspoon", "4.9 mL")
    ('a teaspoon (4.9 mL)', '4.9 mL')
    """
    return {"kitchen": kitchen, "metric": metric, "both": f"{kitchen} ({metric})"}[measures]


@dataclass(frozen=True)
class Sentence:
    """A sentence in each measure system; the same in all where it tells no amount that is said in several."""

    kitchen: str
    metric: str
    both: str

    def each(self, change: Callable[[str], str]) -> Sentence:
        """Change it in each measure system."""
        return Sentence(change(self.kitchen), change(self.metric), change(self.both))


def in_every_measure(
    say: Callable[[MeasureSystem], Sequence[str]], nutrient_g_per_tsp: float | None, measures: Measures = "both"
) -> tuple[Sentence, ...]:
    """Say some sentences in each measure system; where only one is wanted, in that one whatever is read.

    Examples
    --------
    >>> in_every_measure(lambda system: [teaspoons(6.0, system)], 5.0)
    (Sentence(kitchen='6 level teaspoons', metric='30 g', both='6 level teaspoons (30 g)'),)
    >>> in_every_measure(lambda system: [teaspoons(6.0, system)], 5.0, "metric")
    (Sentence(kitchen='30 g', metric='30 g', both='30 g'),)
    """
    wanted = get_args(Measures) if measures == "both" else (measures,) * len(get_args(Measures))
    ways = (say(MeasureSystem(way, nutrient_g_per_tsp)) for way in wanted)
    return tuple(Sentence(*way) for way in zip(*ways, strict=True))


def each_way(say: Callable[[Measures], str], measures: Measures) -> Sentence:
    """Say one thing in each measure system, or in the one that is wanted.

    Examples
    --------
    >>> each_way(head_unit, "both")
    Sentence(kitchen='oz', metric='g', both='g')
    """
    return in_every_measure(lambda system: [say(system.measures)], None, measures)[0]


def kitchen_words(sentence: str | Sentence) -> str:
    """A sentence in kitchen measures."""
    return sentence if isinstance(sentence, str) else sentence.kitchen


def joined(*parts: str | Sentence) -> Sentence:
    """Put a sentence together from parts, of which some are said in several measures.

    Examples
    --------
    >>> joined("Fenleaf, ", Sentence("6 tsp", "30 g", "6 tsp (30 g)")).metric
    'Fenleaf, 30 g'
    """
    ways = [[part if isinstance(part, str) else getattr(part, way) for part in parts] for way in get_args(Measures)]
    return Sentence(*map("".join, ways))


def nutrient_g_per_tsp(water: RecordedWater) -> float | None:
    """Weight of a level teaspoon of a trial's nutrient; None where it was not weighed."""
    weighed = (dose.grams / dose.dose_tsp for dose in water.doses if dose.dose_tsp > 0 and dose.grams > 0)
    return next(weighed, None)


def measures_of(results: Results) -> MeasureSystem:
    """How a trial's amounts are said: in the measures of its protocol."""
    return MeasureSystem(results.design.measures, nutrient_g_per_tsp(results.water))


def _amount(value: float, digits: int = 3) -> str:
    """Write an amount to so many digits; the whole part is never rounded."""
    return number(value, digits) if value < 10**digits else f"{value:.0f}"


def head_weight(grams: float, system: MeasureSystem = KITCHEN) -> str:
    """Say what a head weighs, gains or gives up, to the gram or the tenth of an ounce.

    Heads are weighed and decided on in grams: those are told where both measures are, ounces where only the kitchen's.

    Examples
    --------
    >>> head_weight(37.2), head_weight(37.2, MeasureSystem("both")), head_weight(37.2, MeasureSystem("metric"))
    ('1.3 oz', '37 g', '37 g')
    """
    return f"{number(head_amount(grams, system.measures), 9)} {head_unit(system.measures)}"


def head_unit(measures: Measures) -> str:
    """Say the unit of what heads weigh."""
    return "oz" if measures == "kitchen" else "g"


def head_amount(grams: float, measures: Measures) -> float:
    """Round what a head weighs to what is told of it, in its unit; never to minus nothing.

    Examples
    --------
    >>> head_amount(-37.2, "kitchen"), head_amount(-0.2, "both")
    (-1.3, 0.0)
    """
    amount = grams / OUNCE_G if measures == "kitchen" else grams
    return round(amount, DECIMALS[head_unit(measures)]) + 0.0


def part_places(grams: float, measures: Measures) -> int:
    """Decimals in which a part of a head is told: as of a head, one more of a small part.

    Examples
    --------
    >>> part_places(22.0, "metric"), part_places(1.0, "metric"), part_places(1.0, "kitchen")
    (0, 1, 2)
    """
    return DECIMALS[head_unit(measures)] + FINER * (abs(grams) < SMALL_PART_G)


def least_weight(grams: float, system: MeasureSystem = KITCHEN) -> str:
    """Say a weight that a protocol states, a small part of a head: as stated, in ounces to the hundredth.

    Never as nothing, where it is not.

    Examples
    --------
    >>> least_weight(3.0), least_weight(1.0), least_weight(0.1), least_weight(3.0, MeasureSystem("metric"))
    ('0.11 oz', '0.04 oz', '0.01 oz', '3 g')
    """
    if system.measures != "kitchen":
        return f"{number(grams)} g"
    places = DECIMALS["oz"] + FINER
    least = 10.0**-places if grams > 0 else 0.0
    return f"{number(max(round(grams / OUNCE_G, places), least))} oz"


def grams_words(grams: float) -> str:
    """Say a mass that is weighed out: to three figures, below 10 g to two, as kitchen scales are no finer.

    Examples
    --------
    >>> grams_words(28.84), grams_words(3.75), grams_words(11.25), grams_words(0.5)
    ('28.8 g', '3.8 g', '11.2 g', '0.5 g')
    """
    return f"{_grams(grams)} g"


def _grams(grams: float) -> str:
    return _amount(grams, 3 if grams >= 10 else 2)


def spoons(dose_tsp: float) -> str:
    """Write a number of teaspoons as a cook would.

    Examples
    --------
    >>> spoons(6.0), spoons(2.5), spoons(0.25), spoons(1.3)
    ('6', '2½', '¼', '1.3')
    """
    whole = math.floor(dose_tsp)
    fraction = FRACTIONS.get(dose_tsp - whole)
    return number(dose_tsp, 4) if fraction is None else f"{whole or ''}{fraction}"


def teaspoons(dose_tsp: float, system: MeasureSystem = KITCHEN) -> str:
    """Say a dose of nutrient in level teaspoons, or in grams where a spoonful was weighed.

    Examples
    --------
    >>> teaspoons(6), teaspoons(1), teaspoons(0.5), teaspoons(0)
    ('6 level teaspoons', '1 level teaspoon', '½ level teaspoon', 'no nutrient')
    >>> teaspoons(6.0, MeasureSystem("metric", 4.8)), teaspoons(6.0, MeasureSystem("both", 4.8))
    ('28.8 g', '6 level teaspoons (28.8 g)')
    """
    if dose_tsp == 0:
        return gettext("no nutrient")
    kitchen = level_teaspoons(dose_tsp)
    grams = system.nutrient_g_per_tsp
    return kitchen if grams is None else in_measures(system.measures, kitchen, grams_words(dose_tsp * grams))


def level_teaspoons(amount_tsp: float) -> str:
    """Say how many level teaspoons, of whatever it is.

    Examples
    --------
    >>> level_teaspoons(6.0), level_teaspoons(0.75)
    ('6 level teaspoons', '¾ level teaspoon')
    """
    return ngettext(
        "{amount} level teaspoon", "{amount} level teaspoons", _plural(amount_tsp), amount=spoons(amount_tsp)
    )


def _plural(amount: float) -> int:
    """A number of the same grammatical number as an amount: a half is one, one and a half are several."""
    return math.ceil(amount)


def several_doses(doses_tsp: Sequence[float], last: str, system: MeasureSystem = KITCHEN) -> str:
    """Say doses of nutrient together, with a word before the last.

    Examples
    --------
    >>> several_doses([2.0, 4.0, 6.5], "and"), several_doses([2.0, 4.0], "or", MeasureSystem("both", 5.0))
    ('2, 4 and 6½ level teaspoons', '2 or 4 level teaspoons (10 or 20 g)')
    """
    if len(doses_tsp) == 1:
        return teaspoons(doses_tsp[0], system)
    told = listed([spoons(dose) for dose in doses_tsp], last)
    kitchen = ngettext("{amount} level teaspoon", "{amount} level teaspoons", 2, amount=told)
    grams = system.nutrient_g_per_tsp
    if grams is None:
        return kitchen
    return in_measures(system.measures, kitchen, f"{listed([_grams(dose * grams) for dose in doses_tsp], last)} g")


def short_dose(dose_tsp: float, system: MeasureSystem = KITCHEN) -> str:
    """Say a dose of nutrient short enough for a row or an axis.

    Examples
    --------
    >>> short_dose(6.0), short_dose(6.0, MeasureSystem("metric", 4.8)), short_dose(2.5, MeasureSystem("both", 4.8))
    ('6 tsp', '28.8 g', '2½ tsp (12 g)')
    """
    kitchen, grams = gettext("{amount} tsp", amount=spoons(dose_tsp)), system.nutrient_g_per_tsp
    return kitchen if grams is None else in_measures(system.measures, kitchen, grams_words(dose_tsp * grams))


def volume_words(volume_l: float, measures: Measures = "both") -> str:
    """Say how much water; metric first, as bottles and buckets say it.

    Examples
    --------
    >>> volume_words(20.0), volume_words(20.0, "kitchen")
    ('20 L (5.3 US gal)', '5.3 US gal')
    """
    metric, kitchen = f"{_amount(volume_l)} L", gettext("{amount} US gal", amount=_amount(volume_l / GALLON_L, 2))
    return f"{metric} ({kitchen})" if measures == "both" else in_measures(measures, kitchen, metric)


def mass_words(kilograms: float, measures: Measures = "both") -> str:
    """Say a mass that somebody lifts, to the pound and the kilogram.

    Examples
    --------
    >>> mass_words(18.0), mass_words(18.0, "metric")
    ('40 lb (18 kg)', '18 kg')
    """
    return in_measures(measures, gettext("{amount} lb", amount=f"{kilograms / POUND_KG:.0f}"), f"{kilograms:.0f} kg")


def length_words(centimetres: Sequence[float], measures: Measures = "both") -> str:
    """Say a length, or from where to where it may lie; inches to the quarter.

    Examples
    --------
    >>> length_words([5.0]), length_words([5.0, 7.5]), length_words([3.0], "kitchen")
    ('2 inches (5 cm)', '2 to 3 inches (5 to 7.5 cm)', '1¼ inches')
    """
    inches = [round(4 * length / INCH_CM) / 4 for length in centimetres]
    told = _range([spoons(inch) for inch in inches])
    kitchen = ngettext("{amount} inch", "{amount} inches", _plural(inches[-1]), amount=told)
    return in_measures(measures, kitchen, f"{_range([_amount(length) for length in centimetres])} cm")


def _range(ends: Sequence[str]) -> str:
    return from_to(ends[0], ends[-1]) if len(ends) > 1 else ends[0]


def temperature_words(celsius: float, measures: Measures = "both") -> str:
    """Say a temperature, to the degree.

    Examples
    --------
    >>> temperature_words(25.0), temperature_words(24.0, "metric")
    ('77 °F (25 °C)', '24 °C')
    """
    return in_measures(measures, f"{fahrenheit(celsius):.0f} °F", f"{celsius:.0f} °C")


def acid_range(
    least_tsp: float, most_tsp: float, powder_g_per_tsp: float | None, system: MeasureSystem = KITCHEN
) -> str:
    """Say how much acid buckets took: of a powder (None of a liquid) by weight, since nobody may add it by the spoon.

    Examples
    --------
    >>> acid_range(1.5, 4.0, None), acid_range(1.5, 4.0, None, MeasureSystem("metric")), acid_range(0.25, 0.25, 4.0)
    ('1½ to 4 teaspoons', '7.4 to 20 mL', '1 g, dissolved first,')
    """
    if powder_g_per_tsp is not None:
        grams = list(dict.fromkeys(_grams(tsp * powder_g_per_tsp) for tsp in (least_tsp, most_tsp)))
        return f"{' to '.join(grams)} g, dissolved first,"
    least, most = liquid_words(least_tsp), liquid_words(most_tsp)
    millilitres = [_amount(tsp * TEASPOON_ML, 2) for tsp in (least_tsp, most_tsp)]
    if least == most:
        return in_measures(system.measures, most, f"{millilitres[1]} mL")
    if most_tsp <= MOST_SPOONS_TSP:
        least = spoons(least_tsp)
    return in_measures(system.measures, f"{least} to {most}", f"{' to '.join(millilitres)} mL")


def liquid_words(teaspoons: float) -> str:
    """Say how much of a liquid: beyond a quarter of a cup in cups and whole tablespoons, as a cook measures it.

    Examples
    --------
    >>> liquid_words(1.0), liquid_words(8.25), liquid_words(24.75), liquid_words(19.75), liquid_words(60.0)
    ('1 teaspoon', '8¼ teaspoons', '½ cup', '¼ cup and 3 tablespoons', '1¼ cups')
    """
    if teaspoons <= MOST_SPOONS_TSP:
        return _teaspoons(teaspoons)
    tablespoons = math.floor(teaspoons / TABLESPOON_TSP + 0.5)
    quarters, rest = divmod(tablespoons, CUP_TABLESPOONS // 4)
    cups = quarters / 4
    told = ngettext("{amount} cup", "{amount} cups", _plural(cups), amount=spoons(cups))
    if not rest:
        return told
    return listed([told, ngettext("{number} tablespoon", "{number} tablespoons", rest)])


def _teaspoons(amount_tsp: float) -> str:
    return ngettext("{amount} teaspoon", "{amount} teaspoons", _plural(amount_tsp), amount=spoons(amount_tsp))


def measure_words(teaspoons: float, measures: Measures = "kitchen") -> str:
    """Name a kitchen measure that somebody fills once, or what it holds.

    Examples
    --------
    >>> measure_words(12.0), measure_words(3.0), measure_words(0.5)
    ('a quarter of a cup', 'a tablespoon', 'half a teaspoon')
    >>> measure_words(12.0, "both"), measure_words(1.0, "metric")
    ('a quarter of a cup (59.1 mL)', '4.93 mL')
    """
    once = FILLED_ONCE.get(teaspoons)
    kitchen = gettext(once) if once else _teaspoons(teaspoons)
    return in_measures(measures, kitchen, f"{number(teaspoons * TEASPOON_ML)} mL")
