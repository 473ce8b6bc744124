"""``trialkit check``."""

from __future__ import annotations

from pathlib import Path

import click

from trialkit.cli.conversation import Command
from trialkit.cli.failures import problem_lines, speaks_plainly
from trialkit.cli.main import DATA_ERROR, DONE
from trialkit.cli.shared_options import trial_folder
from trialkit.cli.speaking import answer, tell
from trialkit.steps.trial_steps import check_folder, check_with_pages, stage_of

NEXT = {"plan": "plan", "layout": "forms", "records": "analyse"}


@click.command("check", cls=Command)
@trial_folder
@click.option("--html", "as_html", is_flag=True, help="Write pages of what was found, for you and for gardens.")
@speaks_plainly
def command(folder: Path, as_html: bool) -> int:
    """Find every problem in the trial folder DIR at once.

    Each problem names the file, the row as a spreadsheet shows it, and the column. It says what was found, what was
    expected and how to fix it. Before there are records, only the plan and the layout are checked. No record is
    changed. The exit status is 1 if there is an error; warnings alone leave it 0.

    With --html, results/check.html tells you everything. results/check-SITE.html asks the volunteer of that garden
    what only they can answer, in the language of the garden. A garden without questions has no page.

    Example: trialkit check autumn_dose --html
    """
    from trialkit.documents.answers import CheckAnswer
    from trialkit.words.problem_words import told_problem
    from trialkit.words.record_check_words import check_sentence

    if as_html:
        stage, result, pages = check_with_pages(folder)
        for path in pages:
            tell(f"Page: {path}")
    else:
        stage = stage_of(folder)
        result = check_folder(folder, stage)
    found = CheckAnswer(result.ok, tuple(map(told_problem, result.problems)))
    after = f" Next: trialkit {NEXT[stage]} {folder}" if result.ok else ""
    answer(found, *problem_lines(result.problems), f"{check_sentence(result, stage)}{after}")
    return DONE if result.ok else DATA_ERROR
