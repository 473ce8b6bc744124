"""Checking a trial folder: every problem at once, as an adviser reads it."""

import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Annotated, Literal

import pandas as pd

from trialkit.documents.problems import Problem
from trialkit.documents.returns import Correction
from trialkit.domain.reading_budget import PROTOCOL
from trialkit.domain.short_repr import ShortRepr
from trialkit.domain.table_names import COUNTY_FILE, OPTIONAL_TABLES, PROTOCOL_FILE, TABLE_NAMES, TableName
from trialkit.languages import LANGUAGES, Language
from trialkit.protocol.county import CountyBlock, read_county
from trialkit.protocol.publication import Publication
from trialkit.protocol.trial_protocol import Protocol, parse_protocol
from trialkit.rules import departure_rules, layout_rules, pattern_rules, record_rules, solution_rules
from trialkit.rules.amendments import (
    Amendments,
    amendments_are_in_order,
    amendments_of,
    buckets_that_count,
    heads_that_count,
)
from trialkit.rules.followed import followed, without_cells_at_fault
from trialkit.rules.hand_edits import hand_edits
from trialkit.rules.kept_documents import KEPT_FILES, KeptDocuments, kept_documents
from trialkit.rules.trial_tables import Tables, TrialTables
from trialkit.rules.unfinished import generation, open_conflicts, remembered_rows, unfinished_merge
from trialkit.tables.problem import PlanError, TrialError, first_problems
from trialkit.tables.resaved import Clues
from trialkit.tables.source_file import read_source
from trialkit.tables.table_schema import TableSchema, load_schema
from trialkit.tables.typed_tables import TableReading, empty_table, read_table

Stage = Literal["plan", "layout", "records"]
TABLES_OF_STAGE: Mapping[Stage, tuple[TableName, ...]] = {
    "plan": ("sites", "products"),
    "layout": ("sites", "products", "layout", "amendments"),
    "records": TABLE_NAMES,
}
"""Which tables are read at each stage of a trial."""
NEEDED_TABLES = ("sites", "layout", "heads")

TableRule = Callable[[Tables], Iterator[Problem]]
ProtocolRule = Callable[[TrialTables], Iterator[Problem]]

LAYOUT_TABLE_RULES: tuple[TableRule, ...] = (
    record_rules.names_are_declared,
    record_rules.gardens_have_names_of_their_own,
    layout_rules.places_are_distinct,
    layout_rules.identities_carry_a_check,
    layout_rules.sites_have_buckets,
    amendments_are_in_order,
    solution_rules.acids_are_of_the_kitchen,
)
TABLE_RULES: Mapping[Stage, tuple[TableRule, ...]] = {
    "plan": (record_rules.gardens_have_names_of_their_own, solution_rules.acids_are_of_the_kitchen),
    "layout": LAYOUT_TABLE_RULES,
    "records": (
        *LAYOUT_TABLE_RULES,
        record_rules.temperatures_are_in_order,
        record_rules.head_dates_are_in_order,
        record_rules.heads_not_cut_have_no_harvest,
        record_rules.harvests_have_an_outcome,
        record_rules.recorded_heads_were_transplanted,
        record_rules.fates_are_written,
        record_rules.weights_are_near_their_site,
        pattern_rules.weights_are_in_grams,
        pattern_rules.weights_are_read_to_the_gram,
        pattern_rules.weights_are_not_copied,
        pattern_rules.growth_is_not_too_fast,
        solution_rules.acid_lowers_ph,
        solution_rules.strength_follows_dose,
        solution_rules.solution_is_recorded_while_heads_grow,
    ),
}
"""Rules between tables: followed even when trial.toml cannot be read."""
FEED_RULES: tuple[ProtocolRule, ...] = (
    layout_rules.products_are_listed,
    layout_rules.parts_can_be_counted,
    layout_rules.feed_has_calcium,
    layout_rules.water_leaves_an_air_gap,
    solution_rules.waters_can_be_served_by_acid,
)
LAYOUT_PROTOCOL_RULES: tuple[ProtocolRule, ...] = (
    *FEED_RULES,
    layout_rules.treatments_are_planned,
    layout_rules.layout_compares_everything,
    layout_rules.whole_plots_hold_one_level,
    layout_rules.places_are_filled_in,
    layout_rules.layout_follows_the_plan,
    layout_rules.treatments_are_repeated,
    layout_rules.treatments_are_connected,
    layout_rules.layout_is_that_of_the_seed,
)
PROTOCOL_RULES: Mapping[Stage, tuple[ProtocolRule, ...]] = {
    "plan": (*FEED_RULES, layout_rules.layout_compares_everything),
    "layout": LAYOUT_PROTOCOL_RULES,
    "records": (
        *LAYOUT_PROTOCOL_RULES,
        record_rules.dates_lie_in_the_trial,
        record_rules.heads_fit_the_bucket,
        record_rules.harvested_heads_are_weighed,
        record_rules.growth_is_plausible,
        record_rules.every_head_is_recorded,
        pattern_rules.losses_do_not_follow_treatment,
        departure_rules.buckets_are_treated_as_randomised,
        solution_rules.ph_is_near_the_foreseen,
        solution_rules.meters_read_in_millisiemens,
        solution_rules.volumes_are_near_the_fill_line,
    ),
}
"""Rules between the tables and the protocol."""


