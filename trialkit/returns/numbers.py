"""Numbers as people write them: commas, units, other scripts; the doubtful ones are asked about."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from statistics import median

from trialkit.documents.returns import DecimalSeparator
from trialkit.domain.heads import NOT_CUT
from trialkit.domain.units import OUNCE_G
from trialkit.languages import in_every_language, translatable
from trialkit.returns.cell_text import is_not_known, means_nothing, says_none, tidy
from trialkit.returns.finding_log import Log
from trialkit.returns.recognising import ReturnedTable
from trialkit.tables.cell_values import NUMBER, plain_figures
from trialkit.tables.nearest import plain_name
from trialkit.tables.table_schema import Field
from trialkit.tables.written_dates import MONTHS

# Exact by definition: NIST Handbook 44, appendix C (avoirdupois pound 453.59237 g, ounce 1/16 of it; 3 teaspoons a
# tablespoon). 1 dS/m = 1 mS/cm.
UNITS: Mapping[str, Mapping[str, str]] = {
    "g": dict.fromkeys(("g", "gr", "gm", "gms", "gram", "grams", "gramme", "grammes"), "1")
    | dict.fromkeys(("kg", "kgs", "kilo", "kilos", "kilogram", "kilograms"), "1000")
    | dict.fromkeys(("oz", "ounce", "ounces"), "28.349523125")
    | dict.fromkeys(("lb", "lbs", "pound", "pounds"), "453.59237"),
    "L": dict.fromkeys(("l", "litre", "litres", "liter", "liters"), "1")
    | dict.fromkeys(("ml", "millilitre", "millilitres", "milliliter", "milliliters"), "0.001"),
    "[tsp_us]": dict.fromkeys(("tsp", "tsps", "teaspoon", "teaspoons", "level tsp", "level teaspoons"), "1")
    | dict.fromkeys(("tbsp", "tablespoon", "tablespoons"), "3"),
    "[pH]": {"ph": "1"},
    "mS/cm": dict.fromkeys(("ms/cm", "ms", "ds/m"), "1") | dict.fromkeys(("µs/cm", "us/cm", "µs", "us"), "0.001"),
}
IN_WORDS = (
    translatable("grams"),
    translatable("kilograms"),
    translatable("ounces"),
    translatable("pounds"),
    translatable("liters"),
    translatable("milliliters"),
    translatable("teaspoons"),
    translatable("level teaspoons"),
    translatable("tablespoons"),
)
"""Units that people write after a number, each in its own language; of one thing the last letter may be missing."""
WITH_UNIT = re.compile(r"(?P<number>[+-]?\d[\d.,]*(?:[ '’]\d{3}(?!\d)[\d.,]*)*)\s*(?P<unit>[^\W\d_%][\w/ ]*)\.?")
UNIT_FIRST = re.compile(r"(?P<unit>pH)\s*[:=]?\s*(?P<number>[+-]?\d[\d.,]*)", re.IGNORECASE)
COMMA_DECIMAL = re.compile(r"[+-]?(\d*,\d{1,2}|\d*,\d{4,}|0,\d+|\d{4,},\d+)", re.ASCII)
EITHER = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}", re.ASCII)
EITHER_POINT = re.compile(r"[+-]?[1-9]\d{0,2}\.\d{3}", re.ASCII)
COMMA_GROUPS = re.compile(r"[+-]?[1-9]\d{0,2}(,\d{3})+\.\d+|[+-]?[1-9]\d{0,2}(,\d{3}){2,}", re.ASCII)
POINT_GROUPS = re.compile(r"[+-]?[1-9]\d{0,2}(\.\d{3})+,\d+|[+-]?[1-9]\d{0,2}(\.\d{3}){2,}", re.ASCII)
SPACE_GROUPS = re.compile(r"[+-]?[1-9]\d{0,2}([ '’]\d{3})+([.,]\d+)?", re.ASCII)
NOT_ONE = re.compile(
    r"[~≈<>≤≥±?]|\d\s*(-|–|—|\.\.|to|/|or)\s*\d|^(about|approx|ca|circa|over|under|at least)\b", re.IGNORECASE
)
A_DATE = re.compile(
    rf"\d{{4}}-\d{{2}}-\d{{2}}( .*)?|\d{{1,2}}[-/ ]({'|'.join(month[:3] for month in MONTHS)})([-/ ]\d{{2,4}})?",
    re.ASCII | re.IGNORECASE,
)
NONE_MAY_BE_ZERO = ("nutrient_tsp", "acid_tsp")
FEWEST_WEIGHTS, LIKELY_GRAMS, LIKELY_KILOGRAMS = 3, 20.0, 2.0
GRAMS: Mapping[str, Decimal] = {"g": Decimal(1), "kg": Decimal(1000), "oz": Decimal(str(OUNCE_G))}


@dataclass
class _Number:
    """One numeric cell on its way: text without unit, and the unit's factor."""

    column: str
    position: int
    raw: str
    text: str
    factor: str = "1"
    unit: str = ""
    typed: bool = False


