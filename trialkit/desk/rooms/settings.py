"""What the plan of a trial says, to be changed until its layout is frozen; the last change can be taken back."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal, get_args

from flask import Blueprint, Response, abort, redirect, request

from trialkit.desk import deeds
from trialkit.desk.application import desk, do, page, trial_folder, trial_page
from trialkit.desk.begun import begun_in, changing, read_begun, write_begun
from trialkit.desk.deeds import Deed
from trialkit.desk.field_faults import FieldFault, by_field, faults_of
from trialkit.desk.rooms.starting_room import said_cells, understood
from trialkit.desk.typed import NONE, acids_in, doses_in, form_values, names_in
from trialkit.documents.desk_documents import PlanBefore
from trialkit.documents.problems import Problem
from trialkit.domain.errors import NotComputed, WrongCall
from trialkit.domain.reading_budget import OverBudget
from trialkit.domain.table_names import PROTOCOL_FILE
from trialkit.domain.treatment import NO_PRODUCT
from trialkit.languages import gettext
from trialkit.protocol.people_list import people_in, people_list
from trialkit.protocol.randomise import why_frozen
from trialkit.protocol.setting import as_typed, is_frozen_key, kinds_of, path_of, value_from
from trialkit.protocol.starting import toml_value
from trialkit.steps.setting_steps import digest_of
from trialkit.tables.atomic import defused_texts
from trialkit.tables.problem import TrialError
from trialkit.tables.source_file import read_source
from trialkit.tables.table_schema import load_schema
from trialkit.tables.toml_text import toml_data
from trialkit.tables.typed_lists import PlanTable, read_list
from trialkit.words.key_words import choices_of, meaning_of, name_of, sections

if TYPE_CHECKING:
    from werkzeug.wrappers import Response as AnyResponse

room = Blueprint("settings", __name__, url_prefix="/trial/<name>")

FIRST = (
    "trial.question", "trial.title", "trial.season", "schedule.sow_on", "trial.started_on", "layout.blocks",
    "bucket.heads",
)  # fmt: skip
"""Keys that most advisers change, in the order in which they are asked; all others stand under More."""
NOT_ASKED = ("trial.id", "publication.people", "decision.current_practice")
"""What stays as it is, is a table of its own, or is asked with what is tried."""
LISTS: Mapping[PlanTable, str] = {"sites": "gardens.txt", "products": "shelf.txt", "people": "people.txt"}
"""Names of the files that the shown commands read lists from."""
FACTORS = ("cultivar", "dose", "acidifier")
BEFORE = "plan.json"
"""What the last change replaced, among what is begun in the trial."""
Kind = Literal["text", "date", "name", "names", "acid", "acids", "doses"]
"""What a setting holds, and so how what is typed is read."""


@dataclass(frozen=True)
class Setting:
    """A key of trial.toml as a form asks for it."""

    key: str
    label: str
    hint: str
    value: Annotated[str, "As it stands there now; empty where it does not."]
    usual: Annotated[str, "What counts where it is empty."] = ""
    choices: Annotated[tuple[tuple[str, str], ...], "Where it is one of a few."] = ()
    kind: Kind = "text"
    is_fixed: Annotated[bool, "Whether the layout, which is frozen, stands on it."] = False

    @property
    def field(self) -> str:
        """Name of its field."""
        return self.key.replace(".", "-")

    @property
    def said(self) -> str:
        """Its value in words."""
        return dict(self.choices).get(self.value, self.value)

    def value_of(self, text: str) -> object:
        """Read what was typed; None where it is empty."""
        if self.kind == "names":
            return names_in(text) or None
        if self.kind == "name":
            return text.strip() or None
        if self.kind in ("acid", "acids"):
            acids = acids_in(text)
            return (acids if self.kind == "acids" else " ".join(acids)) or None
        if self.kind == "doses":
            return [int(dose) if dose.is_integer() else dose for dose in doses_in(text)[0]] or None
        return value_from(path_of(self.key), text)


@room.get("/settings/")
def settings(name: str) -> Response:
    """Show what the plan says."""
    return _settings(name, {})


@room.post("/settings/")
def change(name: str) -> AnyResponse:
    """Set what was changed in the form; what somebody else changed meanwhile is never overwritten."""
    folder, form = trial_folder(name), form_values(request.form)
    digest = digest_of(folder / PROTOCOL_FILE)
    known = [one for group in _groups(folder) for one in group[1]]
    changed = [
        one for one in known if one.field in form and form[one.field].strip() != form.get(f"was-{one.field}", "")
    ]
    faults = [fault for one in changed if one.kind == "doses" for fault in doses_in(form[one.field], one.field)[1]]
    faults += [
        FieldFault(one.field, gettext("It was changed meanwhile, and says now: {now}", now=one.value or "–"))
        for one in changed
        if form.get(f"was-{one.field}", "") != one.value
    ]
    if faults:
        return _settings(name, form, faults)
    keys = {one.key: one.value_of(form[one.field]) for one in changed}
    for gone in [key for key, value in keys.items() if key.endswith(".levels") and value is None]:
        keys[gone.removesuffix(".levels")] = keys.pop(gone)  # a factor without levels is none
    if not keys:
        return redirect(trial_page(name, "settings/"), 303)
    try:
        return set_plan(name, keys, {}, {PROTOCOL_FILE: digest}, trial_page(name, "settings/"))
    except (TrialError, WrongCall) as error:
        fields = {one.key: one.field for one in known}
        return _settings(name, form, [*faults_of(error, lambda problem: _field_of(problem, fields))])


def _field_of(problem: Problem, fields: Mapping[str, str]) -> str:
    parts = (problem.column or "").split(".") if problem.file == PROTOCOL_FILE else []
    return next((fields[key] for n in range(len(parts), 0, -1) if (key := ".".join(parts[:n])) in fields), "")


def _settings(name: str, typed: Mapping[str, str], faults: list[FieldFault] | None = None) -> Response:
    folder = trial_folder(name)
    return page(
        "settings",
        422 if faults else 200,
        trial=desk().workspace.filed(name),
        groups=_groups(folder),
        typed=typed,
        faults=by_field(faults or ()),
        frozen=why_frozen(folder),
        undo=undo_of(name),
    )


@room.get("/list/<table>/")
def show_list(name: str, table: str) -> Response:
    """Show gardens, products or people as a list to be changed."""
    return _list(name, _plan_table(table), None)


@room.post("/list/<table>/")
def change_list(name: str, table: str) -> AnyResponse:
    """Show how a list is understood, or set it."""
    which, text, folder = _plan_table(table), form_values(request.form).get("text", ""), trial_folder(name)
    if request.form.get("go") != "save":
        return _list(name, which, text)
    if errors := [one for one in _problems(which, text) if one.severity == "error"]:
        return _list(name, which, text, [*faults_of(TrialError(errors), lambda _: "text")])
    if _text_of(folder, which) == text:
        return redirect(trial_page(name), 303)
    try:
        return set_plan(name, {}, {which: text}, {_kept_in(which): request.form.get("seen", "")}, trial_page(name))
    except (TrialError, WrongCall) as error:
        field = "text" if isinstance(error, TrialError) else ""
        return _list(name, which, text, [*faults_of(error, lambda one: field if _is_of(one, which) else "")])


def _problems(table: PlanTable, text: str) -> tuple[Problem, ...]:
    return people_in(text)[1] if table == "people" else read_list(load_schema(table), text).problems


def _kept_in(table: PlanTable) -> str:
    """Name the file that a list stands in."""
    return PROTOCOL_FILE if table == "people" else load_schema(table).file


def _is_of(one: Problem, table: PlanTable) -> bool:
    if table == "people" and one.file == PROTOCOL_FILE:
        return (one.column or "").startswith("publication.people")
    return one.file == load_schema(table).file


def _plan_table(table: str) -> PlanTable:
    found: PlanTable | None = next((one for one in get_args(PlanTable) if one == table), None)
    if found is None:
        abort(404)
    return found


def _list(name: str, table: PlanTable, text: str | None, faults: list[FieldFault] | None = None) -> Response:
    folder, schema = trial_folder(name), load_schema(table)
    shown = _text_of(folder, table) if text is None else text
    found, problems = read_list(schema, shown), _problems(table, shown)
    told = faults or ([*faults_of(TrialError(problems), lambda _: "text")] if problems else [])
    is_wrong = any(one.severity == "error" for one in problems)
    return page(
        "list",
        422 if faults or (is_wrong and shown.strip() and text is not None) else 200,
        trial=desk().workspace.filed(name),
        table=table,
        title={"sites": gettext("Gardens"), "products": gettext("Products"), "people": gettext("People")}[table],
        text=shown,
        seen=digest_of(folder / _kept_in(table)),
        columns=[(one.heading, gettext(one.description)) for one in schema.fields],
        understood=understood(schema, found),
        faults=by_field(told if shown.strip() else faults or ()),
        frozen=None if table == "people" else why_frozen(folder),
    )


def _text_of(folder: Path, table: PlanTable) -> str:
    """Write a table as a spreadsheet would paste it: tabs between cells, without columns that hold nothing.

    Raises
    ------
    TrialError
        If what is there is no text: saved from here, what could not be read of it would be lost.
    """
    if table == "people":
        return people_text(_value_at(_data(folder), "publication.people"))
    schema = load_schema(table)
    source = read_source(folder, schema.file)
    if isinstance(source, Problem) and source.rule != "TK-F01":
        raise TrialError([source])
    found = read_list(schema, "" if isinstance(source, Problem) else source.text)
    frame = found.reading.frame
    columns = {name: said_cells(schema.field(name), defused_texts(frame[name])) for name in found.columns}
    kept = {name: cells for name, cells in columns.items() if any(cells) or schema.field(name).required}
    rows = zip(*kept.values(), strict=True)
    lines = [[schema.field(name).heading for name in kept], *rows]
    return as_pasted(lines)


def people_text(people: object) -> str:
    """Write the people of a publication as a spreadsheet would paste them, with headings even where there are none."""
    return as_pasted(
        people_list([one for one in people if isinstance(one, Mapping)] if isinstance(people, list) else [])
    )


def as_pasted(lines: Iterable[Iterable[str]]) -> str:
    """Write cells as a spreadsheet would paste them."""
    return "\n".join("\t".join(_quoted(cell) for cell in cells) for cells in lines)


def _quoted(cell: str) -> str:
    return '"' + cell.replace('"', '""') + '"' if any(mark in cell for mark in '\t\n\r"') else cell


@room.post("/take-back")
def take_back(name: str) -> AnyResponse:
    """Take back the last change of the plan."""
    folder, deed = trial_folder(name), undo_of(name)
    if deed is None:
        abort(404)
    answer = do(deed, trial_page(name))
    with changing(folder) as begun:
        (begun / BEFORE).unlink(missing_ok=True)
    return answer


def undo_of(name: str) -> Deed | None:
    """Return what takes the last change of the plan back; None once anything else has changed the same files.

    Once the layout is frozen, only what was changed since then can be taken back.
    """
    folder = trial_folder(name)
    try:
        found = read_begun(PlanBefore, begun_in(folder) / BEFORE)
    except (NotComputed, WrongCall):  # then nothing can be taken back, and nothing else rests on it
        return None
    if (
        found is None
        or not (found.keys or found.tables)  # a table that was not there before is not taken away again
        or not found.after
        or found.frozen != (why_frozen(folder) is not None)
        or any(digest_of(folder / file) != is_now for file, is_now in found.after.items())
    ):
        return None
    keys = {key: value_from(path_of(key), text) for key, text in found.keys.items()}
    title = gettext("Take back: {what}", what=_listed(keys, found.tables))
    return _deed(title, name, folder, keys, found.tables, found.after)


def set_plan(
    name: str, keys: Mapping[str, object], tables: Mapping[PlanTable, str], seen: Mapping[str, str], where_next: str
) -> AnyResponse:
    """Set keys and tables of a trial's plan, and keep what takes that back."""
    folder = trial_folder(name)
    data = _data(folder)
    before = {key: _value_at(data, key) for key in keys}
    texts = {one: _text_before(folder, one) for one in tables if (folder / _kept_in(one)).is_file()}
    title = gettext("Set: {what}", what=_listed(keys, tables))
    answer = do(_deed(title, name, folder, keys, tables, seen), where_next)
    files = [PROTOCOL_FILE] * bool(keys) + [_kept_in(one) for one in tables]
    typed = {key: as_typed(path_of(key), value) for key, value in before.items()}
    with changing(folder) as begun:
        write_begun(
            begun / BEFORE,
            PlanBefore(
                keys=typed,
                tables=texts,
                after={file: digest_of(folder / file) for file in files},
                frozen=why_frozen(folder) is not None,
            ),
        )
    return answer


