"""Labels of buckets and names of gardens: repaired where layout and check character leave one, else asked about."""

import re
import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import replace

from trialkit.documents.returns import ReturnFinding
from trialkit.returns.cell_text import tidied
from trialkit.returns.finding_log import Log, Place
from trialkit.returns.numbers import A_DATE
from trialkit.returns.recognising import ReturnedTable
from trialkit.tables.bucket_ids import LOOK_ALIKES, bucket_id_is_valid, nearest_bucket_id, read_label_code
from trialkit.tables.nearest import nearest_name, plain_name

# Capitals of Greek and Cyrillic that look like Latin ones (Unicode confusables, from memory).
OTHER_SCRIPTS = str.maketrans("АВСЕНІЈКМОРЅТХУΑΒΕΖΗΙΚΜΝΟΡΤΧΥ", "ABCEHIJKMOPSTXYABEZHIKMNOPTXY")
# What is taken for another character in identities of any alphabet.
ALIKE = str.maketrans("OQILZSB", "0011258")
SCIENTIFIC = re.compile(r"\d(\.\d+)?[eE][+-]?\d+", re.ASCII)


def repair_labels(
    table: ReturnedTable,
    trial: str,
    buckets: Mapping[str, str],
    sites: Mapping[str, str],
    log: Log,
    elsewhere: Callable[[], Mapping[str, str]],
) -> None:
    """Rewrite labels and garden names as the trial has them, by the buckets' gardens and the gardens' full names.

    Labels that it has not are looked up `elsewhere`, which tells of what other trial they are.
    """
    column = table.schema.primary_key[0]
    if column not in table.cells:
        return
    cells = table.cells[column]
    seen: dict[str, tuple[str, ReturnFinding]] = {}
    for position, raw in enumerate(cells):
        text = tidied(raw)
        place = table.place(position, column)
        if raw != text:
            log.note("TK-R29", place, text=raw, became=text)
        if text and text not in (buckets if column == "bucket" else sites):
            if text in seen:
                log.findings.append(replace(seen[text][1], sheet=place.sheet, row=place.row))
            else:
                if column != "bucket":
                    read = _site(text, sites, place, log)
                elif code := read_label_code(text):
                    read = _scanned(text, code, trial, buckets, place, log)
                else:
                    read = _bucket(text, trial, buckets, place, log, elsewhere)
                seen[text] = (read, log.findings[-1])
            text = seen[text][0]
        cells[position] = text


def _scanned(
    text: str, code: tuple[str, str, str], trial: str, buckets: Mapping[str, str], place: Place, log: Log
) -> str:
    """Return the bucket of a label's code, which names its trial and garden; refuse those of others."""
    of_trial, site, bucket = code
    if of_trial != trial:
        log.refuse("TK-R30", place, "another trial", text=text, ours=trial, theirs=of_trial)
    elif buckets.get(bucket) != site:
        log.refuse("TK-R30", place, "another layout", text=text)
    else:
        log.note("TK-R28", place, "code", text=text, became=bucket)
        return bucket
    return text


def _bucket(
    text: str,
    trial: str,
    buckets: Mapping[str, str],
    place: Place,
    log: Log,
    elsewhere: Callable[[], Mapping[str, str]],
) -> str:
    """Return the bucket that is meant, as proposed if that was asked, or the text itself if it was refused."""
    if meant := _certain(text, buckets):
        log.note("TK-R28", place, "bucket", text=text, became=meant)
        return meant
    if bucket_id_is_valid(_folded(text)) and (theirs := elsewhere().get(_folded(text))) not in (None, trial):
        log.refuse("TK-R30", place, "another trial", text=text, ours=trial, theirs=theirs)
        return text
    if text.isdecimal() and len(same := [name for name in buckets if name.isdecimal() and int(name) == int(text)]) == 1:
        log.ask("TK-R26", place, text=text, became=same[0])
        return same[0]
    if SCIENTIFIC.fullmatch(text) or A_DATE.fullmatch(text) or _is_number_of(text, buckets):
        log.refuse("TK-R27", place, "date" if A_DATE.fullmatch(text) else "number", text=text)
        return text
    near = [name for name in buckets if _one_slip(_folded(text), name)]
    alike = [name for name in buckets if _folded(name).translate(ALIKE) == _folded(text).translate(ALIKE)]
    likely = alike if len(alike) == 1 else near
    if len(likely) == 1 and not bucket_id_is_valid(text):
        log.ask("TK-R25", place, "bucket", text=text, became=likely[0])
        return likely[0]
    if len(likely) > 1:
        log.refuse("TK-R30", place, "several", text=text, likely=tuple(sorted(likely)[:3]))
    elif nearest := nearest_bucket_id(text, buckets):
        log.refuse("TK-R30", place, "near", text=text, nearest=nearest)
    else:
        log.refuse("TK-R30", place, "far", text=text)
    return text


def _folded(text: str) -> str:
    return unicodedata.normalize("NFKC", text).upper().translate(OTHER_SCRIPTS).replace(" ", "")


def _certain(text: str, buckets: Mapping[str, str]) -> str | None:
    """Find the one label that a text can only be: same but for capitals, script or blanks, or proven by the check."""
    same = [name for name in buckets if _folded(name) == _folded(text)]
    if len(same) == 1:
        return same[0]
    proven = _folded(text).translate(LOOK_ALIKES)
    return proven if not same and proven in buckets and bucket_id_is_valid(proven) else None


def _is_number_of(text: str, buckets: Mapping[str, str]) -> bool:
    """Tell whether a number is the value of a label that looks like one, such as 100000 of 1E5."""
    return text.isdecimal() and any(SCIENTIFIC.fullmatch(name) and float(name) == float(text) for name in buckets)


def _one_slip(text: str, name: str) -> bool:
    """Tell whether one character differs, or two neighbours are exchanged."""
    if len(text) != len(name):
        return False
    wrong = [i for i, (read, true) in enumerate(zip(text, name, strict=True)) if read != true]
    exchanged = len(wrong) == 2 and wrong[1] == wrong[0] + 1 and text[wrong[0]] == name[wrong[1]]
    return len(wrong) == 1 or (exchanged and text[wrong[1]] == name[wrong[0]])


def _site(text: str, sites: Mapping[str, str], place: Place, log: Log) -> str:
    """Return the garden that is meant by its short or full name; several may have one."""
    names: dict[str, list[str]] = {}
    for site, name in sites.items():
        for known in {plain_name(site), plain_name(name)} - {""}:
            names.setdefault(known, []).append(site)
    meant = names.get(plain_name(text), [])
    near = nearest_name(plain_name(text), names) if not meant else None
    likely = names[near] if near else meant
    if len(likely) > 1:
        log.refuse("TK-R30", place, "several gardens", text=text, likely=tuple(likely))
    elif meant:
        log.note("TK-R28", place, "garden", text=text, became=meant[0])
        return meant[0]
    elif likely:
        log.ask("TK-R25", place, "garden", text=text, became=likely[0])
        return likely[0]
    else:
        log.refuse("TK-R30", place, "garden", text=text, gardens=tuple(sites))
    return text
