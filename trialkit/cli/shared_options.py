"""Options that several commands share."""

from __future__ import annotations

from pathlib import Path

import click

trial_folder = click.argument("folder", metavar="DIR", type=click.Path(exists=True, file_okay=False, path_type=Path))
as_json = click.option("--json", "as_json", is_flag=True, help="Print a machine-readable answer on standard output.")
by_whom = click.option("--by", metavar="WHO", default="adviser", show_default=True, help="Who corrects, by role.")