def _listed(keys: Iterable[str], tables: Iterable[PlanTable]) -> str:
    labels = _labels()
    named = {"sites": gettext("gardens"), "products": gettext("products"), "people": gettext("people")}
    return ", ".join([*(labels[key][0] if key in labels else key for key in keys), *(named[one] for one in tables)])


def _deed(
    title: str,
    name: str,
    folder: Path,
    keys: Mapping[str, object],
    tables: Mapping[PlanTable, str],
    seen: Mapping[str, str],
) -> Deed:
    words = [f"{key}={as_typed(path_of(key), value)}" for key, value in keys.items()]
    files = {one: LISTS[one] for one in tables}
    words += [word for one, file in files.items() for word in ("--table", f"{one}={file}")]
    run = partial(deeds.set_plan, folder, dict(keys), dict(tables), dict(seen))
    return Deed(title, (("set", name, *words),), run, tuple((files[one], tables[one].encode()) for one in tables))


def _text_before(folder: Path, table: PlanTable) -> str:
    return _text_of(folder, table) if table == "people" else (folder / _kept_in(table)).read_text("utf-8-sig")


def _data(folder: Path) -> dict[str, Any]:
    """Read the values of trial.toml as they stand there; none where it cannot be read."""
    try:
        return toml_data((folder / PROTOCOL_FILE).read_text("utf-8-sig"))
    except (OSError, ValueError, OverBudget):
        return {}


