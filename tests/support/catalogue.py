"""Bring the catalogues of languages in step with the words in the code: ``python tests/support/catalogue.py``.

What is new gets an empty translation, what is no longer said is dropped. Also a merge driver's part: given files, it
unites the translations of several copies of a catalogue, those of the first going first.
"""

from __future__ import annotations

import io
import json
import re
import sys
from collections.abc import Iterator
from itertools import chain
from pathlib import Path
from typing import IO, Any, get_args

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_dir
from babel.messages.pofile import read_po, write_po

from trialkit._resources import resource_folder
from trialkit.domain.table_names import RECORD_TABLES, TABLE_NAMES
from trialkit.languages import ENGLISH, FOLDER, LANGUAGES
from trialkit.pages import script_words
from trialkit.tables.rule_book import RULES
from trialkit.tables.typed_lists import PlanTable
from trialkit.words import key_words
from trialkit.words.message_words import OPTIONAL
from trialkit.words.problem_words import AT_THE_DESK, MESSAGES
from trialkit.words.repair_words import RETURN_MESSAGES

PACKAGE = FOLDER.parent
KEYWORDS: dict[str, Any] = {
    "gettext": None,
    "ngettext": (1, 2),
    "pgettext": ((1, "c"), 2),
    "translatable": None,
    "Saying": None,
    "working_on": None,
    "each_told": (2,),
    "count": (2, 3),
}
"""Functions whose texts are translated: of `trialkit.languages`, `words.phrases` and `domain.progress`."""
METHODS = [("**.py", "python"), ("**.jinja", "jinja2")]
SCRIPTS = [("**.js", "javascript")]
COUNTED = re.compile(r"\{\w+:([a-z]{2,})\}")
"""Where a text counts things, as `trialkit.words.message_words` writes it: what they are called is a text, too."""
FILLED_IN = re.compile(r"\{[^}/]*\}")
"""What is a fact alone: with a stroke, words go with it."""
OPTIONS = {"**.jinja": {"trimmed": "true", "newstyle_gettext": "true"}}


def extracted() -> Catalog:
    """Gather every message that is marked in the code, in templates and in scripts, and those of checks and schemas."""
    catalogue = Catalog()
    in_code = extract_from_dir(PACKAGE, METHODS, OPTIONS, KEYWORDS, ["Translators:"])
    in_scripts = extract_from_dir(PACKAGE, SCRIPTS, {}, script_words.KEYWORDS, ["Translators:"])
    for _, _, message, comments, context in chain(in_code, in_scripts):
        if not isinstance(message, tuple) or all(message):
            catalogue.add(message, auto_comments=comments, context=context)
    for message in chain(_of_schemas(), of_checks()):
        catalogue.add(message)
    for message, context in key_words.texts():
        catalogue.add(message, context=context)
    for template in [message.id for message in catalogue if isinstance(message.id, str)]:
        for noun in COUNTED.findall(template):
            catalogue.add((noun, f"{noun}s"))
    return catalogue


def _of_schemas() -> Iterator[str]:
    for name in (*RECORD_TABLES, *get_args(PlanTable)):
        document = json.loads((resource_folder("schemas") / f"{name}.json").read_text(encoding="utf-8"))
        yield document["title"]
        for field in document["fields"]:
            yield field["title"]
            yield field["description"]
            if "trialkit:howToFix" in field:
                yield field["trialkit:howToFix"]
            yield from (word.replace("_", " ") for word in field["constraints"].get("enum", ()))
            yield from (field[key][0] for key in ("trueValues", "falseValues") if key in field)


