"""A ledger from Python: one method for each command about evidence, with the same errors."""

from __future__ import annotations

import html
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

    from trialkit.documents.recommended import Recommended
    from trialkit.interface.trial_object import Trial
    from trialkit.languages import Language
    from trialkit.protocol.county import CountyAnswer

PathLike = str | Path


class Ledger:
    """Accepted trials, kept and pooled over seasons.

    Parameters
    ----------
    folder : path-like
        Of the ledger; it is begun by the first addition.

    Examples
    --------
    >>> import tempfile
    >>> import trialkit
    >>> place = tempfile.mkdtemp()
    >>> trial = trialkit.Trial.example("volunteer_cultivars", place + "/practice")
    >>> results = trial.analyse()
    >>> ledger = trialkit.Ledger(place + "/ledger")
    >>> ledger.add(trial)
    >>> ledger.entries()[["trial", "buckets", "gardens"]].to_dict("list")
    {'trial': ['volunteer-cultivars'], 'buckets': [72], 'gardens': [24]}
    >>> ledger.pool().decision.recommended.cultivar
    'Fenleaf'
    """

    def __init__(self, folder: PathLike) -> None:
        self._folder = Path(folder)

    @property
    def folder(self) -> Path:
        """Where it is."""
        return self._folder

    def add(self, source: Trial | PathLike) -> None:
        """Accept an analysed trial (a `trialkit.Trial`, or its folder), or a CSV table of older means."""
        from trialkit.steps.evidence_steps import add_means, add_trial

        path = Path(source) if isinstance(source, str | Path) else source.folder
        if path.is_dir():
            add_trial(path, self._folder)
        else:
            add_means(path, self._folder)

    def withdraw(self, entry: str, why: str) -> None:
        """Withdraw an entry, by the start of its id or by its trial's; it stays, marked, and counts no more."""
        from trialkit.steps.evidence_steps import withdraw_entry

        withdraw_entry(self._folder, entry, why)

    def readmit(self, entry: str, why: str) -> None:
        """Let a withdrawn entry count again, by the start of its id or by its trial's; both reasons stay."""
        from trialkit.steps.evidence_steps import readmit_entry

        readmit_entry(self._folder, entry, why)

    def entries(self) -> pd.DataFrame:
        """What it holds, one row an entry."""
        from trialkit.evidence.verifying import verify
        from trialkit.interface.frames import tidy

        listed = verify(self._folder).index.listed
        return tidy(listed).assign(counts=[one.counts for one in listed])

    def problems(self) -> tuple[str, ...]:
        """What was damaged or changed by hand; nothing where every file is as it was put there."""
        from trialkit.steps.evidence_steps import listing

        return listing(self._folder)[0].damaged

    def pool(self) -> Recommended:
        """Pool all trials that count, and write pool.html."""
        from trialkit.steps.evidence_steps import pool_ledger

        return pool_ledger(self._folder)[0]

    @property
    def recommended(self) -> Recommended:
        """The newest version of the defaults, as `recommend` wrote it.

        Raises
        ------
        WrongCall
            If there is none yet.
        """
        from trialkit.steps.evidence_steps import read_recommended

        return read_recommended(self._folder)

    @property
    def is_current(self) -> bool:
        """Whether the newest version of the defaults rests on all that counts now."""
        from trialkit.steps.evidence_steps import is_current

        return is_current(self._folder)

    def recommend(self, *languages: Language) -> Recommended:
        """Work out the recommended defaults, and write recommended.json, handout and care sheet.

        Parameters
        ----------
        *languages : str
            Of what gardeners get, such as "en", "es"; the county's if none is given.
        """
        from trialkit.steps.evidence_steps import recommend_from

        return recommend_from(self._folder, languages)[0]

    def county(self, **changes: str) -> CountyAnswer:
        """Return what is set of the county that the handout names, after changes; as `trialkit.Trial.county`."""
        from trialkit.steps.county_steps import county_of

        return county_of(self._folder, changes)

    def candidates(self) -> pd.DataFrame:
        """Everything that could be recommended, and what is expected of it: one row a candidate."""
        from trialkit._version import __version__
        from trialkit.evidence.versions import pool_now
        from trialkit.interface.frames import tidy
        from trialkit.planning.next_trial import propose

        return tidy(pool_now(self._folder, __version__, propose).decision.candidates)

    def __repr__(self) -> str:
        return f"Ledger({str(self._folder)!r})"

    def _repr_html_(self) -> str:
        """In a notebook: what it holds."""
        shown = self.entries()[["trial", "season", "gardens", "buckets", "heads", "counts"]]
        return f"<b>{html.escape(repr(self))}</b>{shown.to_html(index=False)}"