def _value_at(data: Mapping[str, Any], key: str) -> object:
    value: Any = data
    for part in path_of(key):
        value = value.get(part) if isinstance(value, dict) else None
    return value


def _groups(folder: Path) -> list[tuple[str, list[Setting]]]:
    """List all settings in groups: first those that most change, what is tried, then each section of trial.toml."""
    data, is_frozen = _data(folder), why_frozen(folder) is not None
    labels = _labels()
    every = {one.key: one for one in _settings_of(data, is_frozen=is_frozen)}
    first = [_labelled(every.pop(key), labels[key]) for key in FIRST]
    groups = [("", first), (gettext("What is tried"), [*_of_factors(data, is_frozen=is_frozen)])]
    for one in every.values():
        section = name_of(one.key.partition(".")[0])
        if groups[-1][0] != section:
            groups.append((section, []))
        groups[-1][1].append(one)
    return groups


def _labels() -> dict[str, tuple[str, str]]:
    return {
        "trial.question": (gettext("Question"), gettext("What the trial should find out.")),
        "trial.title": (gettext("Title"), gettext("Heading of its pages. If empty, the question.")),
        "trial.season": (gettext("Season"), gettext("Such as spring 2028.")),
        "schedule.sow_on": (gettext("Day of sowing"), gettext("With it, the plan makes a calendar.")),
        "trial.started_on": (
            gettext("First day of the trial"),
            gettext("Dates of records are checked against it. May be empty."),
        ),
        "layout.blocks": (gettext("Blocks in each garden"), gettext("Groups of buckets with each treatment once.")),
        "bucket.heads": (gettext("Heads in each bucket"), gettext("As many as the lid has holes.")),
    }


