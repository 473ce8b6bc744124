"""What commands answer with ``--json``, as values: filled in once, printed for programs and put into words for people.

``collect`` answers with `trialkit.documents.returns.Collected`, ``plan`` with its document.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from trialkit.documents.check import Problem
from trialkit.documents.document import Closed
from trialkit.solution.acid_steps import AcidStep
from trialkit.solution.mixing import ClassRow, MixNote
from trialkit.solution.nutrients import Conductivity
from trialkit.solution.water import AlkalinityEstimate


@dataclass(frozen=True)
class CheckAnswer(Closed):
    """`trialkit check`: every problem, and whether none is an error.

    Attributes
    ----------
    ok : bool
        Whether there is no error.
    problems : tuple of Problem
        In the order of files and rows.
    """

    ok: bool
    problems: tuple[Problem, ...]


@dataclass(frozen=True)
class FormsAnswer(Closed):
    """`trialkit forms`: files written, and those left over from another layout.

    Attributes
    ----------
    files : tuple of str
        Paths of what was written.
    left_over : tuple of str
        Paths of forms of gardens that are no longer in the trial.
    """

    files: tuple[str, ...]
    left_over: tuple[str, ...]


@dataclass(frozen=True)
class MixWater(Closed):
    """The water as it came, or was guessed.

    Attributes
    ----------
    alkalinity_mg_l_caco3 : AlkalinityEstimate
        Alkalinity, mg/L as calcium carbonate.
    ph : float
        Of the water as it comes.
    temperature_c : float
        Degrees Celsius.
    """

    alkalinity_mg_l_caco3: AlkalinityEstimate
    ph: float
    temperature_c: float


@dataclass(frozen=True)
class MixAmount(Closed):
    """An amount of a product: exact, as spoons measure it, and in g or mL.

    A powdered acid is measured dissolved, a level teaspoon in each US cup of water.

    Attributes
    ----------
    name : str
        Name of the product.
    exact_tsp : float
        Level US teaspoons that were asked for or worked out.
    tsp : float
        Level US teaspoons as spoons measure them.
    grams : float or None
        Mass of that, g.
    millilitres : float or None
        Volume of that liquid, or of the solution of a powdered acid, mL.
    solution_tsp : float or None
        Teaspoons of the solution of a powdered acid that hold it.
    rounding_pct : float
        What rounding to what spoons measure adds, percent of the exact amount.
    """

    name: str
    exact_tsp: float
    tsp: float
    grams: float | None
    millilitres: float | None
    solution_tsp: float | None
    rounding_pct: float


@dataclass(frozen=True)
class MixRecipe(Closed):
    """Shares of a published solution that the bucket reaches.

    Attributes
    ----------
    name : str
        Name of the published solution.
    shares : mapping of str to float
        Share of its strength by element, 1 being all of it.
    """

    name: str
    shares: Mapping[str, float]


@dataclass(frozen=True)
class MixCaution(Closed):
    """A caution, to be shown with the amounts.

    Attributes
    ----------
    title : str
        The hazard.
    text : str
        What to do about it.
    """

    title: str
    text: str


@dataclass(frozen=True)
class MixAnswer(Closed):
    """`trialkit mix`: what goes into a bucket, and the pH and strength that it gives.

    Attributes
    ----------
    schema : str
        Name and version of this form.
    volume_l : float
        Water in the bucket, L.
    water : MixWater
        The water as it comes.
    nutrient : MixAmount or None
        Nutrient; None where none was asked for.
    acid : MixAmount or None
        Acid; None where none was asked for.
    acid_step : AcidStep or None
        What may be added at a time; None without acid, and where no kitchen measure is small enough.
    elements_mg_l : mapping of str to float
        Strength by element, mg/L.
    recipe : MixRecipe
        How that compares with a published solution.
    ec_ms_cm : Conductivity
        Electrical conductivity at 25 degrees Celsius, mS/cm.
    ph : float
        After mixing, before carbon dioxide leaves.
    ph_range : tuple of (float, float)
        Where the pH lies if the acid is off by an eighth of a teaspoon of what is poured.
    ph_strip : float
        What a strip in steps of a half shows.
    ph_standing : float
        Once the bucket has come to equilibrium with the air.
    notes : tuple of MixNote
        What is to be minded, as codes with numbers.
    warnings : tuple of str
        The same in words.
    cautions : tuple of MixCaution
        To be shown with the amounts.
    """

    schema: Literal["trialkit-mix-1"]
    volume_l: float
    water: MixWater
    nutrient: MixAmount | None
    acid: MixAmount | None
    acid_step: AcidStep | None
    elements_mg_l: Mapping[str, float]
    recipe: MixRecipe
    ec_ms_cm: Conductivity
    ph: float
    ph_range: tuple[float, float]
    ph_strip: float
    ph_standing: float
    notes: tuple[MixNote, ...]
    warnings: tuple[str, ...]
    cautions: tuple[MixCaution, ...]


@dataclass(frozen=True)
class MixTableAnswer(Closed):
    """`trialkit mix --table`: the acid for each class of alkalinity.

    Attributes
    ----------
    schema : str
        Name and version of this form.
    volume_l : float
        Water in the bucket, L.
    acid : str
        Name of the acid.
    target_ph : float
        pH to reach.
    nutrient_tsp : float
        Level US teaspoons of nutrient in the bucket.
    rows : tuple of ClassRow
        One for each class.
    cautions : tuple of MixCaution
        To be shown with the amounts.
    """

    schema: Literal["trialkit-mix-table-1"]
    volume_l: float
    acid: str
    target_ph: float
    nutrient_tsp: float
    rows: tuple[ClassRow, ...]
    cautions: tuple[MixCaution, ...]


@dataclass(frozen=True)
class VerifyAnswer(Closed):
    """`trialkit report --verify`: whether results and report are what the inputs give.

    Attributes
    ----------
    ok : bool
        Whether they are.
    differences : tuple of str
        What is not.
    """

    ok: bool
    differences: tuple[str, ...]
