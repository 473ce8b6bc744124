"""What to put into a bucket of a water for a target, in spoons that can be measured, and what that gives."""

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Annotated, Any, Literal

import numpy as np

from trialkit.domain.errors import WrongCall
from trialkit.domain.ph_window import STRIP_STEP, WINDOW_PH, strip_reading
from trialkit.domain.units import TEASPOON_ML, quarter_spoons
from trialkit.domain.usual_water import USUAL_PH, USUAL_TEMPERATURE_C
from trialkit.solution.acid_steps import (
    HIGHEST_ALKALINITY_MG_L,
    KITCHEN_STEPS_TSP,
    LOWEST_PH,
    LOWEST_PH_AFTER_A_STEP,
    SOLUTION_TSP_PER_POWDER_TSP,
    AcidStep,
    lowest_alkalinity_for_acid,
    safe_acid_step,
)
from trialkit.solution.acids import AcidProduct
from trialkit.solution.carbonate import acid_for_ph, ph_after
from trialkit.solution.nutrients import (
    ATOMIC_WEIGHTS,
    Conductivity,
    Feed,
    Product,
    Scarce,
    conductivity,
    elements_mg_l,
    scarce_elements,
    shares_of_recipe,
    with_water,
)
from trialkit.solution.tap_alkalinity import AlkalinityEstimate

HALF_A_QUARTER_TSP = 0.125
NOTABLE_ROUNDING_PCT = 15.0

# Published strengths for lettuce disagree; each stands with its source, and only what lies outside all is warned of.
EC_RANGES: Mapping[str, tuple[float, float]] = {
    "Both et al., horticultural engineering, Rutgers: floating lettuce (1.20 +/- 0.05 mS/cm)": (1.15, 1.25),
    "Singh & Dunn, Oklahoma State Extension, HLA-6722 (figures from memory)": (1.2, 1.8),
    "Samarakoon et al. 2020, HortScience 55:1265 (levels tried)": (1.4, 2.0),
}
# Classes of alkalinity, mg/L as calcium carbonate. Their bounds are those of the usual classes of hardness, with which
# alkalinity mostly goes (US Geological Survey, from memory); the last ends where acid serves no more.
ALKALINITY_CLASSES: tuple[tuple[str, float, float], ...] = (
    ("low", 0.0, 60.0),
    ("medium", 60.0, 120.0),
    ("high", 120.0, 180.0),
    ("very high", 180.0, HIGHEST_ALKALINITY_MG_L),
)
MEDIUM_ALKALINITY_MG_L = 90.0
"""Middle of the class of medium alkalinity: water of which nothing is known, where amounts are for buying alone."""
RAIN_SHARES = (1 / 2, 2 / 3, 3 / 4, 9 / 10)
"""Of a bucket, as a gardener fills it up."""
BLENDED_TO_MG_L = 180.0
"""mg/L as calcium carbonate: a blend is told that comes out of the class of very high alkalinity."""

LEAST_ALKALINITY_OF_A_ROW = 20.0
"""mg/L: below it one amount cannot serve a range of waters, as those with less need next to none."""


@dataclass(frozen=True)
class Water:
    """Tap water: alkalinity, mg/L as calcium carbonate, the lowest it may be; pH; degrees Celsius; elements, mg/L."""

    alkalinity_mg_l_caco3: float
    ph: float = USUAL_PH
    temperature_c: float = USUAL_TEMPERATURE_C
    lowest_alkalinity_mg_l_caco3: float | None = None
    elements_mg_l: Mapping[str, float] = field(default_factory=dict)

    @property
    def safe_for_mg_l_caco3(self) -> float:
        """Alkalinity that a step of acid must be safe for: the lowest that it may be, where it is a guess."""
        lowest = self.lowest_alkalinity_mg_l_caco3
        return self.alkalinity_mg_l_caco3 if lowest is None else lowest

    @property
    def is_beyond_acid(self) -> bool:
        """Whether water of less alkalinity serves better than acid."""
        return self.alkalinity_mg_l_caco3 > HIGHEST_ALKALINITY_MG_L

    def blended(self, rain_share: float) -> "Water":
        """Return it with a share of rain or reverse-osmosis water, which has next to no alkalinity.

        Alkalinity is an amount of charge, so that a blend has the mean of its parts. The carbonate thins by the same
        factor, which leaves the pH of ordinary water where it was.

        Examples
        --------
        >>> Water(200.0).blended(0.5).alkalinity_mg_l_caco3
        100.0
        """
        left = 1.0 - rain_share
        lowest = self.lowest_alkalinity_mg_l_caco3
        return Water(
            left * self.alkalinity_mg_l_caco3,
            self.ph,
            self.temperature_c,
            None if lowest is None else left * lowest,
            {element: left * mg_l for element, mg_l in self.elements_mg_l.items()},
        )


