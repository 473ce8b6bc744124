"""Words of which an option takes one."""

from __future__ import annotations

import click

from trialkit.tables.nearest import meant


class NamedChoice(click.Choice[str]):
    """One of several words; of a misspelt one it says which was meant."""

    def get_invalid_choice_message(self, value: str, ctx: click.Context | None) -> str:
        """Say which words there are, and which is spelled like what was given."""
        return f"{super().get_invalid_choice_message(value, ctx)}.{meant(value, self.choices)}"