def repair_numbers(table: ReturnedTable, log: Log) -> None:
    """Rewrite the numbers of a table in plain figures and the column's unit, as far as they can be read in one way.

    What cannot be read stays as it is, for the check of the schema to refuse; what can be read in two ways is asked.
    """
    numbers = [
        number
        for field in table.schema.fields
        if field.type in ("number", "integer") and field.name in table.cells
        for number in _numbers(table, field, log)
    ]
    commas = any(_commas(number) for number in numbers)
    for name in _mixed_columns(numbers):
        example = next(n for n in numbers if n.column == name and _commas(n))
        log.ask("TK-R34", table.place(example.position, name), "mixed", text=example.raw)
    for number in numbers:
        _settle(number, table, log, commas=commas)
    if table.schema.name == "heads" and "weight_g" in table.cells:
        _zero_for_no_head(table, log)
        _other_units(table, {n.position for n in numbers if n.column == "weight_g" and not n.unit}, log)


def _numbers(table: ReturnedTable, field: Field, log: Log) -> list[_Number]:
    numbers = []
    cells = table.cells[field.name]
    key = field.name in table.schema.primary_key
    for position, raw in enumerate(cells):
        if not raw:
            continue
        place = table.place(position, field.name)
        text = cells[position] = tidy(raw, field, place, log)
        if means_nothing(text) and not key:
            cells[position] = _nothing(text, field, table, position, log)
        elif is_not_known(text) and not key:
            log.note("TK-R39", place, "not known", text=text)
            cells[position] = ""
        elif NOT_ONE.search(text):
            if not A_DATE.fullmatch(text):
                log.refuse("TK-R37", place, "number", text=text)
        elif A_DATE.fullmatch(text):
            pass
        elif text.startswith(("=", "+=", "@")):
            log.refuse("TK-R18", place, "as text", text=text)
        elif text:
            numbers.append(_split(table, field, position, text, log))
        if A_DATE.fullmatch(text):
            log.refuse("TK-R37", place, "made a date", text=text)
    return numbers


def _nothing(text: str, field: Field, table: ReturnedTable, position: int, log: Log) -> str:
    """Read a word for nothing as an empty cell, but ask where it may mean that nothing was added."""
    place = table.place(position, field.name)
    if field.name in NONE_MAY_BE_ZERO and says_none(text):
        log.ask("TK-R39", place, "nothing added", text=text, became="0")
        return "0"
    log.note("TK-R39", place, text=text)
    return ""


def _split(table: ReturnedTable, field: Field, position: int, text: str, log: Log) -> _Number:
    """Part number and unit, and write the figures of other scripts as plain ones."""
    plain = plain_figures(text)
    if plain != text:
        log.note("TK-R38", table.place(position, field.name), text=text, became=plain)
    number = _Number(field.name, position, text, plain, typed=table.typed.get(field.name, {}).get(position) == "number")
    match = UNIT_FIRST.fullmatch(plain) or WITH_UNIT.fullmatch(plain)
    units = UNITS.get(field.unit or "", {})
    if match:
        unit = re.sub(r"\s+", " ", match["unit"].strip().casefold().replace("μ", "µ"))
        factor = units.get(unit) or _in_another_language(unit, units)
        if factor:
            number.text, number.factor, number.unit = match["number"].strip(), factor, unit
    return number


def _in_another_language(unit: str, units: Mapping[str, str]) -> str | None:
    """Return the factor of a unit that is written out in any language."""
    plain = plain_name(unit)
    for word in IN_WORDS:
        if word in units and any(plain in (told, told[:-1]) for told in map(plain_name, in_every_language(word))):
            return units[word]
    return None


def _commas(number: _Number) -> bool:
    return not number.typed and bool(COMMA_DECIMAL.fullmatch(number.text) or POINT_GROUPS.fullmatch(number.text))


def _mixed_columns(numbers: list[_Number]) -> list[str]:
    """Name the columns in which commas and points both are decimal separators."""
    with_comma = {number.column for number in numbers if _commas(number)}
    with_point = {
        number.column
        for number in numbers
        if not number.typed
        and "." in number.text
        and not POINT_GROUPS.fullmatch(number.text)
        and not EITHER_POINT.fullmatch(number.text)
    }
    return sorted(with_comma & with_point)


def _settle(number: _Number, table: ReturnedTable, log: Log, *, commas: bool) -> None:
    place = table.place(number.position, number.column)
    plain = _plain(number, table, log, commas=commas)
    if plain is None:
        return
    if number.factor == "1":
        result = plain
        if number.unit:
            log.note("TK-R35", place, text=number.raw, became=result)
    else:
        result = _converted(plain, Decimal(number.factor))
        log.note(
            "TK-R35",
            place,
            "converted",
            text=number.raw,
            became=result,
            unit=number.unit,
            factor=number.factor.rstrip("."),
            column_unit=_unit_word(table, number),
        )
    table.cells[number.column][number.position] = result


def _unit_word(table: ReturnedTable, number: _Number) -> str:
    unit = table.schema.field(number.column).unit or ""
    return "tsp" if unit == "[tsp_us]" else unit.strip("[]")