def usual_water(alkalinity_mg_l_caco3: float, ph: float) -> Water:
    """Return a water of an alkalinity; its pH is that of most taps where it is not known (NaN).

    Examples
    --------
    >>> usual_water(90.0, math.nan).ph
    7.5
    """
    return Water(alkalinity_mg_l_caco3) if math.isnan(ph) else Water(alkalinity_mg_l_caco3, ph)


def rain_share_for(alkalinity_mg_l_caco3: float) -> float:
    """Return the smallest share of rain water, of those that are easily filled, that brings an alkalinity down.

    Examples
    --------
    >>> rain_share_for(320.0), round(rain_share_for(400.0), 2)
    (0.5, 0.67)
    """
    enough = (share for share in RAIN_SHARES if (1.0 - share) * alkalinity_mg_l_caco3 <= BLENDED_TO_MG_L)
    return next(enough, RAIN_SHARES[-1])


def by_spoons(teaspoons: float) -> float | None:
    """Return what spoons measure of an amount, in quarters; None where it must be weighed, as they would change it.

    Examples
    --------
    >>> by_spoons(2.2), by_spoons(0.1)
    (2.25, None)
    """
    measured = quarter_spoons(teaspoons)
    return measured if abs(measured - teaspoons) <= NOTABLE_ROUNDING_PCT / 100 * teaspoons else None


@dataclass(frozen=True)
class Spoons:
    """An amount in level US teaspoons: exact, as spoons measure it, and in g or mL."""

    exact_tsp: Annotated[float, "Level teaspoons wanted."]
    tsp: Annotated[float, "Level teaspoons as spoons measure them; of a part that they cannot measure, as weighed."]
    grams: Annotated[float | None, "Mass of that, g."]
    millilitres: Annotated[float | None, "Volume of that liquid, or of the solution of a powder, mL."]
    solution_tsp: Annotated[
        float | None,
        "Teaspoons of the solution of a powdered acid that hold `tsp` of the powder: it is measured dissolved.",
    ] = None

    @property
    def rounding_pct(self) -> float:
        """What rounding to what spoons measure adds, percent of the exact amount."""
        return 100 * (self.tsp / self.exact_tsp - 1) if self.exact_tsp else 0.0


NoteCode = Literal[
    "alkalinity guessed",
    "alkalinity contradicted",
    "alkalinity by drops",
    "beyond acid",
    "no safe step of acid",
    "needs no acid",
    "ph too low",
    "ph too high",
    "ph drifts",
    "weak",
    "strong",
    "too little for spoons",
    "little calcium",
    "little magnesium",
]
LITTLE_OF: Mapping[Scarce, NoteCode] = {"Ca": "little calcium", "Mg": "little magnesium"}