@dataclass(frozen=True, repr=False)
class CheckedTrial(ShortRepr):
    """A trial folder without errors: protocol and typed tables.

    Attributes
    ----------
    folder : Path
    protocol : Protocol
    sites, products, layout, solution, visits, heads, weather, amendments : pandas.DataFrame
        Exactly the columns of the table's schema. Text is ``""`` where missing, numbers are float64 (NaN), integers
        Int64 (NA), dates datetime64[s] (NaT), yes/no boolean (NA). A table that was not read has no rows.
    sha256 : mapping of str to str
        Digest of each file read.
    corrections : tuple of Correction
        What was put right in the records, with the reason, in the order in which it was.
    contact : str
        Whom to ask and where to send sheets back to: as county.toml says, else trial.toml.
    publication : Publication
        What a data package tells of its origin: as trial.toml says, else county.toml.
    """

    folder: Path
    protocol: Protocol
    sites: pd.DataFrame
    products: pd.DataFrame
    layout: pd.DataFrame
    solution: pd.DataFrame
    visits: pd.DataFrame
    heads: pd.DataFrame
    weather: pd.DataFrame
    amendments: pd.DataFrame
    sha256: Mapping[str, str]
    corrections: tuple[Correction, ...] = ()
    contact: str = ""
    publication: Publication = field(default_factory=Publication)

    def language_of(self, site: str) -> Language:
        """Language of what a garden gets: its own, as sites.csv says, else the protocol's."""
        return _site_languages(self.sites, self.protocol).get(site, self.protocol.trial.language)

    @property
    def amended(self) -> Amendments:
        """Which gardens joined and withdrew, and the version of the layout."""
        return amendments_of(self.amendments, self.protocol.layout.blocks)

    @property
    def counting_heads(self) -> pd.DataFrame:
        """Rows of heads.csv without those of gardens that withdrew of which no record says anything."""
        return heads_that_count(self.heads, self.layout, self.amended.withdrawn)

    @property
    def counting_buckets(self) -> pd.DataFrame:
        """Rows of layout.csv that count, each with how many heads it has, ``planned``."""
        each = self.protocol.bucket.heads
        return buckets_that_count(self.layout, self.counting_heads, each, self.amended.withdrawn)

    @property
    def counting_sites(self) -> pd.DataFrame:
        """Rows of sites.csv of gardens with a bucket that counts."""
        return self.sites[self.sites["site"].isin(self.counting_buckets["site"])]


@dataclass(frozen=True)
class RecordPlace:
    """Which record a row is: its garden, and what its table's key says, such as ``{"bucket": "334X", "head": "2"}``."""

    site: str
    key: Mapping[str, str]


@dataclass(frozen=True, repr=False)
class CheckResult(ShortRepr):
    """What a check found; `trial` is None when anything is an error."""

    problems: tuple[Problem, ...]
    trial: CheckedTrial | None
    places: Annotated[
        Mapping[tuple[str, int], RecordPlace],
        "For each problem in a row of layout, solution, visits or heads, as its cells stand there.",
    ] = field(default_factory=dict)
    sites: Annotated[Mapping[str, str], "Every garden's short name and its full one."] = field(default_factory=dict)
    languages: Annotated[
        Mapping[str, Language], "Of what each garden gets, by its short name; empty where trial.toml cannot be read."
    ] = field(default_factory=dict)
    title: Annotated[str, "The trial's; empty where trial.toml cannot be read."] = ""
    contact: Annotated[str, "Whom to ask, as county.toml or trial.toml says; empty where it cannot be read."] = ""

    @property
    def errors(self) -> tuple[Problem, ...]:
        """The problems that must be fixed."""
        return tuple(problem for problem in self.problems if problem.severity == "error")

    @property
    def warnings(self) -> tuple[Problem, ...]:
        """The problems that are worth a second look."""
        return tuple(problem for problem in self.problems if problem.severity == "warning")

    @property
    def ok(self) -> bool:
        """Whether there is no error."""
        return not self.errors


