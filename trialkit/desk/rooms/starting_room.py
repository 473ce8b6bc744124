"""Starting a trial: four pages, each of which holds what was typed on the others; what is typed is kept as a draft."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from itertools import count
from typing import TYPE_CHECKING, Annotated, Any

from flask import Blueprint, Response, redirect, request

from trialkit.desk import deeds
from trialkit.desk.application import desk, do, page
from trialkit.desk.deeds import Deed
from trialkit.desk.drafts import Drafts
from trialkit.desk.field_faults import FieldFault, by_field, faults_of
from trialkit.desk.typed import acids_in, doses_in, form_values, names_in, whole_number_fault, whole_number_in
from trialkit.documents.desk_documents import TrialDraft
from trialkit.domain.errors import WrongCall
from trialkit.domain.thresholds import MOST_BLOCKS
from trialkit.domain.treatment import NO_PRODUCT
from trialkit.languages import ENGLISH, LANGUAGES, gettext, own_name, spoken
from trialkit.protocol.setting import as_typed, path_of, value_from
from trialkit.protocol.starting import LARGEST_SEED, NewTrial, fault_of_sites, id_from, new_trial_text, toml_value
from trialkit.steps.setting_steps import Settings, files_to_start
from trialkit.tables.atomic import csv_of_texts, csv_text
from trialkit.tables.problem import TrialError
from trialkit.tables.table_schema import Field, TableSchema, load_schema
from trialkit.tables.typed_lists import PlanTable, TypedList, read_list

if TYPE_CHECKING:
    from werkzeug.wrappers import Response as AnyResponse

    from trialkit.documents.problems import Problem

room = Blueprint("starting", __name__, url_prefix="/new")

STEPS = (
    ("question", "cultivars", "doses", "nutrient", "acidifiers"),
    ("practice_cultivar", "practice_dose", "practice_acidifier"),
    (
        "gardens", "season", "sow_on", "started_on", "blocks", "heads", "blind", "language", "measures", "name", "seed",
    ),
    (),
)  # fmt: skip
"""Fields of each page; the second has those of products too, and the last shows what was understood."""
SETTINGS = {
    "season": "trial.season",
    "sow_on": "schedule.sow_on",
    "started_on": "trial.started_on",
    "heads": "bucket.heads",
    "blind": "trial.blind",
    "language": "trial.language",
    "measures": "trial.measures",
}
"""Fields that `set` takes, by what it calls them."""
FIELDS_OF_KEYS = {
    **{key: name for name, key in SETTINGS.items()},
    "trial.question": "question",
    "trial.title": "question",
    "trial.id": "name",
    "factors.cultivar": "cultivars",
    "factors.dose.product": "nutrient",
    "factors.dose": "doses",
    "factors.acidifier": "acidifiers",
    "factors": "cultivars",
    "decision.current_practice.cultivar": "practice_cultivar",
    "decision.current_practice.dose": "practice_dose",
    "decision.current_practice.acidifier": "practice_acidifier",
    "decision.current_practice": "practice_cultivar",
    "layout.blocks": "blocks",
    "layout.seed": "seed",
}
RANGES = {"blocks": (1, MOST_BLOCKS), "seed": (0, LARGEST_SEED)}
"""Whole numbers that are taken."""
USUAL = {"blocks": "3", "heads": "4", "language": ENGLISH, "measures": ""}
ABOUT_THE_FORM = ("token", "at", "go", "draft", "instead_of")
"""Fields that hold nothing of the trial."""
GARDENS_FILE, PRODUCTS_FILE = "gardens.csv", "shelf.csv"
COLUMNS_OF = {
    "nutrient": ("n_pct", "p2o5_pct", "k2o_pct", "ca_pct", "mg_pct", "grams_per_tsp", "price_per_kg"),
    "acid": ("acid", "acid_pct_w_v", "grams_per_tsp", "price_per_l", "price_per_kg"),
}
"""What a label tells of each kind of product."""


@dataclass(frozen=True)
class LabelledProduct:
    """A product of the trial, and what was typed of its label."""

    name: str
    kind: str
    number: Annotated[int, "In the names of its fields."]

    @property
    def fields(self) -> tuple[Field, ...]:
        """What its label may tell."""
        schema = load_schema("products")
        return tuple(schema.field(column) for column in COLUMNS_OF[self.kind])

    @staticmethod
    def choices(field: Field) -> list[tuple[str, str]]:
        """Values of a column that lists them, with their words."""
        return [("", gettext("not told")), *((one, field.said(one)) for one in field.listed)]

    def named(self, column: str) -> str:
        """Name its field of a column."""
        return f"product-{self.number}-{column}"


@dataclass(frozen=True)
class Draft:
    """What was typed so far, as it is understood."""

    typed: Mapping[str, str]
    cultivars: list[str] = field(init=False)
    doses: list[float] = field(init=False)
    acidifiers: list[str] = field(init=False)
    gardens: TypedList = field(init=False)
    faults: list[FieldFault] = field(init=False)

    def __post_init__(self) -> None:
        """Read the lists."""
        doses, faults = doses_in(self.said("doses"))
        known = {
            "cultivars": names_in(self.said("cultivars")),
            "doses": doses,
            "acidifiers": acids_in(self.said("acidifiers")),
            "gardens": read_list(load_schema("sites"), self.said("gardens")),
            "faults": faults,
        }
        for name, value in known.items():
            object.__setattr__(self, name, value)

    def said(self, name: str) -> str:
        """What was typed into a field."""
        return self.typed.get(name, USUAL.get(name, "")).strip()

    @property
    def blocks(self) -> int:
        """Blocks in each garden; the usual where none can be read."""
        found = whole_number_in(self.said("blocks"), *RANGES["blocks"])
        return int(USUAL["blocks"]) if found is None else found

    @property
    def nutrient(self) -> str:
        """The nutrient, where doses of it are tried."""
        return self.said("nutrient") if self.doses else ""

    @property
    def told_doses(self) -> list[str]:
        """The doses, as they are written."""
        return [toml_value(dose) for dose in self.doses]

    @property
    def choices(self) -> dict[str, list[str]]:
        """Levels of each factor that has several, as they are written."""
        levels = {
            "cultivar": self.cultivars,
            "dose": self.told_doses,
            "acidifier": self.acidifiers,
        }
        return {name: known for name, known in levels.items() if len(known) > 1}

    @property
    def practice(self) -> dict[str, str | float]:
        """What gardeners use now, as far as it was chosen."""
        chosen = {name: self.said(f"practice_{name}") for name in self.choices}
        return {
            name: float(level) if name == "dose" else level
            for name, level in chosen.items()
            if level in self.choices[name]
        }

    @property
    def products(self) -> list[LabelledProduct]:
        """Nutrient and acids, as ``trialkit new`` lists them."""
        acids = [name for name in self.acidifiers if name != NO_PRODUCT]
        named = [(self.nutrient, "nutrient")] * bool(self.nutrient) + [(name, "acid") for name in acids]
        return [LabelledProduct(name, kind, number) for number, (name, kind) in enumerate(named, start=1)]

    @property
    def products_text(self) -> str:
        """The table of products; empty where nothing was typed of their labels."""
        rows = [{one.name: self.said(of.named(one.name)) for one in of.fields} for of in self.products]
        if not any(map(any, (row.values() for row in rows))):
            return ""
        columns = ["product", "kind", *(name for name in load_schema("products").columns if any(map(_has(name), rows)))]
        pairs = zip(self.products, rows, strict=True)
        texts = [[{"product": of.name, "kind": of.kind, **row}.get(name, "") for name in columns] for of, row in pairs]
        return csv_of_texts([columns, *texts])

    @property
    def sites(self) -> list[str]:
        """Short names of the gardens."""
        return [str(name) for name in self.gardens.reading.frame["site"] if name]

    @property
    def gardens_text(self) -> str:
        """The table of gardens; empty where there are only names, which ``trialkit new`` takes."""
        columns = list(self.gardens.columns)
        return csv_text(self.gardens.reading.frame[columns]) if columns != ["site"] else ""

    @property
    def folder(self) -> str:
        """Name of the trial's folder: as typed, else one that is free."""
        made = id_from(self.said("season") or self.said("question"))[:36].strip("-")
        names = (f"{made}-{number}" if number > 1 else made for number in count(1))
        return self.said("name") or next(name for name in names if not (desk().workspace.folder / name).exists())

    @property
    def keys(self) -> dict[str, object]:
        """What is set beyond the answers of ``trialkit new``."""
        told = {key: self.said(name) for name, key in SETTINGS.items()}
        told["bucket.heads"] = "" if self.said("heads") == USUAL["heads"] else self.said("heads")
        told["trial.language"] = "" if self.said("language") == ENGLISH else self.said("language")
        return {key: value_from(path_of(key), text) for key, text in told.items() if text}

    @property
    def tables(self) -> dict[PlanTable, tuple[str, str]]:
        """Tables that are set, with the names of their files."""
        told: dict[PlanTable, tuple[str, str]] = {
            "sites": (GARDENS_FILE, self.gardens_text),
            "products": (PRODUCTS_FILE, self.products_text),
        }
        return {name: one for name, one in told.items() if one[1]}

    @property
    def table_texts(self) -> dict[PlanTable, str]:
        """Tables that are set."""
        return {name: text for name, (_, text) in self.tables.items()}

    def answers(self, seed: int) -> dict[str, Any]:
        """What `trialkit.Trial.new` takes."""
        return {
            "question": self.said("question"),
            "sites": self.sites,
            "practice": self.practice,
            "seed": seed,
            "cultivars": self.cultivars,
            "doses": self.doses,
            "acidifiers": self.acidifiers,
            "nutrient": self.nutrient,
            "blocks": self.blocks,
            "settings": self.keys,
            "tables": self.table_texts,
        }

    def commands(self, seed: int) -> tuple[tuple[str, ...], ...]:
        """The commands that do the same."""
        lists = {
            "--cultivar": self.cultivars,
            "--dose": self.told_doses,
            "--acidifier": self.acidifiers,
            "--site": self.sites,
            "--current": [toml_value(one) if isinstance(one, float) else one for one in self.practice.values()],
        }
        words = [word for option, values in lists.items() for value in values for word in (option, value)]
        nutrient = ("--nutrient", self.nutrient) if self.nutrient else ()
        question, sizes = self.said("question"), ("--blocks", str(self.blocks), "--seed", str(seed))
        new = ("new", self.folder, "--question", question, *words, *nutrient, *sizes)
        keys = [f"{key}={as_typed(path_of(key), value)}" for key, value in self.keys.items()]
        tables = [word for name, (file, _) in self.tables.items() for word in ("--table", f"{name}={file}")]
        return (new, ("set", self.folder, *keys, *tables)) if keys or tables else (new,)


