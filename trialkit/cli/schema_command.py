"""``trialkit schema``."""

from __future__ import annotations

from typing import get_args

import click

from trialkit.cli.failures import speaks_plainly
from trialkit.cli.shared_options import as_json
from trialkit.cli.speaking import answer
from trialkit.domain.table_names import TableName

TABLES: tuple[TableName, ...] = get_args(TableName)


@click.command("schema")
@click.argument("table", metavar="[TABLE]", required=False, type=click.Choice(TABLES))
@as_json
@speaks_plainly
def command(table: TableName | None, as_json: bool) -> None:
    """Show what every column of TABLE means and which values it takes.

    Without TABLE, the tables are listed. With --json you get the open Table Schema (Frictionless) that checks, forms
    and workbooks are made from.

    Example: trialkit schema heads
    """
    from trialkit.steps.schema_steps import dictionary_document, dictionary_lines

    answer(dictionary_document(table), "\n".join(dictionary_lines(table)), as_json=as_json)
