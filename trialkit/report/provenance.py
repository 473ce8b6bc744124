"""Where the trial stood, and how to get the same page again."""

from __future__ import annotations

from dataclasses import dataclass

from trialkit.documents.results import Design
from trialkit.pages.numerals import ABSENT, plain, whole_percent
from trialkit.pages.table import Row, Table, columns, make_table, text_column
from trialkit.report.reading import Reading
from trialkit.words.phrases import count, date_words

COMMAND = "trialkit report TRIAL-FOLDER --verify"


@dataclass(frozen=True)
class Provenance:
    """What a stranger needs to repeat the analysis."""

    seed: int
    command: str
    versions: dict[str, str]
    inputs: Table | None
    sites: Table | None
    layout: tuple[str, ...]
    amendments: Table | None


def provenance(reading: Reading) -> Provenance:
    """Collect seed, versions, digests, gardens and layout."""
    return Provenance(
        seed=reading.results.seed,
        command=COMMAND,
        versions=reading.results.made_with,
        inputs=_inputs(reading),
        sites=_sites(reading),
        layout=layout(reading.design),
        amendments=_amendments(reading),
    )


def facts(reading: Reading) -> tuple[str, ...]:
    """Facts under the page's title: when, where and how large."""
    trial, design = reading.results.trial, reading.design
    facts = (
        trial.season,
        f"started {date_words(trial.started_on)}" if trial.started_on else "",
        count(len(design.sites), "garden"),
        count(design.buckets, "bucket"),
        count(design.heads, "head"),
    )
    return tuple(fact for fact in facts if fact)


def layout(design: Design) -> tuple[str, ...]:
    """Say how the trial was laid out."""
    blocks = count(design.blocks_per_site, "block")
    line = (
        f"Each garden had {blocks}, groups of buckets that are alike before treatment. Lots decided which bucket got "
        f"which treatment ({design.kind})."
        if design.blocks_per_site > 1
        else f"Lots decided which bucket of a garden got which treatment ({design.kind})."
    )
    if design.whole_plot is None:
        return (line,)
    return (line, f"Each whole plot, a group of buckets in a block, had one {design.whole_plot}.")


def _inputs(reading: Reading) -> Table | None:
    body = (Row(one.file, (one.sha256,)) for one in reading.results.inputs)
    heads = (text_column("file"), text_column("SHA-256"))
    return make_table("inputs", "Files read, and the SHA-256 digest of each", heads, body)


def _amendments(reading: Reading) -> Table | None:
    body = (
        Row(f"{one.site} {one.change}", (str(one.layout_version), one.on, str(one.blocks or ABSENT), one.why))
        for one in reading.results.amendments
    )
    heads = tuple(map(text_column, ("garden", "layout version from then on", "on", "blocks", "why")))
    return make_table("amendments", "Gardens that joined, withdrew or rejoined once the trial had begun", heads, body)


def _sites(reading: Reading) -> Table | None:
    marketable = {row.site: row.share_usable for row in reading.results.losses.by_site}
    body = (
        Row(
            f"{site.name} ({site.site})" if site.name and site.name != site.site else site.site,
            (
                site.kind or ABSENT,
                site.water_source or ABSENT,
                plain(site.alkalinity_mg_l_caco3),
                plain(site.sun_hours),
                whole_percent(marketable.get(site.site)),
            ),
        )
        for site in reading.design.sites
    )
    heads = (text_column("garden"), text_column("kind"), text_column("water"))
    numbers = columns("", "alkalinity, mg/L CaCO₃", "sun, hours a day", "heads marketable, of those recorded")[1:]
    note = "Alkalinity is what the acid has to overcome, in mg/L as calcium carbonate."
    return make_table("sites", "The gardens", (*heads, *numbers), body, note)