@dataclass(frozen=True)
class MixNote:
    """Something to be minded about a mix."""

    code: Annotated[NoteCode, "What it is."]
    value: Annotated[
        float,
        "Of an alkalinity, mg/L as calcium carbonate. Of no safe step, the smallest step in teaspoons of liquid. "
        "Of a pH, the pH. Of a drift, the pH once the air has taken its share. Of weak and strong, mS/cm. Of too "
        "little for spoons, level teaspoons. Of little calcium or magnesium, its share of the published solution.",
    ]
    lower: Annotated[float | None, "Where it may lie, or (pH, strength) where it should."] = None
    upper: Annotated[
        float | None, "Where it may lie, or (pH, strength) where it should; of a drift, the pH once the acid is eaten."
    ] = None
    product: Annotated[str | None, "Of too little for spoons, what there is too little of."] = None


def alkalinity_notes(alkalinity: AlkalinityEstimate, *, by_drops: bool = False) -> Iterator[MixNote]:
    """Say that an alkalinity is a guess, or counted in drops, if it is."""
    if alkalinity.lower < alkalinity.upper:
        guessed: NoteCode = "alkalinity guessed" if alkalinity.agrees else "alkalinity contradicted"
        code: NoteCode = "alkalinity by drops" if by_drops else guessed
        yield MixNote(code, alkalinity.value, alkalinity.lower, alkalinity.upper)


@dataclass(frozen=True)
class Mix:
    """What goes into the bucket, and what comes of it."""

    volume_l: float
    nutrient: Annotated[Spoons | None, "The feed's base."]
    parts: Annotated[tuple[Spoons, ...], "What goes with it, as the feed has it."]
    acid: Spoons | None
    acid_step: Annotated[
        AcidStep | None, "What may be added at a time; None without acid, and where no kitchen measure is small enough."
    ]
    elements_mg_l: Annotated[Mapping[str, float], "Of the feed and of the water."]
    ec: Annotated[Conductivity, "mS/cm at 25 degrees Celsius."]
    ph: Annotated[float, "After mixing, before carbon dioxide leaves."]
    ph_range: Annotated[
        tuple[float, float],
        "Where it lies if the acid, or the solution of a powder, is off by an eighth of a teaspoon either way, half "
        "of the finest spoon.",
    ]
    strip: Annotated[float, "What a strip in steps of a half would show."]
    ph_standing: Annotated[float, "Once the bucket has come to equilibrium with the air."]
    ph_acid_eaten: Annotated[
        float,
        "Then, once microbes have eaten all of the acid: acetate and citrate become bicarbonate, and the alkalinity is "
        "what it was. The pH of a bucket that stands lies from `ph_standing`, nothing eaten, to this.",
    ]
    notes: Annotated[tuple[MixNote, ...], "What is to be minded."]


def nutrient_for(
    feed: Feed,
    volume_l: float,
    *,
    nitrogen_mg_l: float | None = None,
    ec_ms_cm: float = 0.0,
    water: Water,
) -> float:
    """Return the teaspoons of a feed's base for a strength of its nitrogen, or else for a conductivity of the whole.

    Raises
    ------
    WrongCall
        If no amount of the feed gives that.
    """
    if nitrogen_mg_l is not None:
        each = feed.elements_mg_l(1.0, volume_l).get("N", 0.0)
        if not each:
            raise WrongCall(f"{feed.name} has no nitrogen, so no amount of it gives any.")
        return nitrogen_mg_l / each

    def strength(teaspoons: float) -> float:
        elements = with_water(feed.elements_mg_l(teaspoons, volume_l), water.elements_mg_l)
        return conductivity(elements, water.alkalinity_mg_l_caco3).value

    if strength(0.0) >= ec_ms_cm:
        return 0.0
    high = 1.0
    while strength(high) < ec_ms_cm:
        high *= 2
        if high > 1e4:
            raise WrongCall(f"No amount of {feed.name} reaches {ec_ms_cm:g} mS/cm.")
    low = 0.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if strength(middle) < ec_ms_cm else (low, middle)
    return (low + high) / 2


