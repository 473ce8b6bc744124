"""Labels of buckets and names of gardens: repaired where layout and check character leave one, else asked about."""

import re
import unicodedata
from collections.abc import Callable, Iterable, Mapping
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
LONGEST_LABEL, MOST_SUGGESTIONS = 40, 10
SCIENTIFIC = re.compile(r"\d(\.\d+)?[eE][+-]?\d+", re.ASCII)


class _Layout:
    """The labels of a layout, found by what is written like them."""

    def __init__(self, trial: str, buckets: Mapping[str, str], elsewhere: Callable[[], Mapping[str, str]]) -> None:
        self.trial, self.buckets, self.elsewhere = trial, buckets, elsewhere
        self.folded, self.alike, self.numbers = _by(buckets, _folded), _by(buckets, _alike), _by(buckets, _number)
        self.powers = {float(name) for name in buckets if SCIENTIFIC.fullmatch(name)}
        self.characters = sorted(set("".join(buckets)))
        self.suggestions = 0

    def one_slip(self, text: str) -> list[str]:
        """Return the labels that differ in one character, or by two neighbours that are exchanged."""
        if len(text) > LONGEST_LABEL:
            return []
        found = {text[:i] + text[i + 1] + text[i] + text[i + 2 :] for i in range(len(text) - 1)}
        found |= {text[:i] + other + text[i + 1 :] for i in range(len(text)) for other in self.characters}
        return [name for name in sorted(found - {text}) if name in self.buckets]

    def nearest(self, text: str) -> str | None:
        """Return the label that looks most like a text, for the first texts that are asked about."""
        self.suggestions += 1
        return nearest_bucket_id(text, self.buckets)


def _by(names: Iterable[str], key: Callable[[str], str]) -> Mapping[str, list[str]]:
    found: dict[str, list[str]] = {}
    for name in names:
        found.setdefault(key(name), []).append(name)
    return found


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
    cells, layout = table.cells[column], _Layout(trial, buckets, elsewhere)
    seen: dict[str, tuple[str, ReturnFinding]] = {}
    for position, raw in enumerate(cells):
        text = tidied(raw)
        place = table.place(position, column)
        if raw != text:
            log.note("TK-R29", place, text=raw, became=text)
        if text and text not in (buckets if column == "bucket" else sites):
            if text in seen:
                log.add(replace(seen[text][1], sheet=place.sheet, row=place.row))
            else:
                if column != "bucket":
                    read = _site(text, sites, place, log)
                elif code := read_label_code(text):
                    read = _scanned(text, code, trial, buckets, place, log)
                else:
                    read = _bucket(text, layout, place, log)
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


def _bucket(text: str, layout: _Layout, place: Place, log: Log) -> str:
    """Return the bucket that is meant, as proposed if that was asked, or the text itself if it was refused."""
    folded = _folded(text)
    if meant := _certain(folded, layout):
        log.note("TK-R28", place, "bucket", text=text, became=meant)
        return meant
    if bucket_id_is_valid(folded) and (theirs := layout.elsewhere().get(folded)) not in (None, layout.trial):
        log.refuse("TK-R30", place, "another trial", text=text, ours=layout.trial, theirs=theirs)
        return text
    if _number(text) and len(same := layout.numbers.get(_number(text), [])) == 1:
        log.ask("TK-R26", place, text=text, became=same[0])
        return same[0]
    number = text.isdecimal() and len(text) < LONGEST_LABEL and float(text) in layout.powers
    if SCIENTIFIC.fullmatch(text) or A_DATE.fullmatch(text) or number:
        log.refuse("TK-R27", place, "date" if A_DATE.fullmatch(text) else "number", text=text)
        return text
    alike = layout.alike.get(_alike(text), [])
    likely = alike if len(alike) == 1 else layout.one_slip(folded)
    if len(likely) == 1 and not bucket_id_is_valid(text):
        log.ask("TK-R25", place, "bucket", text=text, became=likely[0])
        return likely[0]
    if len(likely) > 1:
        log.refuse("TK-R30", place, "several", text=text, likely=tuple(likely[:3]))
    elif layout.suggestions >= MOST_SUGGESTIONS:
        log.refuse("TK-R30", place, "unknown", text=text)
    elif nearest := layout.nearest(text):
        log.refuse("TK-R30", place, "near", text=text, nearest=nearest)
    else:
        log.refuse("TK-R30", place, "far", text=text)
    return text


def _folded(text: str) -> str:
    return unicodedata.normalize("NFKC", text).upper().translate(OTHER_SCRIPTS).replace(" ", "")


def _alike(text: str) -> str:
    return _folded(text).translate(ALIKE)


def _number(text: str) -> str:
    """Return a label of figures alone without leading zeros, as spreadsheet programs leave it; empty of others."""
    return (text.lstrip("0") or "0") if text.isascii() and text.isdecimal() else ""


def _certain(folded: str, layout: _Layout) -> str | None:
    """Find the one label that a text can only be: same but for capitals, script or blanks, or proven by the check."""
    same = layout.folded.get(folded, [])
    if len(same) == 1:
        return same[0]
    proven = folded.translate(LOOK_ALIKES)
    return proven if not same and proven in layout.buckets and bucket_id_is_valid(proven) else None


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
