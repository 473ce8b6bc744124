"""What commands answer with ``--json``, as values: filled in once, printed for programs and put into words for people.

`CommandAnswer` is what each prints. In it, ``merge`` answers with `trialkit.documents.returns.ToldMerge`, ``plan`` with
its document.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from trialkit.documents.document import Closed
from trialkit.documents.problems import ToldProblem
from trialkit.solution.acid_steps import AcidStep
from trialkit.solution.mixing import ClassRow, MixNote
from trialkit.solution.nutrients import Conductivity
from trialkit.solution.tap_alkalinity import AlkalinityEstimate

FailureKind = Literal["data", "call", "not computed", "stopped", "fault"]


@dataclass(frozen=True)
class Failure(Closed):
    """Why a command did not do, or not find, all that it was asked for."""

    kind: Annotated[
        FailureKind,
        "Errors in the data; a wrong call, or a file that cannot be read or written; a result that cannot be computed; "
        "a stop. Last, a fault of trialkit.",
    ]
    messages: Annotated[tuple[str, ...], "What is said of it, a line each."]
    problems: Annotated[
        tuple[ToldProblem, ...], "In the data, where they stopped it; those that were asked for stand in the answer."
    ]


@dataclass(frozen=True)
class CommandAnswer(Closed):
    """The one document that any command prints with ``--json``, whether it failed or not."""

    schema: Annotated[Literal["trialkit-answer-1"], "Name and version of this form."]
    command: Annotated[str, "Which it was, such as ``evidence add``; empty where the call names none."]
    exit_status: Annotated[int, "Zero where all is done."]
    failure: Annotated[Failure | None, "None where all is done."]
    folder: Annotated[str | None, "Trial, ledger or folder that it worked on, as the call names it."]
    written: Annotated[
        tuple[str, ...], "Files that were written, in alphabetical order, by their paths from that folder."
    ]
    taken_away: Annotated[tuple[str, ...], "Files that were taken away, likewise."]
    done: Annotated[tuple[str, ...], "What was done and what comes next, a sentence or more each."]
    answer: Annotated[Any, "What was asked for, by command; None where files are all, or there is none."] = None


@dataclass(frozen=True)
class NewAnswer(Closed):
    """`trialkit new`: the trial that was started."""

    id: Annotated[str, "Identity of the trial."]
    question: Annotated[str, "What it is to find out."]
    treatments: Annotated[int, "How many are compared."]
    gardens: Annotated[int, "How many take part."]
    blocks: Annotated[int, "In each garden."]
    seed: Annotated[int, "Number that decides every random draw."]


@dataclass(frozen=True)
class LayoutAnswer(Closed):
    """`trialkit layout`: what was drawn."""

    buckets: Annotated[int, "In all gardens together."]
    gardens: Annotated[int, "How many."]
    kind: Annotated[str, "Kind of layout, as trial.toml names it."]
    seed: Annotated[int, "Number that decided it."]
    replaced: Annotated[bool, "Whether another layout stood there, whose labels are to be thrown away."]
    labels_also_in: Annotated[tuple[str, ...], "Trials in folders beside this one that have some of these labels too."]
    warnings: Annotated[tuple[ToldProblem, ...], "What is doubtful about it."]


@dataclass(frozen=True)
class DemoStep(Closed):
    """One step of `trialkit demo`."""

    name: Annotated[str, "What it does."]
    sentences: Annotated[str, "What came of it."]


@dataclass(frozen=True)
class DemoAnswer(Closed):
    """`trialkit demo`: each step, and what came of it."""

    steps: Annotated[tuple[DemoStep, ...], "In order."]


@dataclass(frozen=True)
class DeskAnswer(Closed):
    """`trialkit desk`, once it has ended: where it was."""

    address: Annotated[str, "Of its pages; the secret of its link is told on standard error alone."]


@dataclass(frozen=True)
class CheckAnswer(Closed):
    """`trialkit check`: every problem, and whether none is an error."""

    ok: Annotated[bool, "Whether there is no error."]
    problems: Annotated[tuple[ToldProblem, ...], "In the order of files and rows."]


@dataclass(frozen=True)
class SiteAnswer(Closed):
    """`trialkit site`: how the layout was changed."""

    site: Annotated[str, "Short name of the garden."]
    change: Annotated[Literal["joined", "withdrew", "rejoined"], "What it did."]
    layout_version: Annotated[int, "Version of the layout from then on; as first laid out it is version 1."]
    on: Annotated[str, "Day of the change."]
    why: Annotated[str, "The reason."]
    blocks: Annotated[int | None, "Blocks of a garden that joined."]
    buckets: Annotated[tuple[str, ...], "Labels of a garden that joined, in bench order."]
    labels_also_in: Annotated[tuple[str, ...], "Trials in folders beside this one that have some of these labels too."]
    changed: Annotated[tuple[str, ...], "Files of the trial folder that were written."]


@dataclass(frozen=True)
class SetAnswer(Closed):
    """`trialkit set`: what of the plan was changed."""

    changed: Annotated[tuple[str, ...], "Files of the trial folder that were written."]
    draw_again: Annotated[bool, "Whether layout.csv was drawn before this and would be drawn otherwise now."]
    warnings: Annotated[tuple[ToldProblem, ...], "What is worth a second look in the plan."]


@dataclass(frozen=True)
class FormsAnswer(Closed):
    """`trialkit forms`: what is not to be sent out."""

    left_over: Annotated[tuple[str, ...], "Forms in the folder of gardens that withdrew or are not in the layout."]


@dataclass(frozen=True)
class MixWater(Closed):
    """The water as it came, or was guessed."""

    alkalinity_mg_l_caco3: Annotated[
        AlkalinityEstimate, "Alkalinity of what fills the bucket, mg/L as calcium carbonate."
    ]
    ph: Annotated[float, "Of the water as it comes."]
    temperature_c: Annotated[float, "Degrees Celsius."]
    elements_mg_l: Annotated[Mapping[str, float], "Its own calcium and magnesium, mg/L, as far as they are known."]
    elements_guessed: Annotated[bool, "Whether hardness guesses these."]
    rain_share: Annotated[float, "Share of reverse-osmosis, distilled or rain water in the bucket, 0 to 1."]
    tap_alkalinity_mg_l_caco3: Annotated[float, "Alkalinity of the rest of it, mg/L as calcium carbonate."]


@dataclass(frozen=True)
class MixAmount(Closed):
    """An amount of a product: exact, as spoons measure it, and in g or mL.

    A powdered acid is measured dissolved, a level teaspoon in each US cup of water.
    """

    name: Annotated[str, "Name of the product."]
    exact_tsp: Annotated[float, "Level US teaspoons that were asked for or worked out."]
    tsp: Annotated[
        float, "Level US teaspoons as spoons measure them; of a part of a feed that they cannot measure, as weighed."
    ]
    grams: Annotated[float | None, "Mass of that, g."]
    millilitres: Annotated[float | None, "Volume of that liquid, or of the solution of a powdered acid, mL."]
    solution_tsp: Annotated[float | None, "Teaspoons of the solution of a powdered acid that hold it."]
    rounding_pct: Annotated[float, "What rounding to what spoons measure adds, percent of the exact amount."]


@dataclass(frozen=True)
class MixBlend(Closed):
    """What thinning with reverse-osmosis, distilled or rain water gives, where acid alone cannot serve."""

    rain_share: Annotated[float, "Share of it in the bucket, 0 to 1."]
    alkalinity_mg_l_caco3: Annotated[float, "Of the blend, mg/L as calcium carbonate."]
    acid: Annotated[MixAmount | None, "Acid for the blend."]
    acid_step: Annotated[AcidStep | None, "What may be added to it at a time; None where nothing is safe."]


@dataclass(frozen=True)
class MixRecipe(Closed):
    """Shares of a published solution that the bucket reaches."""

    name: Annotated[str, "Name of the published solution."]
    shares: Annotated[Mapping[str, float], "Share of its strength by element, 1 being all of it."]


@dataclass(frozen=True)
class MixCaution(Closed):
    """A caution, to be shown with the amounts."""

    title: Annotated[str, "The hazard."]
    text: Annotated[str, "What to do about it."]


@dataclass(frozen=True)
class MixAnswer(Closed):
    """`trialkit mix`: what goes into a bucket, and the pH and strength that it gives."""

    schema: Annotated[Literal["trialkit-mix-2"], "Name and version of this form."]
    volume_l: Annotated[float, "Water in the bucket, L."]
    water: Annotated[MixWater, "The water as it comes."]
    nutrient: Annotated[MixAmount | None, "Nutrient, the base of the feed; None where none was asked for."]
    parts: Annotated[tuple[MixAmount, ...], "What goes in after the nutrient, in this order."]
    acid: Annotated[MixAmount | None, "Acid; None where none was asked for."]
    acid_step: Annotated[
        AcidStep | None, "What may be added at a time; None without acid, and where no kitchen measure is small enough."
    ]
    elements_mg_l: Annotated[Mapping[str, float], "Strength by element, that of the water included, mg/L."]
    recipe: Annotated[MixRecipe, "How that compares with a published solution."]
    ec_ms_cm: Annotated[Conductivity, "Electrical conductivity at 25 degrees Celsius, mS/cm."]
    ph: Annotated[float, "After mixing, before carbon dioxide leaves."]
    ph_range: Annotated[
        tuple[float, float], "Where the pH lies if the acid is off by an eighth of a teaspoon of what is poured."
    ]
    ph_strip: Annotated[float, "What a strip in steps of a half shows."]
    ph_standing: Annotated[float, "Once the bucket has come to equilibrium with the air."]
    ph_acid_eaten: Annotated[float, "Then, once microbes have eaten all of the acid."]
    blend: Annotated[MixBlend | None, "What to do where acid alone cannot serve; None where it can."]
    notes: Annotated[tuple[MixNote, ...], "What is to be minded, as codes with numbers."]
    warnings: Annotated[tuple[str, ...], "The same in words."]
    cautions: Annotated[tuple[MixCaution, ...], "To be shown with the amounts."]


@dataclass(frozen=True)
class MixTableAnswer(Closed):
    """`trialkit mix --table`: the acid for each class of alkalinity."""

    schema: Annotated[Literal["trialkit-mix-table-3"], "Name and version of this form."]
    volume_l: Annotated[float, "Water in the bucket, L."]
    acid: Annotated[str, "Name of the acid."]
    target_ph: Annotated[float, "pH to reach."]
    nutrient: Annotated[MixAmount | None, "Nutrient in the bucket, the base of the feed; None where there is none."]
    parts: Annotated[tuple[MixAmount, ...], "What goes in after the nutrient, in this order."]
    rows: Annotated[tuple[ClassRow, ...], "One for each class."]
    cautions: Annotated[tuple[MixCaution, ...], "To be shown with the amounts."]


Standard = Literal["MIAPPE 1.2", "DataCite 4.5", "RO-Crate 1.3", "ORCID"]


@dataclass(frozen=True)
class Gap(Closed):
    """What a standard asks for and a trial does not tell yet."""

    standard: Annotated[Standard, "That asks for it."]
    what: Annotated[str, "What is missing, by the standard's own name."]
    key: Annotated[str, "Where it is told: a file, and its key or column."]


@dataclass(frozen=True)
class PackAnswer(Closed):
    """`trialkit pack`: what was written."""

    file: Annotated[str, "Path of the zip, as the call or its folder names it."]
    bytes: Annotated[int, "Its size."]
    licence: Annotated[str, "Of the data, by its SPDX name."]
    has_results: Annotated[bool, "Whether results of the trial as it stands are in."]
    missing: Annotated[tuple[Gap, ...], "What a citable publication still lacks."]


@dataclass(frozen=True)
class PackCheckAnswer(Closed):
    """`trialkit pack --check`: whether the trial tells all that standards ask for."""

    ok: Annotated[bool, "Whether it does."]
    missing: Annotated[tuple[Gap, ...], "What it does not tell."]


EnginePart = Literal["variance", "difference", "standard error", "-2 log likelihood"]


@dataclass(frozen=True)
class EngineFigure(Closed):
    """A figure by our engine and by another."""

    part: Annotated[EnginePart, "Of the model; the likelihood is the restricted one."]
    key: Annotated[str, "Term of the variance, or treatment that is set beside the current practice."]
    ours: Annotated[float, "By trialkit.mixed."]
    theirs: Annotated[float, "By the other engine."]
    agrees: Annotated[bool, "Whether they are as near as the bound asks."]


@dataclass(frozen=True)
class SecondEngine(Closed):
    """A response fitted by another engine too."""

    response: Annotated[str, "Its name."]
    comparison: Annotated[
        Literal[
            "same model",
            "free variances",
            "known between visits",
            "variances of their own",
            "not settled",
            "not analysed",
        ],
        "Whether it was the answer's own model, or why not. Of free variances some are negative in the answer, and "
        "both engines held them at zero or above.",
    ]
    figures: Annotated[tuple[EngineFigure, ...], "Set beside each other."]


@dataclass(frozen=True)
class VerifyAnswer(Closed):
    """`trialkit report --verify`: whether results and report are what the inputs give."""

    ok: Annotated[bool, "Whether they are, and another engine agrees, where one was asked."]
    differences: Annotated[tuple[str, ...], "What is not."]
    second_engine: Annotated[tuple[SecondEngine, ...], "By response, where another engine was asked."] = ()