def check_trial(folder: Path, *, stage: Stage = "records") -> CheckResult:
    """Check a trial folder, as far as the trial has come.

    Parameters
    ----------
    folder : Path
        The trial folder.
    stage : {"records", "layout", "plan"}
        Which tables are looked at: all; the layout and what it stands on; or only sites and products.

    Returns
    -------
    CheckResult
        Every problem found, in the order of files and rows, each cell blamed for its first cause only. Nothing in
        the folder makes this function raise. The tables are those of one merge: never some older and some newer.
    """
    while True:
        before = generation(folder)
        result = _checked(folder, stage)
        if generation(folder) == before:
            return result


def _checked(folder: Path, stage: Stage) -> CheckResult:
    unfinished = unfinished_merge(folder)
    if unfinished is not None:
        return CheckResult((unfinished,), None)
    kept = KeptDocuments() if stage == "plan" else kept_documents(folder)
    digests: dict[str, str] = {}
    problems = list(kept.problems)
    protocol, text = _read_protocol(folder, digests, problems)
    tables = TABLES_OF_STAGE[stage]
    readings: dict[TableName, TableReading] = {}
    for name in TABLE_NAMES:
        schema = load_schema(name)
        clues = clues_for(kept, schema, protocol, {table: reading.raw for table, reading in readings.items()})
        readings[name] = (
            _read_table(folder, name, clues, protocol, digests, problems) if name in tables else empty_table(schema)
        )
    for reading in readings.values():
        problems += reading.problems
    sound = {name: without_cells_at_fault(reading) for name, reading in readings.items()}
    of_tables = (one for rule in TABLE_RULES[stage] for one in followed(rule, Tables(sound)))
    later = list(first_problems(of_tables, "heads.csv"))
    corrections = kept.corrections.corrections if stage == "records" else ()
    if protocol is not None:
        whole = TrialTables(sound, protocol, text, corrections)
        later += first_problems((one for rule in PROTOCOL_RULES[stage] for one in followed(rule, whole)), "heads.csv")
    if stage == "records":
        later += [*open_conflicts(kept.conflicts), *followed(hand_edits, kept, readings, digests)]
    problems += _not_blamed_already(later, readings, problems)
    block = _county(folder, problems) if protocol else None
    contact = ((block.county.contact if block else "") or protocol.trial.contact_role) if protocol else ""
    places, sites = _record_places(problems, readings), _site_names(readings["sites"])
    about = (_site_languages(readings["sites"].frame, protocol), protocol.trial.title, contact) if protocol else ()
    result = CheckResult(tuple(sorted(problems, key=_place)), None, places, sites, *about)
    if protocol is None or not result.ok:
        return result
    frames = {name: reading.frame.reset_index(drop=True) for name, reading in readings.items()}
    told = protocol.publication
    return replace(
        result,
        trial=CheckedTrial(
            folder=folder,
            protocol=protocol,
            sha256=digests,
            corrections=corrections,
            contact=contact,
            publication=told.completed(block.publication) if block else told,
            **frames,
        ),
    )


def _county(folder: Path, problems: list[Problem]) -> CountyBlock | None:
    """Read the county's block.

    What is wrong with the block is told and keeps nobody from analysing a trial; pages that print it refuse it.
    """
    try:
        return read_county(folder)
    except TrialError as error:
        problems += (replace(one, severity="warning") for one in error.problems)
        return None


def _record_places(
    problems: list[Problem], readings: Mapping[TableName, TableReading]
) -> dict[tuple[str, int], RecordPlace]:
    """Say for each row with a problem which garden's record it is."""
    layout = readings["layout"].raw
    gardens = dict(zip(layout.get("bucket", ()), layout.get("site", ()), strict=False))
    found = {}
    for name in ("layout", "solution", "visits", "heads"):
        reading = readings[name]
        rows = {problem.row for problem in problems if problem.file == reading.file and problem.row}
        for position, row in enumerate(reading.frame.index):
            if row in rows:
                cells = {
                    column: texts[position] for column, texts in reading.raw.items() if column in reading.schema.columns
                }
                key = {column: cells.get(column, "") for column in reading.schema.primary_key}
                site = cells.get("site") or gardens.get(cells.get("bucket", ""), "")
                found[reading.file, int(row)] = RecordPlace(site, key)
    return found


