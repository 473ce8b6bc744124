"""What ``trialkit forms`` does with a folder."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from trialkit.domain.errors import WrongCall
from trialkit.domain.progress import each_told
from trialkit.domain.table_names import FORMS_FOLDER
from trialkit.languages import translatable
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
            f"Forms for {count(gardens, 'garden')}, written to {folder}. Print pack-SITE.html. Send phone-SITE.html or "
            "record-SITE.xlsx to whoever keeps the records there.",
            f"For you: {folder / ADVISER_FILE}, with every map and mixing card."
            + (" The trial is blind: do not give this file to the gardens." if self.blind else ""),
        )
        names = ", ".join(path.name for path in self.left_over)
        return (
            (*told, f"Left over from gardens that withdrew or are not in the layout: {names}. Do not send these out.")
            if names
            else told
        )


def write_forms(folder: Path) -> Written:
    """Write every garden's forms and the adviser's pages."""
    from trialkit.forms.garden_buckets import gardens_with_buckets
    from trialkit.forms.pack import adviser_pack, garden_pack
    from trialkit.forms.phone import phone_form
    from trialkit.forms.workbook import record_workbook
    from trialkit.rules.trial_folder import read_trial
    from trialkit.tables.committing import at_work, write_outputs

    if not (folder / "layout.csv").exists():
        raise WrongCall(
            translatable(
                "{folder} has no layout.csv yet, so there are no buckets to label. Run trialkit layout {folder} first."
            ),
            folder=folder,
        )
    with at_work(folder):
        trial = read_trial(folder, stage="layout")
        files = {ADVISER_FILE: adviser_pack(trial).encode("utf-8")}
        sites = [site for site in gardens_with_buckets(trial) if site not in trial.amended.withdrawn]
        for site in each_told(sites, "forms of gardens"):
            files[f"pack-{site}.html"] = garden_pack(trial, site).encode("utf-8")
            files[f"record-{site}.xlsx"] = record_workbook(trial, site)
            files[f"phone-{site}.html"] = phone_form(trial, site).encode("utf-8")
        write_outputs(folder, {f"{FORMS_FOLDER}/{name}": data for name, data in files.items()})
    forms = folder / FORMS_FOLDER
    left_over = (path for kind in ("pack-*.html", "record-*.xlsx", "phone-*.html") for path in sorted(forms.glob(kind)))
    return Written(
        tuple(forms / name for name in files),
        tuple(path for path in left_over if path.name not in files),
        trial.protocol.trial.blind,
    )


def garden_parcel(folder: Path, site: str) -> bytes:
    """Put what a garden is mailed into an archive: its forms as they were written, and a letter.

    Raises
    ------
    WrongCall
        If there is no such garden, or its forms were not written yet.
    """
    from trialkit.forms.parcel import FORMS, parcel
    from trialkit.rules.trial_folder import read_trial
    from trialkit.tables.own_files import ordinary_folder

    trial = read_trial(folder, stage="layout")
    if site not in gardens_to_mail(folder):
        raise WrongCall(
            translatable("{site} has no buckets in this trial, so there is nothing to send to it."), site=site
        )
    forms = ordinary_folder(folder / FORMS_FOLDER)
    paths = (forms / name.format(site=site) for name in FORMS)
    return parcel(trial, site, {path.name: path.read_bytes() for path in paths if path.is_file()})


def gardens_to_mail(folder: Path) -> list[str]:
    """Name the gardens that have buckets and did not withdraw."""
    from trialkit.forms.garden_buckets import gardens_with_buckets
    from trialkit.rules.trial_folder import read_trial

    trial = read_trial(folder, stage="layout")
    return [site for site in gardens_with_buckets(trial) if site not in trial.amended.withdrawn]
