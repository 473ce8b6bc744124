"""The post room: what gardens send back is looked at, asked about and merged; records are put right, with a reason."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import partial
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, get_args
from urllib.parse import unquote

from flask import Blueprint, Response, abort, redirect, request, url_for

from trialkit.desk import deeds
from trialkit.desk.application import desk, do, do_at_length, page, trial_folder
from trialkit.desk.deeds import Deed, WentWrong, command_line, trouble_of
from trialkit.desk.returned import LEFT_OUT, ReturnedFile, TwoValues, counts_words, returned_file, saved_at, two_values
from trialkit.desk.tray import Tray, Waiting, safe_name
from trialkit.desk.typed import NO_REASON, reason_in
from trialkit.documents.desk_documents import FileAnswers
from trialkit.documents.returns import Choice
from trialkit.domain.errors import NotComputed, WrongCall
from trialkit.languages import gettext
from trialkit.returns.answering import CHOICES, COLUMNS
from trialkit.tables.problem import TrialError
from trialkit.tables.rule_book import RULES
from trialkit.tables.table_schema import load_schema

if TYPE_CHECKING:
    from werkzeug.wrappers import Response as AnyResponse

    from trialkit.documents.returns import Correction, TakenBack
    from trialkit.domain.table_names import TableName
    from trialkit.steps.record_steps import RecordedBucket
    from trialkit.tables.table_schema import Field

room = Blueprint("post", __name__, url_prefix="/trial/<name>/post")

TROUBLES = (TrialError, WrongCall, NotComputed)
SHORT = 3
"""So many merges, or files to be read again, are done at once; more go on by themselves, and can be stopped."""
MOST_SHOWN = 100
"""Of conflicts, corrections and originals, so many are listed."""
MOST_NAMED = 10
"""Of the cells that stay as they are when a file is taken back."""


@dataclass(frozen=True)
class Look:
    """What the post room finds in its tray."""

    files: tuple[ReturnedFile, ...] = ()
    conflicts: tuple[TwoValues, ...] = ()
    more_conflicts: int = 0
    refused_choices: tuple[str, ...] = ()
    merges: tuple[deeds.Merge, ...] = ()
    commands: tuple[tuple[str, ...], ...] = ()
    trouble: WentWrong | None = None

    @property
    def command_lines(self) -> tuple[str, ...]:
        """The commands that would merge what is answered, as one types them."""
        return tuple(map(command_line, self.commands))


@dataclass(frozen=True)
class KeptLine:
    """A line of what is kept."""

    name: str
    file: str = ""
    told: tuple[str, ...] = ()
    link: str = ""


@room.get("/")
def overview(name: str) -> Response:
    """What waits, what is asked about it, and what was taken in."""
    folder = trial_folder(name)
    return _page(name, _look(name, folder))


def _page(name: str, look: Look, trouble: WentWrong | None = None, status: int = 200) -> Response:
    from trialkit.steps.record_steps import kept_returns

    folder = trial_folder(name)
    files: tuple[KeptLine, ...] = ()
    taken_back: tuple[KeptLine, ...] = ()
    corrections: tuple[KeptLine, ...] = ()
    trouble = trouble or look.trouble
    try:
        kept = kept_returns(folder)
    except TrialError as error:
        trouble = trouble or trouble_of(error)
    else:
        files = tuple(KeptLine(str(one), one.file, tuple(counts_words(one.tables))) for one in kept.files[:MOST_SHOWN])
        taken_back = tuple(map(_went, kept.taken_back[:MOST_SHOWN]))
        undone = {id(one) for one in kept.to_take_back()}
        corrections = tuple(_corrected(name, one, id(one) in undone) for one in kept.corrections[:MOST_SHOWN])
    return page(
        "post",
        status,
        trial=desk().workspace.filed(name),
        look=look,
        trouble=trouble,
        files=files,
        taken_back=taken_back,
        corrections=corrections,
        left_out=LEFT_OUT,
    )


def _went(one: TakenBack) -> KeptLine:
    from trialkit.documents.returns import cells_in
    from trialkit.words.cell_words import column_title, row_words
    from trialkit.words.phrases import date_words
    from trialkit.words.taken_back_words import taken_back_words

    stayed = list(cells_in(one.stayed))
    shown = [f"{row_words(table, key)}, {column_title(table, column)}" for table, key, column in stayed[:MOST_NAMED]]
    shown += ["…"] if len(stayed) > MOST_NAMED else []
    told = ["; ".join(taken_back_words(one)), one.why, f"{one.by}, {date_words(one.on)}", "; ".join(shown)]
    return KeptLine(one.name, one.file, tuple(told))


def _corrected(name: str, one: Correction, can_undo: bool) -> KeptLine:
    from trialkit.words.cell_words import column_title, row_words, value_words
    from trialkit.words.phrases import date_words

    before, after = (value_words(one.table, one.column, text) for text in (one.before, one.after))
    told = gettext(
        "{column}: {before} became {after}", column=column_title(one.table, one.column), before=before, after=after
    )
    asked: dict[str, Any] = {one.column: one.before, "why": gettext("taken back: {why}", why=one.why)}
    bucket, second = one.key
    link = url_for("post.row", name=name, table=one.table, bucket=bucket, second=second, **asked) if can_undo else ""
    return KeptLine(row_words(one.table, one.key), told=(told, one.why, f"{one.by}, {date_words(one.on)}"), link=link)


@room.post("/drop")
def drop(name: str) -> AnyResponse:
    """Take files into the tray: nothing of them is in the trial yet."""
    folder = trial_folder(name)
    given = [one for one in request.files.getlist("files") if one.filename]
    if not given:
        return _page(name, _look(name, folder), WentWrong((gettext("Choose at least one file."),)), 422)
    Tray(folder).add([(one.filename or "", one.stream) for one in given])
    return redirect(url_for("post.overview", name=name), 303)


@room.post("/answers")
def answers(name: str) -> AnyResponse:
    """Keep what was answered; then look again, throw one file away, or merge all that is answered."""
    folder, here = trial_folder(name), url_for("post.overview", name=name)
    tray, asked = Tray(folder), {key.partition(".")[0] for key in request.form}  # another window shows others
    tray.answer({one.id: _answered(one) for one in tray.files() if one.id in asked}, _choices())
    what, _, identity = request.form.get("do", "").partition(":")
    if what == "throw":
        tray.take_out([identity])
    if what != "merge":
        return redirect(here, 303)
    look = _look(name, folder)
    if look.trouble is not None or not look.merges:
        return _page(name, look, look.trouble or WentWrong((gettext("No file is answered yet."),)), 422)
    deed = Deed(gettext("Merge returned files"), look.commands, partial(deeds.merge, folder, look.merges))
    return (do if len(look.merges) <= SHORT else do_at_length)(deed, f"{here}#kept")


def _answered(waiting: Waiting) -> FileAnswers:
    """Read what the form says of a file; of what it did not ask, nothing is answered any more."""
    options: dict[str, str] = {}
    accept: list[str] = []
    headings: dict[str, str] = {}
    for key, value in request.form.items():
        identity, _, asked = key.partition(".")
        kind, _, of_it = asked.partition(".")
        if identity != waiting.id or not value:
            continue
        of_it = unquote(of_it)
        if kind == "option" and value in CHOICES.get(of_it, ()):
            options[of_it] = value
        elif kind == "accept" and of_it.startswith("TK-R") and of_it in RULES:
            accept.append(of_it)
        elif kind == "heading" and (value == LEFT_OUT or value in COLUMNS):
            headings[of_it] = "" if value == LEFT_OUT else value
    why = request.form.get(f"{waiting.id}.why", "").strip()
    return FileAnswers(options, tuple(accept), headings, why)


def _choices() -> dict[str, Choice | None]:
    """Read what the form says of conflicts: None of one that is left for later."""
    chosen = {key.partition(".")[2]: value for key, value in request.form.items() if key.startswith("conflict.")}
    return {
        identity: next((one for one in get_args(Choice) if one == value), None) for identity, value in chosen.items()
    }


def _look(name: str, folder: Path) -> Look:
    """Look at all that waits as merging it now would; nothing is written."""
    from trialkit.interface.trial_object import Trial
    from trialkit.returns.excerpts import read_file
    from trialkit.steps.record_steps import kept_returns
    from trialkit.words.repair_words import finding_sentence

    tray = Tray(folder)
    try:
        waiting, chosen = tray.files(), tray.choices()
    except TROUBLES as error:
        return Look(trouble=trouble_of(error))
    plain = tuple(ReturnedFile(one.id, one.name, "waits", "", (), (), (), (), (), (), "") for one in waiting)
    if not (folder / "layout.csv").exists():
        return Look(plain, trouble=WentWrong((gettext("Lay the trial out first. Then files can be read."),)))
    try:
        *outcomes, before, after = Trial(folder).look(
            *(((one.path,), one.answered.told) for one in waiting), ((), {}), ((), {"choose": chosen})
        )
        saved = saved_at(kept_returns(folder).entries)
    except TROUBLES as error:
        return Look(plain, trouble=trouble_of(error))
    found = [outcome.files[0] for outcome in outcomes]
    files = tuple(
        returned_file(one, outcome, read_file(one.path, one.answered.headings))
        for one, outcome in zip(waiting, found, strict=True)
    )
    clear = [one for one, outcome in zip(waiting, found, strict=True) if outcome.merged]
    # Files that were answered alike go into one call, but for corrections, which are taken from one file at a time.
    together = [
        list(those) for _, those in groupby(clear, lambda one: (one.answered, one.id if one.answered.why else ""))
    ]
    merges: list[deeds.Merge] = [(tuple(one.path for one in those), those[0].answered.told) for those in together]
    commands = [("merge", name, *(one.name for one in those), *those[0].answered.words) for those in together]
    open_ids = {one.id for one in before.conflicts}
    settled = {identity: choice for identity, choice in chosen.items() if identity in open_ids}
    if settled and not after.refused_choices:
        merges.append(((), {"choose": settled}))
        told = (word for identity, choice in settled.items() for word in ("--choose", f"{identity}={choice}"))
        commands.append(("merge", name, *told))
    refused = tuple(finding_sentence(one, at_desk=True) for one in after.refused_choices)
    return Look(
        files,
        tuple(two_values(one, saved, chosen.get(one.id, "")) for one in before.conflicts[:MOST_SHOWN]),
        max(len(before.conflicts) - MOST_SHOWN, 0),
        refused,
        tuple(merges),
        tuple(commands),
    )


@room.post("/take-back")
def take_back(name: str) -> AnyResponse:
    """Take back a file that was merged, with a reason."""
    from trialkit.steps.record_steps import kept_returns

    folder, file, why = trial_folder(name), request.form.get("file", ""), reason_in(request.form)
    deed = Deed(
        gettext("Take back a file"),
        (("merge", name, "--take-back", file, "--why", why),),
        partial(deeds.take_back, folder, file, why),
    )
    is_short = len(kept_returns(folder).files) <= SHORT  # every file is read again
    return (do if is_short else do_at_length)(deed, f"{url_for('post.overview', name=name)}#kept")


@room.get("/original/<file>")
def original(name: str, file: str) -> Response:
    """Send an original to be kept: never shown, whatever it is."""
    from trialkit.desk.published import attachment
    from trialkit.steps.record_steps import kept_returns

    folder = trial_folder(name)
    entry = next((one for one in kept_returns(folder).entries if one.file == file), None)
    if entry is None:
        abort(404)
    return attachment(folder / "returned", entry.file, safe_name(entry.name))


@dataclass(frozen=True)
class RowForm:
    """A row of the record to be put right, and what was typed so far."""

    table: TableName
    bucket: str
    second: str
    row: Mapping[str, str]
    typed: Mapping[str, str]
    why: str = ""
    faults: Annotated[Mapping[str, tuple[str, ...]], "Why something that was typed cannot be taken, by its column."] = (
        field(default_factory=dict)
    )
    trouble: tuple[str, ...] = ()

    @property
    def fields(self) -> tuple[Field, ...]:
        """Columns that can be put right."""
        schema = load_schema(self.table)
        return tuple(one for one in schema.fields if one.name not in schema.primary_key)


@room.get("/correct")
def find(name: str) -> AnyResponse:
    """Find a bucket by the code on its label, and show its record."""
    from trialkit.steps.record_steps import recorded_bucket

    folder, label = trial_folder(name), request.args.get("label", "").strip()
    trial, found, trouble = desk().workspace.filed(name), None, None
    if label:
        try:
            found = recorded_bucket(folder, label)
        except TROUBLES as error:
            trouble = trouble_of(error)
    rows = _rows(name, found) if found else ()
    return page("find", 422 if trouble else 200, trial=trial, label=label, found=found, rows=rows, trouble=trouble)


def _rows(name: str, found: RecordedBucket) -> tuple[KeptLine, ...]:
    from trialkit.words.cell_words import column_title, row_words, value_words

    tables: tuple[tuple[TableName, Mapping[str, Mapping[str, str]]], ...]
    tables = (("heads", found.heads), ("solution", found.solution))
    return tuple(
        KeptLine(
            row_words(table, (found.bucket, second)),
            told=tuple(
                f"{column_title(table, column)}: {value_words(table, column, text)}"
                for column, text in row.items()
                if column not in load_schema(table).primary_key
            ),
            link=url_for("post.row", name=name, table=table, bucket=found.bucket, second=second),
        )
        for table, rows in tables
        for second, row in rows.items()
    )


@room.get("/correct/<any(heads, solution):table>/<bucket>/<second>")
def row(name: str, table: TableName, bucket: str, second: str) -> AnyResponse:
    """Show a row of the record as a form; what the address says beside it is filled in, to take a correction back."""
    known = _known_row(trial_folder(name), table, bucket, second)
    columns = [one.name for one in RowForm(table, bucket, second, known, {}).fields]
    asked = {column: request.args[column] for column in columns if column in request.args}
    return _row_form(name, RowForm(table, bucket, second, known, {**known, **asked}, request.args.get("why", "")))


@room.post("/correct/<any(heads, solution):table>/<bucket>/<second>")
def correct(name: str, table: TableName, bucket: str, second: str) -> AnyResponse:
    """Put it right; whatever stands in the way is told at once, with what was typed still there."""
    from trialkit.interface.trial_object import Trial
    from trialkit.words.cell_words import value_words
    from trialkit.words.repair_words import told_finding, what_was_found

    folder = trial_folder(name)
    known = _known_row(folder, table, bucket, second)
    form = RowForm(table, bucket, second, known, {})
    columns = [one.name for one in form.fields]
    typed = {column: request.form.get(column, "").strip() for column in columns}
    was = {column: request.form.get(f"was.{column}", "") for column in columns}
    why = request.form.get("why", "").strip()
    changed = {column: text for column, text in typed.items() if text != was[column]}
    faults: dict[str, tuple[str, ...]] = {}
    for column in changed:
        if known.get(column, "") != was[column]:
            now = value_words(table, column, known.get(column, ""))
            faults[column] = (gettext("Meanwhile the record was changed. It now says: {now}.", now=now),)
    if not why:
        faults["why"] = (gettext(NO_REASON),)
    nothing = gettext("Nothing was changed: there is nothing to correct.")
    trouble: tuple[str, ...] = () if changed else (nothing,)
    is_head = table == "heads"
    head, on = (int(second) if is_head else None, None if is_head else date.fromisoformat(second))
    try:
        for one in Trial(folder).look_at_correction(bucket, head, on=on, **changed) if changed else ():
            if one.verdict != "repaired":
                found = what_was_found(told_finding(one, at_desk=True))
                faults[one.column or ""] = (*faults.get(one.column or "", ()), found)
        if not faults and not trouble:
            words = [*([second] if is_head else []), *(f"{column}={text}" for column, text in changed.items())]
            day = [] if is_head else ["--on", second]
            command = ("correct", name, bucket, *words, *day, "--why", why)
            run = partial(deeds.correct, folder, (bucket, head, on), why, changed)
            return do(Deed(gettext("Correction"), (command,), run), url_for("post.find", name=name, label=bucket))
    except TROUBLES as error:
        told = trouble_of(error)
        trouble = (*told.sentences, *(f"{one.found} {one.how_to_fix}" for one in told.problems))
    return _row_form(name, RowForm(table, bucket, second, known, typed, why, faults, trouble), 422)


def _known_row(folder: Path, table: TableName, bucket: str, second: str) -> Mapping[str, str]:
    from trialkit.steps.record_steps import recorded_bucket

    found = recorded_bucket(folder, bucket)
    known = found.row(table, second)
    if known is None or found.bucket != bucket:
        abort(404)
    return known


def _row_form(name: str, form: RowForm, status: int = 200) -> Response:
    from trialkit.words.cell_words import row_words, value_words
    from trialkit.words.problem_words import accepted_words

    said: dict[str, Any] = {
        one.name: {
            "now": value_words(form.table, one.name, form.row.get(one.name, "")),
            "accepts": accepted_words(one),
            "choices": [(value, one.said(value)) for value in one.listed],
        }
        for one in form.fields
    }
    title = row_words(form.table, (form.bucket, form.second))
    return page("correct", status, trial=desk().workspace.filed(name), form_of=form, said=said, row_name=title)