def _site_names(sites: TableReading) -> dict[str, str]:
    """Return each garden's full name by its short one; short names that are not as they should be are left out."""
    wrong = sites.rows_at_fault("site")
    names = zip(sites.frame.index, sites.frame["site"].astype(str), sites.frame["name"].astype(str), strict=True)
    return {site: name or site for row, site, name in names if site and row not in wrong}


def _site_languages(sites: pd.DataFrame, protocol: Protocol) -> dict[str, Language]:
    """Return the language of what each garden gets: its own, else the protocol's; one that nobody knows is no one's."""
    usual = protocol.trial.language
    own = zip(sites["site"].astype(str), sites["language"], strict=True)
    return {site: str(language) if language in LANGUAGES else usual for site, language in own}


def read_trial(folder: Path, *, stage: Stage = "records") -> CheckedTrial:
    """Read a trial folder that must be without errors, as `check_trial`.

    The stage tells which tables are read.

    Raises
    ------
    TrialError
        With every error; a `PlanError` where only the plan is read.
    """
    result = check_trial(folder, stage=stage)
    if result.trial is None:
        raise (PlanError if stage == "plan" else TrialError)(result.errors)
    return result.trial


def _read_protocol(folder: Path, digests: dict[str, str], problems: list[Problem]) -> tuple[Protocol | None, str]:
    source = read_source(folder, PROTOCOL_FILE, budget=PROTOCOL)
    if isinstance(source, Problem):
        problems.append(source)
        return None, ""
    digests[PROTOCOL_FILE] = source.sha256
    try:
        return parse_protocol(source.text), source.text
    except TrialError as error:
        problems += error.problems
        return None, source.text


def clues_for(
    kept: KeptDocuments,
    schema: TableSchema,
    protocol: Protocol | None,
    tables: Mapping[TableName, Mapping[str, Sequence[str]]],
) -> Clues:
    """Gather what settles how a table is read that a spreadsheet program saved anew; `tables` hold declared names."""
    names = {key.column: tables.get(key.table, {}).get(key.other_column) for key in schema.foreign_keys}
    declared = {column: tuple(of_column) for column, of_column in names.items() if of_column is not None}
    return Clues(declared, years_of(protocol) if protocol else None, lambda: remembered_rows(kept, schema))


def years_of(protocol: Protocol) -> range | None:
    """Years that a trial may touch, if it is known when it began."""
    started = protocol.trial.started_on or protocol.schedule.sow_on
    return range(started.year - 1, started.year + 2) if started else None


def _read_table(
    folder: Path,
    name: TableName,
    clues: Clues,
    protocol: Protocol | None,
    digests: dict[str, str],
    problems: list[Problem],
) -> TableReading:
    schema = load_schema(name)
    if name in OPTIONAL_TABLES and not os.path.lexists(folder / schema.file):
        return replace(empty_table(schema), complete=True)
    needed = name in NEEDED_TABLES or (name == "products" and protocol and layout_rules.products_needed(protocol))
    severity: Literal["error", "warning"] = "error" if needed else "warning"
    source = read_source(folder, schema.file, severity=severity)
    if isinstance(source, Problem):
        problems.append(source)
        return empty_table(schema)
    digests[schema.file] = source.sha256
    return read_table(schema, source.text, severity_if_empty=severity, clues=clues)


def _not_blamed_already(
    later: list[Problem], readings: Mapping[TableName, TableReading], earlier: list[Problem]
) -> Iterator[Problem]:
    """Pass on the problems whose cell, or whole column, has no error yet."""
    blamed = {(p.file, p.row, p.column) for p in earlier if p.severity == "error"}
    missing = {(reading.file, name) for reading in readings.values() for name in reading.missing_columns}
    for problem in later:
        cell = (problem.file, problem.row, problem.column)
        if cell in blamed or ((problem.file, problem.column) in missing and problem.row != 1):
            continue
        if problem.rule == "TK-L07" and any(file == problem.file for file, *_ in blamed):
            continue  # a cell at fault makes it another layout by itself
        if problem.severity == "error" and problem.row is not None:
            blamed.add(cell)
        yield problem


def _place(problem: Problem) -> tuple[int, int]:
    files = (PROTOCOL_FILE, *(f"{name}.csv" for name in TABLE_NAMES), *KEPT_FILES, COUNTY_FILE)
    last = len(files)  # such as the county's logo
    return files.index(problem.file) if problem.file in files else last, problem.row or 0
