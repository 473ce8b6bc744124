"""A trial folder from Python: one method for each command, with the same errors."""

from __future__ import annotations

import html
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from trialkit.domain.errors import WrongCall
from trialkit.domain.table_names import PROTOCOL_FILE

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

    from trialkit.documents.answers import Gap, MixAnswer, PackAnswer, SecondEngine, SetAnswer, SiteAnswer
    from trialkit.documents.plan import Plan
    from trialkit.documents.results import Results
    from trialkit.documents.returns import CorrectOutcome, MergeOutcome, ReturnFinding, TakeBackOutcome
    from trialkit.domain.table_names import TableName
    from trialkit.languages import Language
    from trialkit.planning.trial_plan import Foresight
    from trialkit.protocol.county import CountyAnswer
    from trialkit.protocol.publication import Licence
    from trialkit.protocol.trial_protocol import Protocol
    from trialkit.returns.correcting import Wanted
    from trialkit.returns.merge_files import Turn
    from trialkit.rules.trial_folder import CheckResult, Stage
    from trialkit.tables.typed_lists import PlanTable

PathLike = str | Path
Picture = Literal["records", "gains", "doses", "gardens", "residuals"]


class Trial:
    """A trial: its folder, and every step that a command does with it.

    Methods read the folder anew, so that they see what was changed meanwhile; they lock it as the commands do, write
    what the commands write, and raise what the commands tell: `TrialError` with every problem of the data, `WrongCall`,
    `NotComputed`.

    Parameters
    ----------
    folder : path-like
        With a trial.toml.

    Raises
    ------
    WrongCall
        If it has none.

    Examples
    --------
    >>> import tempfile
    >>> import trialkit
    >>> trial = trialkit.Trial.example("volunteer_cultivars", tempfile.mkdtemp() + "/practice")
    >>> trial.check().ok
    True
    >>> len(trial.layout()), len(trial.heads())
    (72, 288)
    >>> results = trial.analyse()
    >>> results.decision.recommended.cultivar, round(results.decision.candidates[0].yield_g) > 100
    ('Fenleaf', True)
    >>> trial.table("tests")[["response", "term", "numerator_df"]].head(1).to_dict("list")
    {'response': ['weight_g'], 'term': ['cultivar'], 'numerator_df': [5]}
    >>> trial.report().name
    'report.html'
    """

    def __init__(self, folder: str | Path) -> None:
        self._folder = Path(folder)
        if not (self._folder / PROTOCOL_FILE).is_file():
            raise WrongCall(f"{self._folder} is no trial: it has no {PROTOCOL_FILE}.")

    @classmethod
    def example(cls, name: str, folder: PathLike) -> Trial:
        """Copy a bundled example, records included, into a new folder."""
        from trialkit.protocol.starting import copy_example

        copy_example(name, Path(folder))
        return cls(folder)

    @classmethod
    def new(
        cls,
        folder: PathLike,
        *,
        question: str,
        sites: list[str],
        practice: dict[str, str | float],
        seed: int,
        cultivars: list[str] | None = None,
        doses: list[float] | None = None,
        acidifiers: list[str] | None = None,
        nutrient: str = "",
        blocks: int = 3,
        settings: Mapping[str, object] | None = None,
        tables: Mapping[PlanTable, pd.DataFrame | str] | None = None,
    ) -> Trial:
        """Start a trial: a commented trial.toml, and tables to fill in.

        Parameters
        ----------
        folder : path-like
            New, or empty.
        question : str
        sites : list of str
            Short names of the gardens.
        practice : dict
            What gardeners do now: a level of each of cultivar, dose and acidifier that is tried at several.
        seed : int
            Where every random draw starts.
        cultivars, doses, acidifiers : list, optional
            What is tried; doses in level teaspoons a bucket.
        nutrient : str
            What doses are doses of.
        blocks : int
            In each garden.
        settings, tables : mapping, optional
            What else its plan is to say, as `set` takes it.

        Raises
        ------
        TrialError
            With every answer that does not fit.
        """
        from trialkit.protocol.county import read_county
        from trialkit.protocol.starting import NewTrial, id_from
        from trialkit.steps.setting_steps import Settings, start_with

        path = Path(folder)
        block = read_county(path)
        start_with(
            path,
            NewTrial(
                question=question,
                cultivars=cultivars or [],
                doses=doses or [],
                acidifiers=acidifiers or [],
                sites=sites,
                current_practice=practice,
                seed=seed,
                blocks=blocks,
                nutrient=nutrient,
                measures=block.county.measures if block else "both",
                id=id_from(path.resolve().name),
            ),
            Settings(settings or {}, _texts(tables)),
        )
        return cls(path)

    @classmethod
    def following(
        cls,
        folder: PathLike,
        source: PathLike,
        *,
        seed: int | None = None,
        progress: Callable[[str, int, int], None] | None = None,
    ) -> Trial:
        """Start the trial that is worth most after those of a ledger, or after one analysed trial.

        Parameters
        ----------
        folder : path-like
            New, or empty.
        source : path-like
            The ledger, or the folder of the analysed trial.
        seed : int, optional
            Where every random draw starts; drawn if not given.
        progress : callable, optional
            Told of long work: what, how much is done, how much there is.

        Raises
        ------
        NotComputed
            If no trial is worth it.
        """
        from trialkit.domain.progress import watched
        from trialkit.steps.following_steps import start_following

        path = Path(folder)
        with watched(progress):
            start_following(path, Path(source), seed)
        return cls(path)

    @property
    def folder(self) -> Path:
        """Where it is."""
        return self._folder

    @property
    def protocol(self) -> Protocol:
        """What trial.toml says."""
        from trialkit.protocol.trial_protocol import read_protocol

        return read_protocol(self._folder)

    def set(
        self,
        changes: Mapping[str, object] | None = None,
        *,
        tables: Mapping[PlanTable, pd.DataFrame | str] | None = None,
        seen: Mapping[str, str] | None = None,
    ) -> SetAnswer:
        """Set what its plan says, until the layout is frozen: all of it or, where anything is wrong, nothing.

        Parameters
        ----------
        changes : mapping, optional
            Values by the keys of trial.toml, such as ``{"layout.blocks": 2, "trial.season": "spring 2028"}``; None
            takes a key away.
        tables : mapping, optional
            Whole lists, sites, products or people (of the publication): a frame, or the text of a list.
        seen : mapping, optional
            SHA-256 digests by file: nothing is written where a file is another by now.

        Raises
        ------
        TrialError
            With every problem that the change would leave or bring.
        WrongCall
            If the layout is frozen and stands on what would change.
        """
        from trialkit.steps.setting_steps import Settings, set_plan

        return set_plan(self._folder, Settings(changes or {}, _texts(tables)), seen)

    def set_table(self, name: PlanTable, table: pd.DataFrame) -> SetAnswer:
        """Set one whole table of the plan, as `set`."""
        return self.set(tables={name: table})

    def check(self, stage: Stage | None = None) -> CheckResult:
        """Find every problem, as far as the trial has come, or up to a stage: "plan", "layout" or "records"."""
        from trialkit.steps.trial_steps import check_folder, stage_of

        return check_folder(self._folder, stage or stage_of(self._folder))

    def check_pages(self) -> tuple[Path, ...]:
        """Check it and write pages of what was found, for the adviser and for gardens; return them."""
        from trialkit.steps.trial_steps import check_with_pages

        return tuple(check_with_pages(self._folder)[2])

    def plan(
        self,
        *,
        ledger: PathLike | None = None,
        earlier: PathLike | None = None,
        simulations: int | None = None,
        progress: Callable[[str, int, int], None] | None = None,
    ) -> Plan:
        """Plan it: what it is worth, what it takes and when things are due; writes plan.json, plan.html, calendar.ics.

        Parameters
        ----------
        ledger : path-like, optional
            Ledger, or analysed trial, that this one goes on from.
        earlier : path-like, optional
            An analysed trial whose variances to plan with.
        simulations : int, optional
            Trials to simulate for the power, where it has no exact formula.
        progress : callable, optional
            Told of long work: what, how much is done, how much there is.
        """
        from trialkit.domain.progress import watched
        from trialkit.steps.plan_steps import plan_folder

        with watched(progress):
            return plan_folder(
                self._folder,
                simulations=simulations,
                scheduler=None,
                earlier=_path(earlier),
                ledger=_path(ledger),
                told=lambda _: None,
            )

    def foresee(
        self,
        *,
        gardens: int | None = None,
        blocks: int | None = None,
        heads: int | None = None,
        ledger: PathLike | None = None,
    ) -> Foresight:
        """Tell at once what it takes and should bring as planned, or with other sizes; nothing is written.

        Parameters
        ----------
        gardens, blocks, heads : int, optional
            Gardens, blocks in each and heads in each bucket; as planned if not given.
        ledger : path-like, optional
            As `plan` takes it.
        """
        from trialkit.steps.plan_steps import Sizes, foresee_sizes

        return foresee_sizes(self._folder, Sizes(gardens, blocks, heads), _path(ledger))[1]

    def layout(self, *, again: bool = False) -> pd.DataFrame:
        """Draw the layout and write it, unless it was drawn; return it: one row a bucket.

        Parameters
        ----------
        again : bool
            Whether to draw it again by what the plan says now; refused once it is frozen.
        """
        from trialkit.steps.trial_steps import lay_out

        if again or not (self._folder / "layout.csv").is_file():
            lay_out(self._folder)
        return self._read("layout").layout

    def forms(self) -> tuple[Path, ...]:
        """Write what gardens print and fill in; return the files."""
        from trialkit.steps.forms_steps import write_forms

        return write_forms(self._folder).files

    def parcel(self, site: str) -> bytes:
        """Put what a garden is mailed into a ZIP archive: its forms as `forms` wrote them, and a letter."""
        from trialkit.steps.forms_steps import garden_parcel

        return garden_parcel(self._folder, site)

    def merge(self, *files: PathLike, why: str | None = None, by: str = "adviser", **answers: Any) -> MergeOutcome:
        """Merge returned files into the records.

        Parameters
        ----------
        *files : path-like
            Workbooks, CSV files, files of the phone form.
        why, by : str
            Take what they say otherwise as corrections, for this reason, by this role.
        **answers
            As `trialkit merge` takes them: dates, decimals, serials, weights, accept, headings, choose.
        """
        from trialkit.returns.merge_files import merge_files

        turn = _turn(files, {"why": why, "by": by, **answers})
        return merge_files(self._folder, turn.files, turn.given, reason=turn.reason)

    def look(self, *merges: tuple[Sequence[PathLike], Mapping[str, Any]]) -> tuple[MergeOutcome, ...]:
        """Say what merges would do, one after the other, and change nothing.

        Parameters
        ----------
        *merges : tuple of (sequence of path-like, mapping)
            The files of each, and what else `merge` would be given.
        """
        from trialkit.returns.merge_files import look_at_files

        return look_at_files(self._folder, [_turn(files, told) for files, told in merges])

    def take_back(self, file: str, *, why: str, by: str = "adviser") -> TakeBackOutcome:
        """Take back a file that was merged: what it alone told goes from the records, and its original is kept.

        Parameters
        ----------
        file : str
            The name that it was merged under, or that of its original under returned.
        why, by : str
        """
        from trialkit.returns.journal import Reason
        from trialkit.returns.taking_back import take_back

        return take_back(self._folder, file, Reason(why, by, date.today()))

    def correct(
        self,
        bucket: str,
        head: int | None = None,
        *,
        why: str,
        by: str = "adviser",
        on: date | None = None,
        **values: object,
    ) -> CorrectOutcome:
        """Put one record right, and remember what it said before, who corrected it, when and why.

        Parameters
        ----------
        bucket : str
        head : int, optional
            Of heads.csv; without it the bucket's row of solution.csv.
        why, by : str
        on : datetime.date, optional
            Day of the solution, where a bucket has several.
        **values
            What the columns should say, in the units of the table; an empty text empties the cell.
        """
        from trialkit.returns.correcting import correct
        from trialkit.returns.journal import Reason

        return correct(self._folder, _wanted(bucket, head, on, values), Reason(why, by, date.today()))

    def look_at_correction(
        self, bucket: str, head: int | None = None, *, on: date | None = None, **values: object
    ) -> tuple[ReturnFinding, ...]:
        """Say what would keep `correct` from putting a record right, and change nothing; nothing where it can."""
        from trialkit.returns.correcting import look_at_correction

        return look_at_correction(self._folder, _wanted(bucket, head, on, values))

    def add_site(
        self,
        site: str,
        *,
        why: str,
        on: date | None = None,
        blocks: int | None = None,
        language: Language | None = None,
    ) -> SiteAnswer:
        """Let a garden join once the layout is frozen."""
        from trialkit.returns.amending import add_garden

        return add_garden(self._folder, site, blocks=blocks, language=language, why=why, on=on or date.today())

    def withdraw_site(self, site: str, *, why: str, on: date | None = None) -> SiteAnswer:
        """Let a garden give up: its records stay."""
        from trialkit.returns.amending import withdraw_garden

        return withdraw_garden(self._folder, site, why=why, on=on or date.today())

    def rejoin_site(self, site: str, *, why: str, on: date | None = None) -> SiteAnswer:
        """Let a garden that gave up take part again, with the lots that it had."""
        from trialkit.returns.amending import rejoin_garden

        return rejoin_garden(self._folder, site, why=why, on=on or date.today())

    def analyse(self, *, all_pairs: bool = False) -> Results:
        """Analyse it and write results/results.json."""
        from trialkit.steps.trial_steps import analyse_folder

        return analyse_folder(self._folder, all_pairs=all_pairs).results

    @property
    def results(self) -> Results:
        """What the last analysis found.

        Raises
        ------
        WrongCall
            If there was none.
        """
        from trialkit.steps.trial_steps import read_results

        return read_results(self._folder)

    def report(self) -> Path:
        """Write results/report.html from the last analysis; return where it is."""
        from trialkit.steps.trial_steps import REPORT_FILE, RESULTS_FOLDER, write_report

        write_report(self._folder)
        return self._folder / RESULTS_FOLDER / REPORT_FILE

    def verify(self) -> tuple[str, ...]:
        """Analyse again and name what is not as results and report have it; nothing where all is."""
        from trialkit.steps.trial_steps import differences

        return tuple(differences(self._folder))

    def second_engine(self) -> tuple[SecondEngine, ...]:
        """Fit the weights by statsmodels too, and set its figures beside ours."""
        from trialkit.steps.trial_steps import second_engine

        return second_engine(self._folder)

    def pack(self, into: PathLike | None = None, licence: Licence | None = None) -> PackAnswer:
        """Pack it as open data."""
        from trialkit.steps.pack_steps import pack_folder

        return pack_folder(self._folder, _path(into), licence)[0]

    def pack_gaps(self) -> tuple[Gap, ...]:
        """Name what a citable publication still lacks; nothing where all is told."""
        from trialkit.steps.pack_steps import pack_gaps

        return pack_gaps(self._folder)

    def mix(self, **asked: Any) -> MixAnswer:
        """Work out the spoons of nutrient and acid for a bucket, its products and bucket being those of the trial.

        Parameters
        ----------
        **asked
            Options of ``trialkit mix`` by their names: alkalinity, acid, ec and so on.
        """
        from trialkit.steps.mix_steps import Asked, mix_answer

        return mix_answer(Asked(trial=self._folder, **asked))

    def county(self, **changes: str) -> CountyAnswer:
        """Return what is set of the county that handouts name, after changes to the county.toml of this folder.

        Parameters
        ----------
        **changes : str
            Options of ``trialkit county`` by their names: name, programme, contact and so on; an empty text takes
            away.
        """
        from trialkit.steps.county_steps import county_of

        return county_of(self._folder, changes)

    @staticmethod
    def columns(table: TableName) -> pd.DataFrame:
        """Return what each column of a table means and takes: one row a column, in the order of the file."""
        from trialkit.steps.schema_steps import dictionary_frame

        return dictionary_frame(table)

    def sites(self) -> pd.DataFrame:
        """The gardens."""
        return self._read("plan").sites

    def products(self) -> pd.DataFrame:
        """Nutrients and acids."""
        return self._read("plan").products

    def heads(self) -> pd.DataFrame:
        """One row a head, with the treatment and place of its bucket."""
        found = self._read("records")
        return found.heads.merge(found.layout, on="bucket", validate="many_to_one")

    def solution(self) -> pd.DataFrame:
        """One row a mixing or reading of a bucket."""
        return self._read("records").solution

    def visits(self) -> pd.DataFrame:
        """One row a visit to a garden."""
        return self._read("records").visits

    def table(self, name: str) -> pd.DataFrame:
        """Return a table of the last analysis, tidy: one row a thing, one column a fact.

        Parameters
        ----------
        name : str
            One of `trialkit.interface.frames.TABLES`: candidates, means, comparisons, tests, variances and so on.

        Raises
        ------
        WrongCall
            If there is no such table.
        """
        from trialkit.interface.frames import TABLES, table_of
        from trialkit.tables.nearest import meant

        if name not in TABLES:
            raise WrongCall(f"There is no table {name!r}; there are {', '.join(TABLES)}.{meant(name, TABLES)}")
        return table_of(self.results, name)

    def draw(self, what: Picture = "gains", axes: Axes | None = None) -> Axes:
        """Draw on axes of matplotlib; where none are given, new ones are made.

        Parameters
        ----------
        what : {"records", "gains", "doses", "gardens", "residuals"}
            Every weighed head; what each treatment gains; the curve of doses; the recommended treatment's difference
            garden by garden; residuals of bucket weights.
        axes : matplotlib.axes.Axes, optional

        Raises
        ------
        NotComputed
            If the results do not hold what it needs.
        """
        from trialkit.interface.drawing import PICTURES, draw_records

        if what in PICTURES:
            return PICTURES[what](self.results, axes)
        if what != "records":
            raise WrongCall(f"There is no picture {what!r}; there are records, {', '.join(PICTURES)}.")
        from trialkit.domain.treatment import Treatment
        from trialkit.words.treatment_names import treatment_label

        heads, columns = self.heads(), list(self.protocol.treatment_columns)
        labels = [treatment_label(Treatment.of(row), columns) for row in heads[columns].to_dict("records")]
        return draw_records(heads.assign(treatment=labels), axes)

    def _read(self, stage: Stage) -> Any:
        from trialkit.rules.trial_folder import read_trial

        return read_trial(self._folder, stage=stage)

    def __repr__(self) -> str:
        return f"Trial({str(self._folder)!r})"

    def _repr_html_(self) -> str:
        """In a notebook: what it asks, and the answer, where there is one."""
        about = self.protocol.trial
        lines = [f"<b>{html.escape(about.title)}</b>", html.escape(about.question)]
        if (self._folder / "results" / "results.json").is_file():
            from trialkit.steps.summary import summary

            lines.append(f"<pre>{html.escape(summary(self.results))}</pre>")
        return "<br>".join(lines)


def _texts(tables: Mapping[PlanTable, pd.DataFrame | str] | None) -> dict[PlanTable, str]:
    from trialkit.tables.atomic import csv_text

    return {name: one if isinstance(one, str) else csv_text(one) for name, one in (tables or {}).items()}


def _turn(files: Sequence[PathLike], told: Mapping[str, Any]) -> Turn:
    from trialkit.returns.answering import given
    from trialkit.returns.journal import Reason
    from trialkit.returns.merge_files import Turn

    answers = {name: value for name, value in told.items() if name not in ("why", "by")}
    why = told.get("why")
    reason = None if why is None else Reason(why, told.get("by", "adviser"), date.today())
    return Turn(tuple(map(Path, files)), given(answers, "options"), reason)


def _wanted(bucket: str, head: int | None, on: date | None, values: Mapping[str, object]) -> Wanted:
    from trialkit.returns.correcting import Wanted

    told = {name: str(value) for name, value in values.items()}
    return Wanted(bucket, None if head is None else str(head), on.isoformat() if on else None, told)


def _path(path: PathLike | None) -> Path | None:
    return None if path is None else Path(path)
