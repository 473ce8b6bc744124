"""What ``trialkit forms`` does with a folder."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from trialkit.domain.errors import WrongCall
from trialkit.domain.table_names import FORMS_FOLDER
from trialkit.words.phrases import count

ADVISER_FILE = "adviser.html"


@dataclass(frozen=True)
class Written:
    """Files that were written, and those of gardens that withdrew or are no longer in the trial."""

    files: tuple[Path, ...]
    left_over: tuple[Path, ...]
    blind: bool

    @property
    def sentences(self) -> tuple[str, ...]:
        """Say what was written and what to do with it."""
        folder, gardens = self.files[0].parent, (len(self.files) - 1) // 3
        told = (
            f"Forms for {count(gardens, 'garden')}, written to {folder}: print pack-SITE.html; send "
            "phone-SITE.html or record-SITE.xlsx to whoever keeps the records there.",
            f"For you: {folder / ADVISER_FILE}, every map and mixing card."
            + (" The trial is blind: do not hand it to the gardens." if self.blind else ""),
        )
        names = ", ".join(path.name for path in self.left_over)
        return (*told, f"Left over, of gardens that withdrew or are not in the layout: {names}.") if names else told


def write_forms(folder: Path, progress: Callable[[str], None]) -> Written:
    """Write every garden's forms and the adviser's pages."""
    from trialkit.forms.garden_buckets import gardens_with_buckets
    from trialkit.forms.pack import adviser_pack, garden_pack
    from trialkit.forms.phone import phone_form
    from trialkit.forms.workbook import record_workbook
    from trialkit.rules.trial_folder import read_trial
    from trialkit.tables.atomic import write_bytes, write_text

    if not (folder / "layout.csv").exists():
        raise WrongCall(
            f"{folder} has no layout.csv yet, so there are no buckets to label: run trialkit layout {folder}."
        )
    trial = read_trial(folder, stage="layout")
    forms = folder / FORMS_FOLDER
    forms.mkdir(exist_ok=True)
    write_text(forms / ADVISER_FILE, adviser_pack(trial))
    files = [forms / ADVISER_FILE]
    for site in gardens_with_buckets(trial):
        if site in trial.amended.withdrawn:
            continue
        progress(f"the forms of {site}")
        names = [forms / f"pack-{site}.html", forms / f"record-{site}.xlsx", forms / f"phone-{site}.html"]
        write_text(names[0], garden_pack(trial, site))
        write_bytes(names[1], record_workbook(trial, site))
        write_text(names[2], phone_form(trial, site))
        files += names
    known = set(files)
    left_over = (path for kind in ("pack-*.html", "record-*.xlsx", "phone-*.html") for path in sorted(forms.glob(kind)))
    return Written(tuple(files), tuple(path for path in left_over if path not in known), trial.protocol.trial.blind)
