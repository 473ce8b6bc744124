"""The file that a phone form saves, or its text as it arrives in a message."""

import json
import zlib
from collections.abc import Mapping
from typing import Any

from trialkit.domain.reading_budget import RETURNED
from trialkit.domain.table_names import RECORD_TABLES
from trialkit.returns.finding_log import Log, Place
from trialkit.returns.sheets import Returned, SheetText
from trialkit.returns.text_files import decode
from trialkit.rules.form_marks import FormMarks
from trialkit.tables.table_schema import load_schema

FORMAT = "trialkit-phone-1"
MARKER = b"trialkit-phone"
DETAILS = ("trial", "layout", "form", "site", "by", "saved_at")


def looks_like_phone_text(data: bytes) -> bool:
    """Tell whether a file, in any encoding, holds what a phone form saved."""
    return MARKER in data[:20_000].replace(b"\0", b"")


def read_phone_file(data: bytes, log: Log) -> Returned:
    """Read what a phone form saved, a sheet for each table; words around it, as in a message, are passed over.

    Raises
    ------
    UnreadableReturn
        If it was changed or cut off on its way, which its check sum tells.
    """
    document = _document(decode(data, log), log)
    if document.get("format") != FORMAT:
        raise log.give_up("TK-R48", "format", wanted=FORMAT, format=str(document.get("format")))
    tables = document.get("tables")
    _check_sum(document, tables, log)
    details = {name: document.get(name, "") for name in DETAILS}
    if not all(isinstance(value, str) for value in details.values()) or not isinstance(tables, dict):
        raise log.give_up("TK-R48", "details")
    sheets = tuple(_sheet(name, rows, log) for name, rows in tables.items() if rows)
    if not sheets:
        raise log.give_up("TK-R08", "no record")
    return Returned(
        "phone",
        sheets,
        FormMarks(details["trial"], details["layout"], details["form"]),
        details["site"],
        details["by"],
        details["saved_at"],
    )


def _document(text: str, log: Log) -> Mapping[str, Any]:
    """Read the JSON text that begins at the brace before the format."""
    start = text.rfind("{", 0, text.find(MARKER.decode()))
    if start < 0:
        raise log.give_up("TK-R48", "beginning")
    try:
        RETURNED.hold("items", text.count(",") + text.count("{") + text.count("["))
        document, end = json.JSONDecoder().raw_decode(text, start)
        json.dumps(document, ensure_ascii=False).encode("utf-8")
    except UnicodeEncodeError:
        raise log.give_up("TK-R48", "half a character") from None
    except (ValueError, RecursionError):
        raise log.give_up("TK-R48", "end") from None
    if MARKER.decode() in text[end:]:
        raise log.give_up("TK-R48", "several")
    if around := " … ".join(words for words in (text[:start].strip(), text[end:].strip()) if words):
        log.note("TK-R58", Place(), around=around)
    return document if isinstance(document, dict) else {}


def _check_sum(document: Mapping[str, Any], tables: object, log: Log) -> None:
    compact = json.dumps(tables, ensure_ascii=False, separators=(",", ":")).encode("utf-8")
    if str(document.get("check")).lower() != f"{zlib.crc32(compact):08x}":
        raise log.give_up("TK-R48", "check sum" if document.get("check") else "no check sum")


def _sheet(name: str, rows: object, log: Log) -> SheetText:
    if name not in RECORD_TABLES or not isinstance(rows, list):
        raise log.give_up("TK-R48", "table", table=name)
    if not all(isinstance(row, dict) and all(isinstance(value, str) for value in row.values()) for row in rows):
        raise log.give_up("TK-R48", "texts", table=name)
    known = load_schema(name).columns
    used = dict.fromkeys(heading for row in rows for heading in row)
    RETURNED.hold("rows", len(rows), counted=True)
    RETURNED.hold("columns", len(used), counted=True)
    RETURNED.hold("cells", len(rows) * len(used), counted=True)
    RETURNED.hold("cell_characters", max((len(text) for row in rows for text in row.values()), default=0), counted=True)
    headings = tuple(heading for heading in dict.fromkeys((*known, *used)) if heading in used)
    cells = [tuple(row.get(heading, "") for heading in headings) for row in rows]
    return SheetText(name, tuple(enumerate([headings, *cells], start=1)))