def _has(name: str) -> Callable[[Mapping[str, str]], bool]:
    return lambda row: bool(row.get(name))


def _drafts() -> Drafts:
    return Drafts(desk().workspace.folder)


@room.get("/")
def begin() -> AnyResponse:
    """Ask the first questions, or go on with what was begun."""
    identity = request.args.get("draft", "")
    if not identity:
        _drafts().refuse_more()
        return _shown(Draft({"language": spoken()}), 1)  # volunteers most likely speak what their adviser speaks
    found = _drafts().find(identity)
    return _shown(Draft(found.typed), _step(str(found.step))) if found else redirect("/", 303)


@room.post("/keep")
def keep() -> Response:
    """Keep what is typed while it is being typed; its page stays."""
    _keep(_typed(), _step(request.form.get("at", "")))
    return Response(status=204)


@room.post("/throw-away")
def throw_away() -> AnyResponse:
    """Throw a draft away."""
    _drafts().throw_away(request.form.get("draft", ""))
    return redirect("/", 303)


def _typed() -> dict[str, str]:
    return {name: text for name, text in form_values(request.form).items() if name not in ABOUT_THE_FORM}


def _keep(typed: Mapping[str, str], step: int) -> None:
    """Keep what was typed, if it is anything, under the name that its window was given."""
    if any(text.strip() for name, text in typed.items() if name not in USUAL):
        form = request.form
        _drafts().keep(form.get("draft", ""), TrialDraft(step=step, typed=typed), form.get("instead_of", ""))


