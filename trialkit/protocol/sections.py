"""The sections of trial.toml, each by itself: keys, kinds of value, bounds and defaults."""

import unicodedata
from collections.abc import Iterator
from datetime import date
from typing import Annotated, Any, Literal, Self

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Discriminator,
    Field,
    StringConstraints,
    Tag,
    model_validator,
)
from pydantic_core import PydanticCustomError

from trialkit.documents.problems import FactValue
from trialkit.domain.fill_line import USUAL_FILL_L
from trialkit.domain.thresholds import MOST_BLOCKS
from trialkit.domain.units import Measures
from trialkit.languages import ENGLISH, Language, translatable
from trialkit.layouts.kinds import LAYOUT_KINDS
from trialkit.protocol.faults import LEVEL_KINDS, RULE_ERROR

FactorName = Literal["cultivar", "dose", "acidifier"]
LayoutKindName = Literal[
    "completely randomised",
    "randomised complete blocks",
    "split-plot",
    "Latin square",
    "row-column",
    "incomplete blocks",
    "volunteer blocks",
    "augmented blocks",
]


def _kind_of_level(value: object) -> str | None:
    if isinstance(value, str):
        return LEVEL_KINDS[0]
    return LEVEL_KINDS[1] if isinstance(value, int | float) and not isinstance(value, bool) else None


# Names end up in table cells, labels, pages and terminals: one line, no control characters.
ONE_LINE = r"^[^\x00-\x1f\x7f-\x9f\u2028\u2029]*$"
Name = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=60, pattern=ONE_LINE),
    AfterValidator(lambda text: unicodedata.normalize("NFC", text)),
]
FreeText = Annotated[
    str,
    StringConstraints(strip_whitespace=True, max_length=1000, pattern=r"^[^\x00-\x08\x0b-\x1f\x7f-\x9f]*$"),
]
Line = Annotated[str, StringConstraints(strip_whitespace=True, max_length=80, pattern=ONE_LINE)]
Slug = Annotated[str, StringConstraints(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=60)]
Finite = Annotated[float, Field(allow_inf_nan=False)]
MOST_G, MOST_MONEY = 2000.0, 1e9
"""The heaviest head that a record takes (schemas/heads.json; a test holds the two together), so that no difference is
larger; and more than anything about a bucket costs in any currency."""
Grams = Annotated[Finite, Field(ge=0, le=MOST_G)]
Money = Annotated[Finite, Field(ge=0, le=MOST_MONEY)]
Dose = Annotated[Finite, Field(ge=0, le=50)]
Level = Annotated[
    Annotated[Name, Tag(LEVEL_KINDS[0])] | Annotated[Dose, Tag(LEVEL_KINDS[1])], Discriminator(_kind_of_level)
]
MoreLikelyThanNot = Annotated[Finite, Field(ge=0.5, le=0.999)]
"""The draws that answer, some thousands, tell no chance nearer to certainty."""