def mix(
    volume_l: float,
    water: Water,
    feed: Feed | None = None,
    nutrient_tsp: float = 0.0,
    acid: AcidProduct | None = None,
    *,
    ph_target: float | None = None,
    acid_tsp: float | None = None,
) -> Mix:
    """Work a bucket out: nutrient and acid in spoons, and the pH and conductivity that they give.

    What is told is of the quarter teaspoons nearest to the level teaspoons wanted of the feed's base, and of its parts
    for these. Acid goes by the pH to reach with it, or by teaspoons instead.

    Raises
    ------
    WrongCall
        If the bucket holds nothing.

    Examples
    --------
    >>> vinegar = AcidProduct("white vinegar 5 %", "acetic", pct_w_v=5.0)
    >>> made = mix(20.0, Water(100.0, 8.0), acid=vinegar, ph_target=5.8)
    >>> made.acid.tsp, made.strip
    (8.25, 6.0)
    """
    poured = _feed_measured(feed, nutrient_tsp) if feed else ()
    measured = [spoons for _, spoons in poured]
    fed = elements_mg_l([(product, spoons.tsp) for product, spoons in poured], volume_l)
    elements = with_water(fed, water.elements_mg_l)
    about: dict[str, Any] = {
        "alkalinity_mg_l_caco3": water.alkalinity_mg_l_caco3,
        "ph_start": water.ph,
        "temperature_c": water.temperature_c,
        "phosphate_mol_l": _phosphate_mol_l(fed),
    }
    spoons, step = None, None
    if acid and (ph_target is not None or acid_tsp is not None):
        if not water.is_beyond_acid:
            step = safe_acid_step(
                acid, volume_l, water.safe_for_mg_l_caco3, ph_start=water.ph, temperature_c=water.temperature_c
            )
        wanted = acid_tsp
        if wanted is None:  # for a target; none where no step leads to it safely
            moles = float(acid_for_ph(acid=acid.acid, ph_target=ph_target or 0.0, **about)) if step else 0.0
            wanted = moles * volume_l / acid.mol_per_tsp
        spoons = _acid_measured(wanted, acid)
    name, each = (acid.acid, acid.mol_per_tsp / volume_l) if acid else ("acetic", 0.0)
    given = spoons.tsp if spoons else 0.0
    slack = HALF_A_QUARTER_TSP / (SOLUTION_TSP_PER_POWDER_TSP if acid and acid.is_powder else 1.0) if given else 0.0
    measured_or_so = np.maximum([given, given - slack, given + slack], 0.0)
    reached, highest, lowest = ph_after(acid=name, acid_mol_l=each * measured_or_so, **about).tolist()
    left = np.array([given, 0.0])
    standing, eaten = ph_after(acid=name, acid_mol_l=each * left, open_to_air=True, **about).tolist()
    # Acid turns bicarbonate into its own anion, which conducts about as well: the charge stays.
    ec = conductivity(elements, water.alkalinity_mg_l_caco3)
    return Mix(
        volume_l,
        measured[0] if feed else None,
        tuple(measured[1:]),
        spoons,
        step,
        elements,
        ec,
        reached,
        (lowest, highest),
        strip_reading(reached),
        standing,
        eaten,
        (
            *_notes(
                water,
                (reached, standing, eaten),
                ec,
                [(product.name, amount) for product, amount in poured]
                + ([(acid.name, spoons)] if acid and spoons else []),
                with_acid=given > 0,
                no_step=bool(spoons) and step is None,
            ),
            *_scarce_notes(elements if feed else {}),
        ),
    )


def _phosphate_mol_l(elements: Mapping[str, float]) -> float:
    return elements.get("P", 0.0) / ATOMIC_WEIGHTS["P"] / 1000


def _feed_measured(feed: Feed, base_tsp: float) -> tuple[tuple[Product, Spoons], ...]:
    """Measure the base of a feed, and its parts for the base as measured: by spoons, or else by a scale."""
    base = _measured(base_tsp, feed.base.grams_per_tsp, None)
    parts = feed.spoons(base.tsp)[1:]
    return (feed.base, base), *((part, _part_measured(tsp, part.grams_per_tsp)) for part, tsp in parts)


