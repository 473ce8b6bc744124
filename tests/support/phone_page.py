"""The phone form as a page in the browser: opened as on a phone, gone about in, and its file saved."""

import json
from pathlib import Path
from typing import Any

from trialkit.forms.phone import phone_form
from trialkit.rules.trial_folder import CheckedTrial

PHONE: dict[str, Any] = {"viewport": {"width": 360, "height": 740}, "has_touch": True, "reduced_motion": "reduce"}


def written(trial: CheckedTrial, site: str, path: Path) -> Path:
    """Write a garden's form."""
    path.write_text(phone_form(trial, site), encoding="utf-8")
    return path


def first_bucket(trial: CheckedTrial, site: str = "FERN") -> str:
    """Return the garden's first bucket."""
    return str(trial.layout[trial.layout["site"] == site].sort_values(["block", "position"])["bucket"].iloc[0])


def opened(browser: Any, path: Path, **options: Any) -> Any:
    """Open a form from disk, offline, as on a phone."""
    page = browser.new_context(offline=True, accept_downloads=True, **PHONE, **options).new_page()
    page.goto(path.as_uri())
    return page


def go(page: Any, bucket: str, task: str = "other") -> None:
    """Go to a bucket by the letters on its label, to do something there: by itself, to all its fields."""
    page.click(f"[data-task={task}]")
    page.fill("#jump", bucket.lower())
    page.press("#jump", "Enter")


def saved(page: Any, folder: Path) -> dict[str, Any]:
    """Save the file and read it."""
    with page.expect_download() as download:
        page.click("#handing-back [data-do=save]")
    path = folder / download.value.suggested_filename
    download.value.save_as(path)
    return dict(json.loads(path.read_text("utf-8"))) | {"path": path}
