"""The protocol of a trial, ``trial.toml``: what is compared, where, how it is laid out and how it will be decided."""

import hashlib
import math
from functools import lru_cache
from itertools import pairwise, product
from pathlib import Path
from typing import Annotated, Any, Self

import numpy as np
import pandas as pd
from pydantic import ValidationError, model_validator
from pydantic_core import PydanticCustomError

from trialkit.documents.problems import FactValue, Problem
from trialkit.domain.factors import FACTOR_COLUMNS
from trialkit.domain.reading_budget import PROTOCOL, OverBudget
from trialkit.domain.table_names import PROTOCOL_FILE
from trialkit.domain.treatment import SAME_DOSE_TSP, Treatment, is_same_dose
from trialkit.protocol.faults import MOST_FAULTS, RULE_ERROR, problems_of_toml, problems_of_validation
from trialkit.protocol.layout_faults import layout_faults
from trialkit.protocol.publication import Publication
from trialkit.protocol.sections import (
    Bucket,
    DecisionRule,
    FactorLevels,
    FactorName,
    Layout,
    Limits,
    Responses,
    Schedule,
    Section,
    TrialSection,
    Variation,
    broken_rule,
)
from trialkit.tables.nearest import plain_name
from trialkit.tables.problem import TrialError, too_large
from trialkit.tables.source_file import read_source
from trialkit.tables.toml_text import toml_data

MOST_TREATMENTS = 64
"""As many as four levels of each factor (common practice, no source)."""
READ_BY_RULES = (
    ("factors",),
    *(("layout", key) for key in ("kind", "block_size", "resolvable", "rows", "columns", "checks", "whole_plot")),
    ("decision", "current_practice"),
)
"""The keys that the rules between sections stand on."""


class Protocol(Section):
    """A trial as planned: the sections of trial.toml."""

    trial: Annotated[TrialSection, "What the trial is called and what it asks."]
    bucket: Annotated[Bucket, "The bucket, the same throughout the trial."] = Bucket()
    factors: Annotated[
        dict[FactorName, FactorLevels],
        "What is tried: cultivar, dose, acidifier. One with a single level is the same everywhere.",
    ]
    layout: Annotated[Layout, "How treatments are assigned to buckets."] = Layout()
    schedule: Annotated[Schedule, "When things are due."] = Schedule()
    variation: Annotated[Variation, "How much heads are taken to differ, for the plan."] = Variation()
    limits: Annotated[Limits, "What no plan may go beyond."] = Limits()
    responses: Annotated[Responses, "What is analysed."] = Responses()
    publication: Annotated[Publication, "What a data package tells of its origin."] = Publication()
    decision: Annotated[DecisionRule, "What the recommendation is compared with, and what would matter."]

    @property
    def varied_factors(self) -> tuple[FactorName, ...]:
        """Names of the factors with two or more levels, in the order of `FACTOR_COLUMNS`."""
        return tuple(name for name, factor in self._declared() if len(factor.levels) > 1)

    @property
    def practice(self) -> Treatment:
        """The current practice: as stated, with the one level of each factor that does not vary."""
        fixed = {name: factor.levels[0] for name, factor in self._declared() if len(factor.levels) == 1}
        levels = fixed | self.decision.current_practice
        return Treatment.of({FACTOR_COLUMNS[name]: level for name, level in levels.items()})

    @property
    def seed(self) -> int:
        """Where every random draw starts: the layout's seed, or one derived from the trial's id and question."""
        if self.layout.seed is not None:
            return self.layout.seed
        text = f"{self.trial.id}\n{self.trial.question}".encode()
        return int.from_bytes(hashlib.sha256(text).digest()[:4], "big")

    def seed_of(self, stream: int) -> int:
        """Seed of one stream of draws of an analysis."""
        return int(np.random.SeedSequence([self.seed, stream]).generate_state(1, np.uint64)[0])

    @property
    def treatment_columns(self) -> tuple[str, ...]:
        """Columns of the varied factors."""
        return tuple(FACTOR_COLUMNS[name] for name in self.varied_factors)

    def treatments(self) -> pd.DataFrame:
        """Return every combination of the levels of all declared factors.

        Returns
        -------
        pandas.DataFrame
            Columns cultivar, dose_tsp, acidifier; one row a treatment, the last factor changing fastest. An undeclared
            factor is ``""`` (text) or NaN (dose).
        """
        absent: dict[str, tuple[str | float, ...]] = {"cultivar": ("",), "dose": (float("nan"),), "acidifier": ("",)}
        levels = absent | {name: factor.levels for name, factor in self._declared()}
        return _combinations(*(levels[name] for name in FACTOR_COLUMNS)).copy()

    @property
    def is_sound(self) -> bool:
        """Whether its sections agree: of a protocol that was read they do, of a changed copy they may not."""
        return not _disagreements(self)

    def _declared(self) -> list[tuple[FactorName, FactorLevels]]:
        order = list(FACTOR_COLUMNS)
        return sorted(self.factors.items(), key=lambda item: order.index(item[0]))

    @model_validator(mode="after")
    def _sections_agree(self) -> Self:
        broken = list(_disagreements(self))
        if broken:
            raise PydanticCustomError(RULE_ERROR, "the sections disagree", {"several": tuple(broken)})
        return self


