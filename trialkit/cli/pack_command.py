"""``trialkit pack``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from trialkit.cli.conversation import Command
from trialkit.cli.failures import CallFailure, DataFailure, speaks_plainly
from trialkit.cli.named_choice import NamedChoice
from trialkit.cli.shared_options import trial_folder
from trialkit.cli.speaking import answer, tell
from trialkit.steps.pack_steps import pack_folder, pack_gaps

if TYPE_CHECKING:
    from trialkit.protocol.publication import Licence


@click.command("pack", cls=Command)
@trial_folder
@click.option("--into", metavar="ZIP", type=click.Path(dir_okay=False, path_type=Path), help="The file to write.")
@click.option(
    "--licence",
    type=NamedChoice(["CC-BY-4.0", "CC0-1.0"]),
    help="Licence under which others may use the data. Without it: as trial.toml or county.toml says, else CC-BY-4.0.",
)
@click.option("--check", "only_check", is_flag=True, help="Write nothing; name what a citable publication still lacks.")
@speaks_plainly
def command(folder: Path, into: Path | None, licence: Licence | None, only_check: bool) -> None:
    """Pack the trial in DIR as open data that others can analyse again: a Frictionless Data Package.

    The trial must pass trialkit check. The package also describes it for catalogues: DataCite, RO-Crate and MIAPPE.
    Who, where and when stand under [publication] in trial.toml. What is the same for every trial may stand there in
    county.toml instead. Names of gardens and notes go in as they are: read them before you publish.

    Example: trialkit pack autumn_dose --check
    """
    if only_check:
        if into is not None:
            raise CallFailure("--into and --check do not go together: --check writes nothing.")
        _tell_gaps(folder)
        return
    packed, sentence = pack_folder(folder, into, licence)
    answer(packed)
    tell(sentence)


def _tell_gaps(folder: Path) -> None:
    from trialkit.documents.answers import PackCheckAnswer

    missing = pack_gaps(folder)
    answer(
        PackCheckAnswer(not missing, missing), *([] if missing else ["Nothing that the standards ask for is missing."])
    )
    if missing:
        lines = [f"{one.standard} asks for {one.what}: tell it in {one.key}." for one in missing]
        raise DataFailure("\n".join(lines))