def _part_measured(teaspoons: float, grams_per_tsp: float) -> Spoons:
    measured = by_spoons(teaspoons)
    tsp = teaspoons if measured is None else measured
    return Spoons(teaspoons, tsp, tsp * grams_per_tsp, None)


def _measured(teaspoons: float, grams_per_tsp: float | None, ml_per_tsp: float | None) -> Spoons:
    """Round to what spoons measure."""
    if not 0 <= teaspoons < math.inf:
        raise WrongCall(f"{teaspoons} teaspoons cannot be measured.")
    tsp = quarter_spoons(teaspoons)
    return Spoons(
        teaspoons,
        tsp,
        tsp * grams_per_tsp if grams_per_tsp else None,
        tsp * ml_per_tsp if ml_per_tsp else None,
    )


def _acid_measured(teaspoons: float, acid: AcidProduct, *, whole: bool = False) -> Spoons:
    """Measure an acid as it is added, a liquid by itself, a powder by its solution; by whole quarters, never more."""
    spare = HALF_A_QUARTER_TSP if whole else 0.0
    if not acid.is_powder:
        return replace(_measured(max(teaspoons - spare, 0.0), None, TEASPOON_ML), exact_tsp=teaspoons)
    dissolved = _measured(max(teaspoons * SOLUTION_TSP_PER_POWDER_TSP - spare, 0.0), None, TEASPOON_ML)
    tsp = dissolved.tsp / SOLUTION_TSP_PER_POWDER_TSP
    return Spoons(teaspoons, tsp, tsp * (acid.grams_per_tsp or 0.0), dissolved.millilitres, dissolved.tsp)


def _scarce_notes(elements: Mapping[str, float]) -> Iterator[MixNote]:
    for element in scarce_elements(elements):
        yield MixNote(LITTLE_OF[element], shares_of_recipe(elements)[element])


def _notes(
    water: Water,
    at_first_standing_eaten: tuple[float, float, float],
    ec: Conductivity,
    poured: Sequence[tuple[str, Spoons]],
    *,
    with_acid: bool,
    no_step: bool,
) -> Iterator[MixNote]:
    ph, standing, eaten = at_first_standing_eaten
    if no_step and water.is_beyond_acid:
        yield MixNote("beyond acid", water.alkalinity_mg_l_caco3)
    elif no_step and (with_acid or ph > WINDOW_PH[1]):
        yield MixNote("no safe step of acid", KITCHEN_STEPS_TSP[-1], *WINDOW_PH)
    elif no_step and strip_reading(ph) >= WINDOW_PH[0]:
        yield MixNote("needs no acid", ph)
    if strip_reading(ph) < WINDOW_PH[0]:  # of acid, or of the feed alone
        yield MixNote("ph too low", ph, *WINDOW_PH)
    elif strip_reading(ph) > WINDOW_PH[1] and not no_step:  # more acid would lower it, but none can be added safely
        yield MixNote("ph too high", ph, *WINDOW_PH)
    if eaten > WINDOW_PH[1] and eaten - ph > STRIP_STEP and not (no_step and water.is_beyond_acid):
        yield MixNote("ph drifts", standing, upper=eaten)
    low, high = _span(EC_RANGES)
    if ec.upper < low:
        yield MixNote("weak", ec.value, low, high)
    if ec.lower > high:
        yield MixNote("strong", ec.value, low, high)
    for product, amount in poured:
        if amount.exact_tsp > 0 and (not amount.tsp or abs(amount.rounding_pct) > NOTABLE_ROUNDING_PCT):
            yield MixNote("too little for spoons", amount.exact_tsp, product=product)


def _span(ranges: Mapping[str, tuple[float, float]]) -> tuple[float, float]:
    return min(low for low, _ in ranges.values()), max(high for _, high in ranges.values())