def of_checks() -> Iterator[str]:
    """What checks and merges say in any language: as the desk says it where that names no command.

    What only notes, in what was returned, needs no word of how to fix it; what can be accepted is asked by its title.
    """
    for table in TABLE_NAMES:
        document = json.loads((resource_folder("schemas") / f"{table}.json").read_text(encoding="utf-8"))
        yield document["description"]
        yield from (field["trialkit:howToFix"] for field in document["fields"] if "trialkit:howToFix" in field)
    for code, message in chain(MESSAGES.items(), RETURN_MESSAGES.items()):
        rule = RULES[code[:6]]
        is_note = code in RETURN_MESSAGES and rule.severity == "warning"
        is_whole = OPTIONAL.sub("", message.how_to_fix) and "{of_" not in message.how_to_fix
        own = "" if is_note or is_whole else rule.how_to_fix
        title = rule.title if code in RETURN_MESSAGES and (not is_note or message.how_to_fix) else ""
        how_to_fix = AT_THE_DESK.get(code, message.how_to_fix), own and AT_THE_DESK.get(rule.identity, own)
        told = (message.expected, message.found, message.became, *how_to_fix, title)
        yield from (text for text in told if re.search(r"[^\W\d_]", FILLED_IN.sub("", text)))


def in_step(catalogue: Catalog) -> Catalog:
    """Return a catalogue with just the messages that are extracted, and the translations it has for them."""
    kept = Catalog(locale=catalogue.locale, header_comment=catalogue.header_comment, charset="utf-8")
    kept.mime_headers = catalogue.mime_headers
    for message in extracted():
        if message.id:
            known = catalogue.get(_key(message.id), message.context)
            is_same = known is not None and known.pluralizable == message.pluralizable
            kept.add(
                message.id,
                known.string if known and is_same else None,
                auto_comments=message.auto_comments,
                context=message.context,
            )
    return kept


def _key(identity: str | tuple[str, ...]) -> str:
    return identity if isinstance(identity, str) else identity[0]


def lacking(catalogue: Catalog) -> list[str]:
    """List what a catalogue lacks: messages without a translation, or with one that somebody doubts."""
    messages = [one for one in in_step(catalogue) if one.id]
    return [_key(one.id) for one in messages if one.fuzzy or not _is_whole(one.string)]


def _is_whole(string: str | tuple[str, ...]) -> bool:
    return bool(string) and (isinstance(string, str) or all(string))


def text_of(catalogue: Catalog) -> str:
    """Write a catalogue as it is kept: sorted by message, without places in the code, which change daily."""
    out = io.BytesIO()
    write_po(out, catalogue, width=120, no_location=True, sort_output=True, omit_header=True)
    headers = "".join(f'"{name}: {value}\\n"\n' for name, value in headers_of(catalogue))
    comment = f"{catalogue.header_comment}\n"
    return f'{comment}msgid ""\nmsgstr ""\n{headers}\n{out.getvalue().decode("utf-8").strip()}\n'


def headers_of(catalogue: Catalog) -> list[tuple[str, str]]:
    """Headers that are kept: none that tells a day or a program."""
    return [
        ("Project-Id-Version", "trialkit"),
        ("Language", str(catalogue.locale)),
        ("MIME-Version", "1.0"),
        ("Content-Type", "text/plain; charset=utf-8"),
        ("Content-Transfer-Encoding", "8bit"),
        ("Plural-Forms", catalogue.plural_forms),
    ]


def read(file: IO[bytes]) -> Catalog:
    """Read a catalogue."""
    return read_po(file)


def main(files: list[str]) -> None:
    """Bring every catalogue in step; with files, first take up the translations that those have and it lacks."""
    for language in LANGUAGES:
        if language == ENGLISH:
            continue
        path = FOLDER / f"{language}.po"
        with path.open("rb") as own:
            catalogue = read(own)
        for other in files:
            with Path(other).open("rb") as theirs:
                for message in read(theirs):
                    known = catalogue.get(_key(message.id), message.context) if message.id else None
                    if message.id and known is None:
                        catalogue.add(message.id, message.string, context=message.context)
                    elif known is not None and message.id and not _is_whole(known.string):
                        known.string = message.string  # what is added again keeps the string it had
        stepped = in_step(catalogue)
        path.write_text(text_of(stepped), encoding="utf-8")
        missing = lacking(stepped)
        print(f"{path.name}: {len(stepped)} messages, {len(missing)} without a translation")


if __name__ == "__main__":
    main(sys.argv[1:])