@room.post("/")
def go_on() -> AnyResponse:
    """Go to the page that a button names, or stay where something is wrong; at the end, start the trial."""
    typed, at, wanted = _typed(), _step(request.form.get("at", "")), request.form.get("go", "")
    _keep(typed, at if wanted == "start" else _step(wanted))
    draft = Draft(typed)
    if wanted == "start":
        return _started(draft)
    goal = _step(wanted)
    if goal > at:
        for step in range(1, goal):
            if faults := _faults(draft, step):
                return _shown(draft, step, faults)
    return _shown(draft, goal)


def _step(text: str) -> int:
    return int(text) if text in ("1", "2", "3", "4") else 1


def _started(draft: Draft) -> AnyResponse:
    """Start the trial, or go back to the first page on which something is wrong."""
    for step in (1, 2, 3):
        if faults := _faults(draft, step):
            return _shown(draft, step, faults)
    seed = whole_number_in(draft.said("seed"), *RANGES["seed"])
    seed = secrets.randbelow(LARGEST_SEED) if seed is None else seed
    folder = desk().workspace.new_folder(draft.folder)
    files = tuple((file, text.encode("utf-8")) for file, text in draft.tables.values())
    name = folder.name  # once it is there, another would be free
    title = gettext("Start the trial {name}", name=name)
    run = partial(deeds.start, folder, draft.answers(seed))
    try:
        started = do(Deed(title, draft.commands(seed), run, files), f"/trial/{name}/")
        _drafts().throw_away(request.form.get("draft", ""))
        return started
    except FileExistsError:  # another window was quicker
        return _shown(draft, 3, _faults_of_name_and_numbers(draft))
    except TrialError as error:
        faults = [*faults_of(error, partial(_field_of, draft))]
        steps = [number for number, names in enumerate(STEPS, 1) if any(one.field in names for one in faults)]
        return _shown(
            draft, 2 if any(one.field.startswith("product-") for one in faults) else min(steps, default=4), faults
        )