@dataclass(frozen=True)
class ClassRow:
    """Acid for waters from one alkalinity to another, mg/L as calcium carbonate: for their middle, in safe steps."""

    name: Annotated[str, "Of the class of alkalinity."]
    lower: Annotated[float, "Lowest alkalinity, mg/L as calcium carbonate."]
    upper: Annotated[float, "Highest alkalinity, mg/L as calcium carbonate."]
    acid: Annotated[Spoons, "For the middle of the class."]
    step: Annotated[
        AcidStep | None, "What is safe at a time in the lowest; None where nothing is, and no acid goes in."
    ]
    ph_at_lower: Annotated[float, "What all of `acid` would give at the lowest alkalinity."]
    ph_at_upper: Annotated[float, "What it would give at the highest."]
    ph_standing: Annotated[float, "Of the middle, once it has come to equilibrium with the air."]
    ph_acid_eaten: Annotated[float, "Of the middle, once microbes have eaten all of the acid too."]


def acid_by_class(
    volume_l: float,
    acid: AcidProduct,
    ph_target: float,
    *,
    ph_start: float = USUAL_PH,
    temperature_c: float = USUAL_TEMPERATURE_C,
    feed: Feed | None = None,
    nutrient_tsp: float = 0.0,
    ratio: float = 1.0,
) -> tuple[ClassRow, ...]:
    """Return the acid for each alkalinity class, for a handout.

    Waters with next to no alkalinity get no acid, and the class that holds them is split. Amounts are those of
    chemistry times a ratio that waters were found to take beside it; it raises none above what leaves the lowest water
    of the class at `LOWEST_PH_AFTER_A_STEP` by chemistry, and none takes that water below `LOWEST_PH`.

    Examples
    --------
    >>> vinegar = AcidProduct("white vinegar 5 %", "acetic", pct_w_v=5.0)
    >>> rows = acid_by_class(20.0, vinegar, 5.8)
    >>> [(row.lower, row.acid.tsp, row.step.tsp if row.step else None) for row in rows]
    [(0.0, 0.0, None), (20.0, 2.75, 1.0), (60.0, 7.25, 1.0), (120.0, 12.25, 3.0), (180.0, 19.5, 3.0)]
    """

    def made(alkalinity: float, acid_tsp: float) -> Mix:
        water = Water(alkalinity, ph_start, temperature_c)
        return mix(volume_l, water, feed, nutrient_tsp, acid, acid_tsp=acid_tsp)

    def leaving(ph: float, alkalinity: float) -> float:
        """Return the teaspoons that leave a water at a pH."""
        moles = acid_for_ph(
            acid=acid.acid,
            ph_target=ph,
            alkalinity_mg_l_caco3=alkalinity,
            phosphate_mol_l=phosphate,
            **about,
        )
        return float(moles) * volume_l / acid.mol_per_tsp

    about: dict[str, Any] = {"ph_start": ph_start, "temperature_c": temperature_c}
    phosphate = _phosphate_mol_l(made(0.0, 0.0).elements_mg_l)
    safe_from = max(LEAST_ALKALINITY_OF_A_ROW, lowest_alkalinity_for_acid(acid, volume_l, **about))
    rows = []
    for name, lower, upper in ALKALINITY_CLASSES:
        bounds = (lower, safe_from, upper) if lower < safe_from < upper else (lower, upper)
        for low, high in itertools.pairwise(bounds):
            step = safe_acid_step(acid, volume_l, low, **about) if low >= safe_from else None
            wanted = _acid_measured(leaving(ph_target, (low + high) / 2) if step else 0.0, acid)
            if step:
                raised = min(ratio * wanted.exact_tsp, max(wanted.exact_tsp, leaving(LOWEST_PH_AFTER_A_STEP, low)))
                wanted = _acid_measured(raised, acid)
                if wanted.tsp > (most := leaving(LOWEST_PH, low)):
                    wanted = _acid_measured(most, acid, whole=True)
                step = step if wanted.tsp else None
            at_ends = made(low, wanted.tsp).ph, made(high, wanted.tsp).ph
            later = made((low + high) / 2, wanted.tsp)
            rows.append(ClassRow(name, low, high, wanted, step, *at_ends, later.ph_standing, later.ph_acid_eaten))
    return tuple(rows)
