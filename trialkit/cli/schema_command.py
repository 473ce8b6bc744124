"""``trialkit schema``."""

from __future__ import annotations

from typing import get_args

import click

from trialkit.cli.conversation import Command
from trialkit.cli.failures import speaks_plainly
from trialkit.cli.named_choice import NamedChoice
from trialkit.cli.speaking import answer
from trialkit.domain.table_names import TableName

TABLES: tuple[TableName, ...] = get_args(TableName)


@click.command("schema", cls=Command)
@click.argument("table", metavar="[TABLE]", required=False, type=NamedChoice(TABLES))
@speaks_plainly
def command(table: TableName | None) -> None:
    """Show what every column of TABLE means and which values it takes.

    Without TABLE, the tables are listed. With --json you get the open Table Schema (Frictionless) that checks, forms
    and workbooks are made from.

    Example: trialkit schema heads
    """
    from trialkit.steps.schema_steps import dictionary_document, dictionary_lines

    answer(dictionary_document(table), *dictionary_lines(table))
