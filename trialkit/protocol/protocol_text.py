"""A protocol written as a commented trial.toml that reads back as the same."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from datetime import date
from textwrap import wrap
from typing import Any

from trialkit.documents.document import field_descriptions
from trialkit.protocol.sections import Section
from trialkit.protocol.starting import toml_value
from trialkit.protocol.trial_protocol import Protocol

REMARK_COLUMN, WIDEST = 34, 120
BARE = re.compile("[A-Za-z0-9_-]+")
OWN_REMARKS = {
    "id": "names the trial among others; do not change it later",
    "blocks": "in each garden; complete ones hold every treatment once",
    "seed": "decides the lots; do not change it once buckets are labelled",
    "levels": "",  # said of the factor
}
"""Where an adviser is told something else than the dictionary of data says."""
ALWAYS_WRITTEN = ("kind", "blocks")
"""Keys that stand there even where they have their defaults; those of the bucket, the schedule and the decision do."""
WHOLE_SECTIONS = ("bucket", "schedule", "decision")
TO_FILL_IN = {"season": "autumn 2026", "sow_on": date(2026, 8, 6)}
"""What every season states anew, with an example."""
HEADING = """\
# The protocol of the trial: what is compared, how it is laid out and how it will be decided.
# Lines that begin with # are remarks. Keys that you leave out have their defaults (schemas/protocol.schema.json).
"""


def protocol_text(protocol: Protocol, remarks: Mapping[str, str]) -> str:
    """Write a protocol.

    Parameters
    ----------
    protocol : Protocol
    remarks : mapping of str to str
        What is to be said of a section, by its name; one line.
    """
    parts = [HEADING]
    for name in type(protocol).model_fields:
        sections: Mapping[str, Section] = (
            {f"factors.{factor}": levels for factor, levels in protocol.factors.items()}
            if name == "factors"
            else {name: getattr(protocol, name)}
        )
        for path, section in sections.items():
            lines = list(_lines(name, section))
            if lines:
                remark = remarks.get(path)
                parts.append("\n".join([f"[{path}]" + (f"  # {remark}" if remark else ""), *lines]) + "\n")
    return "\n".join(parts)


def _lines(name: str, section: Section) -> Iterator[str]:
    remarks = {**field_descriptions(type(section)), **OWN_REMARKS}
    for key, field in type(section).model_fields.items():
        value = getattr(section, key)
        if key in TO_FILL_IN and not value:
            yield from _line(f"# {key} = {written(TO_FILL_IN[key])}", remarks[key])
        elif value is not None and (name in WHOLE_SECTIONS or key in ALWAYS_WRITTEN or value != field.default):
            yield from _line(f"{key} = {written(value)}", remarks[key])


def _line(text: str, remark: str) -> Iterator[str]:
    """Put the remark behind a key where there is room, else above it."""
    whole = f"{text:<{REMARK_COLUMN - 2}}  # {remark}" if remark else text
    if remark and len(whole) > WIDEST:
        yield from wrap(remark, WIDEST - 2, initial_indent="# ", subsequent_indent="# ")
        whole = text
    yield whole


def written(value: Any) -> str:
    """Write a value as TOML has it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Mapping):
        return f"{{ {', '.join(f'{_key(key)} = {written(item)}' for key, item in value.items())} }}"
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(written, value))}]"
    return toml_value(value)


def _key(key: str) -> str:
    """Write a key: bare where TOML allows it."""
    return key if BARE.fullmatch(key) else toml_value(key)