def _faults(draft: Draft, step: int) -> list[FieldFault]:
    """Tell what is wrong on a page; what later pages ask is taken to be answered rightly."""
    faults: list[FieldFault] = []
    if step == 1:
        faults += draft.faults
        if not draft.said("question"):
            faults.append(FieldFault("question", gettext("Write what the trial should find out.")))
        if not draft.choices and not faults:
            told = gettext(
                "Nothing varies, so there is nothing to compare. Give two or more cultivars, doses or acids."
            )
            faults.append(FieldFault("cultivars", told))
        if draft.doses and not draft.said("nutrient"):
            faults.append(
                FieldFault("nutrient", gettext("Name the nutrient that the doses are of, as its bag names it."))
            )
    if step == 2:
        lacking = [name for name in draft.choices if name not in draft.practice]
        faults += (FieldFault(f"practice_{name}", gettext("Choose what gardeners use now.")) for name in lacking)
        if draft.products_text:
            found = read_list(load_schema("products"), draft.products_text).problems
            faults += faults_of(TrialError(found), partial(_field_of, draft)) if found else ()
    if step == 3:
        faults += _faults_of_gardens(draft)
        faults += _faults_of_name_and_numbers(draft)
    if faults:
        return faults
    try:
        if step < 3:
            new_trial_text(_assumed(draft))
        else:  # all is known by now
            files_to_start(_assumed(draft), Settings(draft.keys, draft.table_texts))
    except TrialError as error:
        return [one for one in faults_of(error, partial(_field_of, draft)) if one.field in STEPS[step - 1]]
    return []