@lru_cache(maxsize=64)
def _combinations(*levels: tuple[str | float, ...]) -> pd.DataFrame:
    """Every combination of levels as a table, which nobody may change: a plan asks for the same few very often."""
    return pd.DataFrame(list(product(*levels)), columns=list(FACTOR_COLUMNS.values())).astype({"dose_tsp": "float64"})


def _disagreements(protocol: Protocol) -> list[dict[str, Any]]:
    """Collect every broken rule between sections, so that all can be told at once."""
    errors = [*_level_faults(protocol), *_feed_faults(protocol)]
    if not protocol.varied_factors:
        errors.append(broken_rule("TK-P07", "", "factors"))
    treatments = math.prod(len(factor.levels) for factor in protocol.factors.values())
    if treatments > MOST_TREATMENTS:
        errors.append(broken_rule("TK-P09", "", "factors", treatments=treatments, most=MOST_TREATMENTS))
    whole_plot = protocol.layout.whole_plot
    if whole_plot is not None and (whole_plot not in protocol.varied_factors or len(protocol.varied_factors) < 2):
        errors.append(broken_rule("TK-P06", "not varied", "layout", "whole_plot", factor=whole_plot))
    errors += layout_faults(protocol.layout, protocol.factors, protocol.varied_factors)
    errors += _practice_faults(protocol)
    return [error.context or {} for error in errors]


def _level_faults(protocol: Protocol) -> list[PydanticCustomError]:
    errors = []
    for name, factor in protocol._declared():
        path = ("factors", name, "levels")
        case, kind = ("doses", float) if name == "dose" else ("names", str)
        wrong = [level for level in factor.levels if not isinstance(level, kind)]
        if wrong:
            errors.append(broken_rule("TK-P04", case, *path, level=wrong[0]))
        elif len(set(factor.levels)) < len(factor.levels):
            repeated = next(level for level in factor.levels if factor.levels.count(level) > 1)
            errors.append(broken_rule("TK-P04", "twice", *path, level=repeated))
        elif name != "dose" and (alike := _alike_names(factor)):
            errors.append(broken_rule("TK-P04", "alike", *path, level=alike[1], other=alike[0]))
        elif name == "dose" and list(factor.levels) != sorted(factor.levels):
            errors.append(broken_rule("TK-P04", "disorder", *path, written=str(list(factor.levels))))
        elif name == "dose" and (close := _close_doses(factor)):
            doses = {"lower_tsp": close[0], "higher_tsp": close[1], "least_tsp": SAME_DOSE_TSP}
            errors.append(broken_rule("TK-P04", "close doses", *path, **doses))
    return errors


def _alike_names(factor: FactorLevels) -> tuple[str, str] | None:
    """Return the first two levels that differ in capitals, accents or blanks alone."""
    first: dict[str, str] = {}
    for level in factor.levels:
        if isinstance(level, str) and first.setdefault(plain_name(level), level) != level:
            return first[plain_name(level)], level
    return None


def _feed_faults(protocol: Protocol) -> list[PydanticCustomError]:
    errors = []
    for name, factor in protocol._declared():
        path = ("factors", name, "parts")
        if factor.parts and name != "dose":
            errors.append(broken_rule("TK-P12", "no dose", *path, factor=name))
        elif factor.parts and factor.product is None:
            errors.append(broken_rule("TK-P12", "no base", *path, part=next(iter(factor.parts))))
        elif factor.product in factor.parts:
            errors.append(broken_rule("TK-P12", "base", *path, str(factor.product), part=str(factor.product)))
    return errors