def _labelled(one: Setting, words: tuple[str, str]) -> Setting:
    label, hint = words
    return Setting(one.key, label, hint, one.value, one.usual, one.choices, one.kind, one.is_fixed)


def _of_factors(data: Mapping[str, Any], *, is_frozen: bool) -> Iterator[Setting]:
    """What is tried of each factor, and what gardeners use now."""
    titles = {"cultivar": gettext("Cultivars"), "dose": gettext("Doses"), "acidifier": gettext("Acids")}
    now = {
        "cultivar": gettext("Cultivar that gardeners grow now"),
        "dose": gettext("Teaspoons that gardeners use now"),
        "acidifier": gettext("Acid that gardeners use now"),
    }
    kinds: dict[str, tuple[Kind, Kind]] = {
        "cultivar": ("names", "name"),
        "dose": ("doses", "text"),
        "acidifier": ("acids", "acid"),
    }
    for name in FACTORS:
        levels = _value_at(data, f"factors.{name}.levels")
        told = "\n".join(map(_level, levels)) if isinstance(levels, list) else ""
        yield Setting(
            f"factors.{name}.levels",
            titles[name],
            gettext("One a line."),
            told,
            kind=kinds[name][0],
            is_fixed=is_frozen,
        )
        practice, key = _value_at(data, f"decision.current_practice.{name}"), f"decision.current_practice.{name}"
        hint = gettext("One of those above; empty where there is only one.")
        yield Setting(key, now[name], hint, _level(practice), kind=kinds[name][1], is_fixed=is_frozen)
    product, hint = (
        _level(_value_at(data, "factors.dose.product")),
        gettext("What the doses are of, named as in products."),
    )
    yield Setting("factors.dose.product", gettext("Nutrient"), hint, product, kind="name", is_fixed=is_frozen)


def _level(value: object) -> str:
    if value == NO_PRODUCT:
        return gettext(NONE)
    return "" if value is None else toml_value(value) if isinstance(value, int | float) else str(value)


def _settings_of(data: Mapping[str, Any], *, is_frozen: bool) -> Iterator[Setting]:
    """Every key of trial.toml that holds one value, or a short list of them, with what its schema says of it."""
    for section, kind in sections():
        for part, field in kind.model_fields.items():
            key, path = f"{section}.{part}", (section, part)
            if key in NOT_ASKED:
                continue
            usual = None if field.is_required() else field.get_default(call_default_factory=True)
            told = as_typed(path, usual) if usual not in (None, (), "") else ""
            choices = choices_of(field)
            yield Setting(
                key,
                name_of(part),
                meaning_of(field),
                as_typed(path, _value_at(data, key)),
                choices.get(told, gettext(told) if told else ""),
                (("", "–"), *choices.items()) if choices else (),
                "date" if date in kinds_of(field.annotation) else "text",
                is_frozen and is_frozen_key(path),
            )