class Section(BaseModel):
    """A part of the protocol: fixed once read, and without unknown keys."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


def broken_rule(rule: str, case: str, *path: str, **facts: FactValue) -> PydanticCustomError:
    """Make the error of a rule between keys; the path is relative to the section that raises it."""
    return PydanticCustomError(RULE_ERROR, "{rule}", {"rule": rule, "case": case, "path": path, "facts": facts})


USUAL_CONTACT = translatable("county horticulture adviser")
"""Whom volunteers ask where nobody is named: a role, which tells no way there."""


class TrialSection(Section):
    """What the trial is called and what it asks."""

    id: Annotated[Slug, "Short name, for files and for the ledger."] = "trial"
    title: Annotated[FreeText, "Heading of the pages. The question, if you give none."] = ""
    question: Annotated[Annotated[FreeText, StringConstraints(min_length=1)], "What the trial is to answer."]
    season: Annotated[Line, "Season of the trial, such as autumn 2026."] = ""
    started_on: Annotated[
        Annotated[date, Field(ge=date(2000, 1, 1), le=date(2100, 12, 31))] | None,
        "First day of the trial. Dates of records are checked against it.",
    ] = None
    contact_role: Annotated[Line, "Whom volunteers can ask."] = USUAL_CONTACT
    blind: Annotated[bool, "Whether labels and sheets leave out the names of treatments."] = False
    measures: Annotated[
        Measures,
        "Measures on pages, cards and the handout. Kitchen: US spoons, gallons, inches, pounds, degrees Fahrenheit.",
    ] = "both"
    language: Annotated[
        Language, "Language of what volunteers and gardeners get. sites.csv may name another for a garden."
    ] = ENGLISH

    @model_validator(mode="before")
    @classmethod
    def _question_is_the_title(cls, data: Any) -> Any:
        if not isinstance(data, dict) or data.get("title") or not isinstance(data.get("question"), str):
            return data
        return {**data, "title": data["question"]}


class Bucket(Section):
    """The bucket, the same throughout the trial."""

    volume_l: Annotated[
        Annotated[Finite, Field(ge=1, le=200)],
        "Litres of water up to the fill line. Measure them once by pouring them in.",
    ] = USUAL_FILL_L
    brim_l: Annotated[
        Annotated[Finite, Field(ge=1, le=250)] | None,
        "Litres that the bucket holds to the brim. 5 US gallons are 18.9.",
    ] = None
    heads: Annotated[Annotated[int, Field(ge=1, le=12)], "Heads of lettuce in each bucket."] = 4


MOST_PARTS = 5
"""As many as somebody measures out for each bucket without a slip (common practice, no source)."""


class FactorLevels(Section):
    """One treatment factor."""

    levels: Annotated[
        Annotated[tuple[Level, ...], Field(min_length=1, max_length=30, strict=False)],
        "What is tried. Doses are level teaspoons a bucket, in increasing order.",
    ]
    product: Annotated[Name | None, "The nutrient that the doses are of, as products.csv names it."] = None
    parts: Annotated[
        Annotated[dict[Name, Annotated[Finite, Field(gt=0, le=10)]], Field(max_length=MOST_PARTS)],
        "What else goes in with a dose, as products.csv names it: level teaspoons for each teaspoon of `product`.",
    ] = {}


SQUARE_KINDS = ("Latin square", "row-column")
MOST_BUCKETS_A_VOLUNTEER = 5
"""As many as one person looks after with care (common practice, no source)."""


class Layout(Section):
    """How treatments are assigned to buckets."""

    kind: Annotated[LayoutKindName, "Kind of layout."] = "randomised complete blocks"
    blocks: Annotated[
        Annotated[int, Field(ge=1, le=MOST_BLOCKS)],
        "Blocks in each garden. In a completely randomised layout, replicates. In a Latin square or row-column layout,"
        " squares or rectangles (1 if not given). In volunteer blocks, volunteers.",
    ] = 3
    block_size: Annotated[
        Annotated[int, Field(ge=2, le=50)] | None,
        "Buckets of an incomplete block, or of a volunteer (3 if not given).",
    ] = None
    resolvable: Annotated[bool, "Whether incomplete blocks together make up whole replicates."] = False
    rows: Annotated[Annotated[int, Field(ge=2, le=100)] | None, "Rows of each rectangle, in a row-column layout."] = (
        None
    )
    columns: Annotated[
        Annotated[int, Field(ge=2, le=100)] | None, "Columns of each rectangle, in a row-column layout."
    ] = None
    checks: Annotated[
        Annotated[tuple[Level, ...], Field(max_length=10, strict=False)],
        "Levels that are in every block of an augmented layout. The current practice, if you name none.",
    ] = ()
    practice_buckets: Annotated[
        Annotated[int, Field(ge=1, le=8)], "Buckets of the current practice for each bucket of another treatment."
    ] = 1
    keep_apart: Annotated[bool, "Whether two buckets of a treatment must not stand side by side."] = False
    bench_columns: Annotated[
        Annotated[int, Field(ge=1, le=1000)] | None, "How many buckets stand side by side on the bench."
    ] = None
    seed: Annotated[
        Annotated[int, Field(ge=0, le=2**63 - 1)] | None,
        "Number that decides the lots. If not given, it follows from the trial's id and question.",
    ] = None
    lots: Annotated[
        Literal["garden", "trial"],
        "garden: each garden's lots are drawn by themselves, from seed, trial and garden, and no other trial has its"
        " labels. (Where gardens share the treatments out, lots are drawn for all that the trial begins with.) trial:"
        " lots are drawn for all gardens together, and labels are numbered through.",
    ] = "trial"
    whole_plot: Annotated[FactorName | None, "In a split-plot layout, the factor that goes to whole plots."] = None

    @model_validator(mode="before")
    @classmethod
    def _defaults_of_the_kind(cls, data: Any) -> Any:
        if not isinstance(data, dict):
            return data
        kind = data.get("kind")
        fitting = {"blocks": 1} if kind in SQUARE_KINDS else {"block_size": 3} if kind == "volunteer blocks" else {}
        return {**fitting, **data}

    @model_validator(mode="after")
    def _whole_plot_for_split_plots_only(self) -> Self:
        if self.kind == "split-plot" and self.whole_plot is None:
            raise broken_rule("TK-P06", "missing", "whole_plot")
        if self.kind != "split-plot" and self.whole_plot is not None:
            raise broken_rule("TK-P06", "not wanted", "whole_plot", factor=self.whole_plot, kind=self.kind)
        return self

    @model_validator(mode="after")
    def _keys_fit_the_kind(self) -> Self:
        broken = list(_misplaced_keys(self))
        if broken:
            raise PydanticCustomError(RULE_ERROR, "the keys disagree", {"several": tuple(e.context for e in broken)})
        return self


KEYS_OF_SOME_KINDS = (
    "block_size", "resolvable", "rows", "columns", "checks", "practice_buckets", "keep_apart", "bench_columns",
)  # fmt: skip
NEEDED_KEYS = {"row-column": ("rows", "columns"), "incomplete blocks": ("block_size",)}


def _misplaced_keys(layout: Layout) -> Iterator[PydanticCustomError]:
    """Tell of keys that the kind of layout needs and has not, or has and does not know."""
    known = LAYOUT_KINDS[layout.kind].options
    for key in NEEDED_KEYS.get(layout.kind, ()):
        if getattr(layout, key) is None:
            yield broken_rule("TK-P10", "missing", key, kind=layout.kind)
    for key in KEYS_OF_SOME_KINDS:
        value = getattr(layout, key)
        if key not in known and value != Layout.model_fields[key].default:
            yield broken_rule("TK-P10", "not wanted", key, written=str(value), kind=layout.kind)
    if layout.kind == "volunteer blocks" and (layout.block_size or 0) > MOST_BUCKETS_A_VOLUNTEER:
        size = layout.block_size or 0
        yield broken_rule("TK-P10", "volunteer", "block_size", block_size=size, most=MOST_BUCKETS_A_VOLUNTEER)


def _in_order(window: tuple[int, int]) -> tuple[int, int]:
    if window[0] > window[1]:
        raise PydanticCustomError("window_order", "the earlier day first, such as [28, 56]")
    return window


Days = Annotated[int, Field(ge=1, le=365)]


class Schedule(Section):
    """When things are due."""

    sow_on: Annotated[Annotated[date, Field(ge=date(2000, 1, 1), le=date(2100, 12, 31))] | None, "Day of sowing."] = (
        None
    )
    transplant_after_days: Annotated[Days, "Days from sowing to transplanting."] = 14
    harvest_after_days: Annotated[
        Annotated[tuple[Days, Days], Field(strict=False), AfterValidator(_in_order)],
        "Days from transplanting to the first and the last visit of the harvest.",
    ] = (28, 56)
    visit_every_days: Annotated[Days, "Days between two visits of the harvest."] = 3


LEAST_HEAD_SD_G, MOST_SD_G = 0.1, 1000.0
"""Heads always differ; and weights from nothing to the heaviest head have no larger standard deviation."""
StandardDeviation = Annotated[Finite, Field(ge=0, le=MOST_SD_G)]


class Variation(Section):
    """How much heads are taken to differ, for the plan. What is not given is common practice."""

    site_sd_g: Annotated[StandardDeviation | None, "Standard deviation between gardens, g."] = None
    block_sd_g: Annotated[StandardDeviation | None, "Standard deviation between blocks of a garden, g."] = None
    whole_plot_sd_g: Annotated[StandardDeviation | None, "Standard deviation between whole plots of a block, g."] = None
    site_by_factor_sd_g: Annotated[
        StandardDeviation | None, "Standard deviation between gardens in the effect of a factor, g."
    ] = None
    bucket_sd_g: Annotated[StandardDeviation | None, "Standard deviation between buckets treated alike, g."] = None
    head_sd_g: Annotated[
        Annotated[StandardDeviation, Field(ge=LEAST_HEAD_SD_G)] | None,
        "Standard deviation between heads of a bucket, g.",
    ] = None
    gardens_lost_share: Annotated[
        Annotated[Finite, Field(ge=0, le=0.9)], "Share of the gardens that is expected to give up."
    ] = 0.1


class Limits(Section):
    """What no plan may go beyond.

    If not given: twice the gardens asked for, and buckets and heads as the protocol asks. Visits and budget then have
    no limit.
    """

    buckets_per_site: Annotated[
        Annotated[int, Field(ge=1, le=1000)] | None, "Most buckets that a garden has room for."
    ] = None
    heads_per_bucket: Annotated[Annotated[int, Field(ge=1, le=12)] | None, "Most heads that a lid has room for."] = None
    sites: Annotated[Annotated[int, Field(ge=1, le=200)] | None, "Most gardens, or volunteers, that can take part."] = (
        None
    )
    visits: Annotated[
        Annotated[int, Field(ge=1, le=100_000)] | None,
        "Most visits to all gardens together over the harvest, by whoever weighs.",
    ] = None
    budget: Annotated[Money | None, "Most money for buckets, in the currency of decision.cost_per_bucket."] = None


class Responses(Section):
    """Which responses are analysed."""

    weight: Annotated[bool, "Whether weight is analysed."] = True
    days: Annotated[bool, "Whether days to harvest are analysed."] = True


class DecisionRule(Section):
    """What the recommendation is compared with, and what would matter."""

    current_practice: Annotated[
        dict[FactorName, Level], "What gardeners do now: one level of each factor that has two or more."
    ]
    margin_g: Annotated[Grams, "So near to the best of all that was tried is near enough, g per transplanted head."] = (
        10.0
    )
    equivalence_margin_g: Annotated[
        Grams, "In the statistician's tables, a difference below this counts as none, g per transplanted head."
    ] = 10.0
    change_cost_g: Annotated[
        Grams, "What a change of the handout must gain to be worth it, g per transplanted head."
    ] = 3.0
    price_per_kg: Annotated[
        Annotated[Finite, Field(ge=0.0001, le=MOST_MONEY)] | None,
        "Price of a kilogram of lettuce. If not given, only weights are compared.",
    ] = None
    cost_per_bucket: Annotated[Money, "Cost of a bucket, whatever its treatment, in the currency of the price."] = 0.0
    delay_cost_per_day: Annotated[Money, "Cost of a day until harvest, for a bucket, in the currency of the price."] = (
        0.0
    )
    adopt_probability: Annotated[
        MoreLikelyThanNot, "Chance of being so near to the best from which the answer is settled."
    ] = 0.9
    confidence: Annotated[MoreLikelyThanNot, "Confidence of every interval."] = 0.95
    heads_a_year: Annotated[
        Annotated[Finite, Field(ge=1, le=1e9)] | None,
        "Heads that are grown by the handout in a year. It serves the plan.",
    ] = None