def _close_doses(factor: FactorLevels) -> tuple[float, float] | None:
    """Return the first two doses in a row that are too near to be two."""
    doses = [level for level in factor.levels if isinstance(level, float)]
    return next((pair for pair in pairwise(doses) if is_same_dose(*pair)), None)


def _practice_faults(protocol: Protocol) -> list[PydanticCustomError]:
    path, practice, errors = ("decision", "current_practice"), protocol.decision.current_practice, []
    for name in protocol.varied_factors:
        levels = protocol.factors[name].levels
        if name not in practice:
            errors.append(broken_rule("TK-P05", "missing", *path, name, levels=levels))
        elif practice[name] not in levels:
            errors.append(broken_rule("TK-P05", "no level", *path, name, level=practice[name], levels=levels))
    for name, level in practice.items():
        fixed = protocol.factors[name].levels if name in protocol.factors else ()
        if name not in protocol.varied_factors and level not in fixed:
            only: dict[str, FactValue] = {"only": fixed[0]} if fixed else {}
            errors.append(broken_rule("TK-P05", "fixed" if fixed else "no factor", *path, name, level=level, **only))
    return errors


def protocol_data(text: str) -> dict[str, Any]:
    """Read the text of a trial.toml as plain data.

    Raises
    ------
    TrialError
        If it is no TOML, or holds more than any protocol.
    """
    try:
        return toml_data(text)
    except OverBudget as over:
        raise TrialError([too_large(PROTOCOL_FILE, over)]) from over
    except ValueError as error:
        raise TrialError(problems_of_toml(PROTOCOL_FILE, error)) from error


def parse_protocol(text: str) -> Protocol:
    """Make a protocol from the text of a trial.toml.

    Raises
    ------
    TrialError
        With every problem found, not only the first.
    """
    data = protocol_data(text)
    try:
        return Protocol.model_validate(data)
    except ValidationError as error:
        raise TrialError(_every_problem(data, text, error)) from error


def _every_problem(data: dict[str, Any], text: str, error: ValidationError) -> list[Problem]:
    """Collect what validation found, and what it finds once the keys at fault are left out.

    Rules between keys are followed only when every key by itself is right; without this a misspelt key would hide them.
    """
    problems = problems_of_validation(PROTOCOL_FILE, text, error, Protocol)
    if error.error_count() > MOST_FAULTS:
        return problems
    rest = data
    for fault in error.errors(include_url=False):
        place = fault["loc"]
        if fault["type"] != "extra_forbidden" and any(place[: len(path)] == path for path in READ_BY_RULES):
            return problems  # without this key the rules between sections would blame what is right
        rest = _without(rest, place)
    try:
        Protocol.model_validate(rest)
    except ValidationError as hidden:
        blamed = tuple(f"{problem.column}." for problem in problems)
        later = problems_of_validation(PROTOCOL_FILE, text, hidden, Protocol)
        problems += [problem for problem in later if not f"{problem.column}.".startswith(blamed)]
    return sorted(problems, key=lambda problem: problem.row or 0)


def _without(data: dict[str, Any], place: tuple[int | str, ...]) -> dict[str, Any]:
    """Copy a section, leaving out the innermost key that a path leads to."""
    if not place or place[0] not in data:
        return data
    key, inner = str(place[0]), data[str(place[0])]
    if isinstance(inner, dict) and place[1:2] and place[1] in inner:
        return {**data, key: _without(inner, place[1:])}
    return {name: value for name, value in data.items() if name != key}


def read_protocol(path: Path) -> Protocol:
    """Read a protocol from a file, or the trial folder that holds trial.toml, as `parse_protocol`.

    Raises
    ------
    TrialError
        If the file cannot be read, or with every problem in it.
    """
    folder, name = (path, PROTOCOL_FILE) if path.is_dir() else (path.parent, path.name)
    source = read_source(folder, name, budget=PROTOCOL)
    if isinstance(source, Problem):
        raise TrialError([source])
    return parse_protocol(source.text)
