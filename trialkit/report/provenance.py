"""The fifth section: where the trial stood, and how to get the same page again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from trialkit.pages.numerals import ABSENT, plain
from trialkit.pages.table import Row, Table, columns, make_table, text_column
from trialkit.report.reading import Reading, mapping, rows
from trialkit.words.phrases import count, date_words

COMMAND = "trialkit report TRIAL-FOLDER --verify"


@dataclass(frozen=True)
class Provenance:
    """What a stranger needs to repeat the analysis."""

    seed: str
    command: str
    versions: tuple[tuple[str, str], ...]
    inputs: Table | None
    sites: Table | None
    layout: tuple[str, ...]


def provenance(reading: Reading) -> Provenance:
    """Collect seed, versions, digests, gardens and layout."""
    seed = reading.results.get("seed")
    return Provenance(
        seed=ABSENT if seed is None else str(seed),
        command=COMMAND,
        versions=tuple((str(k), str(v)) for k, v in mapping(reading.results.get("made_with")).items()),
        inputs=_inputs(reading),
        sites=_sites(reading),
        layout=tuple(layout(reading)),
    )


def about(reading: Reading) -> Mapping[str, str]:
    """Words about the trial that head and close the page; empty where they are not given."""
    given = mapping(reading.results.get("trial"))
    words = {name: str(given.get(name) or "") for name in ("id", "title", "question", "contact_role")}
    return words | {"title": words["title"] or "Trial report"}


def facts(reading: Reading) -> tuple[str, ...]:
    """Facts under the page's title: when, where and how large."""
    given, design = mapping(reading.results.get("trial")), reading.design
    started = date_words(given.get("started_on"))
    facts = [
        str(given.get("season") or ""),
        f"started {started}" if started else "",
        count(len(rows(design, "sites")), "garden"),
        count(design.get("buckets"), "bucket"),
        count(design.get("heads"), "head") if design.get("heads") else "",
    ]
    return tuple(fact for fact in facts if fact)


def layout(reading: Reading) -> tuple[str, ...]:
    """Say how the trial was laid out."""
    design = reading.design
    kind = str(design.get("kind") or "")
    blocks = count(design.get("blocks_per_site"), "block")
    lines = [f"{kind[:1].upper()}{kind[1:]}, {blocks} at each garden."] if kind else []
    if design.get("whole_plot"):
        lines.append(f"Whole plots carry the {design['whole_plot']}; the rest was randomised within them.")
    return tuple(lines)


def _inputs(reading: Reading) -> Table | None:
    body = (Row(str(row.get("file")), (str(row.get("sha256")),)) for row in rows(reading.results, "inputs"))
    heads = (text_column("file"), text_column("SHA-256"))
    return make_table("inputs", "Files read, and the SHA-256 digest of each", heads, body)


def _sites(reading: Reading) -> Table | None:
    body = (
        Row(
            str(row.get("name") or row.get("site")),
            (
                str(row.get("kind") or ABSENT),
                str(row.get("water_source") or ABSENT),
                plain(row.get("alkalinity_mg_l_caco3")),
                plain(row.get("sun_hours")),
            ),
        )
        for row in rows(reading.design, "sites")
    )
    heads = (text_column("garden"), text_column("kind"), text_column("water"))
    return make_table(
        "sites", "The gardens", (*heads, *columns("", "alkalinity, mg/L CaCO₃", "sun, hours a day")[1:]), body
    )