def _converted(plain: str, factor: Decimal) -> str:
    """Multiply exactly, and keep two decimals where the factor is no power of ten."""
    value = Decimal(plain) * factor
    if factor.normalize().as_tuple().digits != (1,):
        value = value.quantize(Decimal("0.01"))
    return f"{value.normalize():f}"


def _plain(number: _Number, table: ReturnedTable, log: Log, *, commas: bool) -> str | None:
    """Return a number with a point before decimals and no other mark; None if it is asked about or cannot be read."""
    text, place = number.text, table.place(number.position, number.column)
    if EITHER.fullmatch(text) or (
        not number.typed and EITHER_POINT.fullmatch(text) and (commas or _may_be_thousands(number, table))
    ):
        return _either(number, table, log)
    if NUMBER.fullmatch(text):
        return text
    if COMMA_DECIMAL.fullmatch(text):
        plain = text.replace(",", ".")
        log.note("TK-R33", place, text=number.raw, became=plain)
        return plain
    if COMMA_GROUPS.fullmatch(text) or POINT_GROUPS.fullmatch(text):
        grouping = "," if COMMA_GROUPS.fullmatch(text) else "."
        plain = text.replace(grouping, "").replace(",", ".")
        log.note("TK-R33", place, "one way", text=number.raw, became=plain)
        return plain
    if SPACE_GROUPS.fullmatch(text):
        plain = re.sub(r"[ '’]", "", text).replace(",", ".")
        log.ask("TK-R34", place, "gap", text=number.raw, became=plain)
        return plain
    return None


def _may_be_thousands(number: _Number, table: ReturnedTable) -> bool:
    """Tell whether a number with three decimals is one that its column accepts without the point, too."""
    field, whole = table.schema.field(number.column), int(number.text.replace(".", "")) * Decimal(number.factor)
    return isinstance(field.maximum, int | float) and whole <= field.maximum


def _either(number: _Number, table: ReturnedTable, log: Log) -> str | None:
    """Read a number whose one mark may separate decimals or thousands, as was answered."""
    mark: DecimalSeparator = "comma" if "," in number.text else "point"
    decimal, whole = number.text.replace(",", "."), re.sub(r"[.,]", "", number.text)
    place = table.place(number.position, number.column)
    if log.answers.decimals is None:
        other = "point" if mark == "comma" else "comma"
        answers = (f"--decimals {mark}", f"--decimals {other}")
        readings = {"mark": mark, "other": other, "decimal": decimal, "whole": whole}
        log.ask_option("TK-R34", place, answers, "either", text=number.raw, **readings)
        return None
    plain = decimal if log.answers.decimals == mark else whole
    log.note("TK-R34", place, option=f"--decimals {log.answers.decimals}", text=number.raw, became=plain)
    return plain


def _zero_for_no_head(table: ReturnedTable, log: Log) -> None:
    """Empty a weight of 0 where the outcome says that there was no head to weigh."""
    weights, outcomes = table.cells["weight_g"], table.column("outcome")
    for position, (weight, outcome) in enumerate(zip(weights, outcomes, strict=True)):
        if outcome in NOT_CUT and NUMBER.fullmatch(weight) and float(weight) == 0:
            log.note("TK-R39", table.place(position, "weight_g"), "not weighed", text=weight, outcome=outcome)
            weights[position] = ""


def _other_units(table: ReturnedTable, without_unit: set[int], log: Log) -> None:
    """Ask about weights that would be like the others, or like lettuce, in another unit."""
    cells = table.cells["weight_g"]
    weights = {i: float(text) for i, text in enumerate(cells) if NUMBER.fullmatch(text) and 0 < float(text) < 1e9}
    heavy = [weight for weight in weights.values() if weight >= LIKELY_GRAMS]
    asked: dict[int, str] = {}
    if len(heavy) >= FEWEST_WEIGHTS and 2 * len(heavy) > len(weights):
        usual = median(heavy)
        asked = {i: "kg" for i, weight in weights.items() if usual / 5 <= 1000 * weight <= 5 * usual}
    elif len(weights) >= FEWEST_WEIGHTS and (usual := median(weights.values())) < LIKELY_GRAMS:
        unit = "kg" if usual < LIKELY_KILOGRAMS else "oz"
        asked = {i: unit for i, weight in weights.items() if weight < LIKELY_GRAMS}
    for i, unit in asked.items():
        if i in without_unit:
            _ask_unit(table, i, unit, log)


def _ask_unit(table: ReturnedTable, position: int, likely: str, log: Log) -> None:
    cells, place = table.cells["weight_g"], table.place(position, "weight_g")
    text = cells[position]
    chosen = log.answers.weights
    if chosen is None:
        answers = (f"--weights {likely}", "--weights g")
        log.ask_option("TK-R36", place, answers, likely, text=text, weight_g=_converted(text, GRAMS[likely]))
    elif chosen != "g":
        became = _converted(text, GRAMS[chosen])
        log.note("TK-R36", place, option=f"--weights {chosen}", text=text, became=became)
        cells[position] = became