def _faults_of_gardens(draft: Draft) -> list[FieldFault]:
    if not draft.said("gardens"):
        return [FieldFault("gardens", gettext("Name at least one garden."))]
    if errors := [one for one in draft.gardens.problems if one.severity == "error"]:
        return list(faults_of(TrialError(errors), lambda _: "gardens"))
    fault = fault_of_sites(draft.sites)
    return [FieldFault("gardens", str(fault))] if fault else []


def _faults_of_name_and_numbers(draft: Draft) -> list[FieldFault]:
    try:
        desk().workspace.new_folder(draft.folder)
    except WrongCall as error:
        return [FieldFault("name", str(error))]
    numbers = {name: draft.said(name) for name in ("blocks", "seed")}
    odd = [
        name
        for name, text in numbers.items()
        if whole_number_in(text, *RANGES[name]) is None and (text or name != "seed")
    ]
    return [FieldFault(name, whole_number_fault(*RANGES[name])) for name in odd]


def _assumed(draft: Draft) -> NewTrial:
    """Make the trial of a draft, with answers that fit where none were given yet."""
    levels = {name: float(known[0]) if name == "dose" else known[0] for name, known in draft.choices.items()}
    return NewTrial(
        question=draft.said("question") or "?",
        cultivars=draft.cultivars,
        doses=draft.doses,
        acidifiers=draft.acidifiers,
        sites=draft.sites,
        current_practice=levels | draft.practice,
        seed=1,
        blocks=draft.blocks,
        nutrient=draft.nutrient,
    )


def _field_of(draft: Draft, one: Problem) -> str:
    """Find the field that a problem is of."""
    if one.file == "sites.csv":
        return "gardens"
    if one.file == "products.csv":
        product = next((of for of in draft.products if one.row == of.number + 1), None)
        return product.named(one.column) if product and one.column in COLUMNS_OF[product.kind] else ""
    parts = (one.column or "").split(".")
    keys = (".".join(parts[:count]) for count in range(len(parts), 0, -1))
    return next((FIELDS_OF_KEYS[key] for key in keys if key in FIELDS_OF_KEYS), "")


def _shown(draft: Draft, step: int, faults: Sequence[FieldFault] = ()) -> Response:
    carried = {name: text for name, text in draft.typed.items() if name not in _names_on(draft, step)}
    identity = request.form.get("draft") or Drafts.new_identity()
    begun = identity if request.method == "POST" else request.args.get("draft", "")
    return page(
        "starting",
        422 if faults else 200,
        step=step,
        draft=draft,
        identity=identity,
        back_here=f"/new/?draft={begun}" if begun else "/new/",
        instead_of=request.args.get("draft", ""),
        carried=carried,
        own_names=[(one, own_name(one)) for one in LANGUAGES],
        faults=by_field(faults),
        understood=understood(load_schema("sites"), draft.gardens) if step == 4 else (),
        warnings=faults_of(TrialError(draft.gardens.problems), lambda _: "gardens") if step == 4 else (),
    )


def _names_on(draft: Draft, step: int) -> set[str]:
    """Names of the fields that a page shows."""
    of_products = {of.named(one.name) for of in draft.products for one in of.fields} if step == 2 else set()
    return {*STEPS[step - 1], *of_products}


def understood(schema: TableSchema, found: TypedList) -> tuple[list[str], list[tuple[int, list[str]]]]:
    """Return a list as it was understood, as a table: headings, and rows with the line that each was on."""
    from trialkit.tables.atomic import cell_texts

    columns = [name for name in found.columns if not found.reading.frame.empty]
    cells = [said_cells(schema.field(name), cell_texts(found.reading.frame[name])) for name in columns]
    rows = zip(found.reading.frame.index, *cells, strict=True)
    return [schema.field(name).heading for name in columns], [(int(line), list(rest)) for line, *rest in rows]


def said_cells(column: Field, cells: Sequence[str]) -> list[str]:
    """Say what cells of a column hold as forms do, where it lists its values; lists are read so in any language."""
    return [column.said(one) if one in (column.enum or ()) else one for one in cells]
