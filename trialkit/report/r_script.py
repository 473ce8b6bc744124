"""``analysis.R`` and ``figures.csv``: the analysis of a trial once more in R, beside what trialkit found.

The script reads the packed tables as they stand, builds the rows that are analysed by itself, fits them with lme4,
lmerTest and emmeans, and by strata with ``aov``, and says where figures rightly differ. Days that lie between visits it
draws by itself, and holds our figures to what follows from its own draws.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import pandas as pd

from trialkit.analysis.recorded_responses import YIELD
from trialkit.documents.findings import FittedModel, ResponseResult
from trialkit.documents.results import Results
from trialkit.domain.factors import FACTOR_COLUMNS
from trialkit.domain.heads import OUTCOMES
from trialkit.domain.thresholds import DEGREE_DAY_BASE_C
from trialkit.domain.treatment import Level, Treatment
from trialkit.mixed.censored import IMPUTATIONS
from trialkit.report.page import TEMPLATES
from trialkit.tables.atomic import csv_text
from trialkit.words.phrases import number

SCRIPT_FILE, FIGURES_FILE = "analysis.R", "figures.csv"
DESCRIPTIONS = {
    "response": "What was analysed: weight_g, a head; bucket_weight_g, the marketable weight of a bucket; days, or "
    "degree_days, from transplanting to ready.",
    "kind": "variance, test (of an effect), mean (of a treatment) or comparison (with the current practice).",
    "key": "Term of the model, or the treatment: its levels with a slash between.",
    "statistic": "What of it: variance, f, mean, difference, se, or degrees of freedom.",
    "value": "The figure, in grams, days or degree days where it has a unit.",
}
TRIED_WITH = "R 4.2.2, lme4 1.1-31, lmerTest 3.1-3, pbkrtest 0.5-2 and emmeans 1.8.4-1"


def figures(results: Results) -> pd.DataFrame:
    """What trialkit found, one figure a row."""
    rows = [row for response in repeated(results) for row in _figures(response)]
    return pd.DataFrame(rows, columns=list(DESCRIPTIONS))


def figures_csv(results: Results) -> str:
    """Return the figures as CSV."""
    return csv_text(figures(results))


def r_script(results: Results) -> str:
    """Write the script for a trial's results."""
    varied = [FACTOR_COLUMNS[factor.name] for factor in results.design.factors]
    models = [_model(response, response.model) for response in repeated(results) if response.model]
    settings = [
        f"treatment_columns <- {_strings(varied)}",
        f"heads_per_bucket <- {results.design.heads_per_bucket}",
        "# Outcomes of heads that were cut, and those that say nothing of the treatment.",
        f"cut <- {_strings([name for name, says in OUTCOMES.items() if says == 'cut'])}",
        f"growing <- {_strings([name for name, says in OUTCOMES.items() if says == 'growing'])}",
        f"says_nothing <- {_strings([name for name, says in OUTCOMES.items() if says == 'nothing' and name])}",
        f"degree_day_base_c <- {DEGREE_DAY_BASE_C:g}",
        f"completed_sets <- {IMPUTATIONS} # of days, as trialkit draws them",
        "models <- list(",
        ",\n".join(models),
        ")",
        f"left_out <- {_strings(list(_left_out(results)))}",
    ]
    text = (TEMPLATES / SCRIPT_FILE).read_text(encoding="utf-8")
    return text.replace("#{SETTINGS}#", "\n".join(settings))


def repeated(results: Results) -> Iterator[ResponseResult]:
    """Yield what the script repeats: all that was analysed."""
    yield from (response for response in results.responses.values() if response.status == "analysed")


def _left_out(results: Results) -> Iterator[str]:
    for name, response in results.responses.items():
        if response.status != "analysed":
            yield f"{name}, which was not analysed"


def _model(response: ResponseResult, model: FittedModel) -> str:
    by_heads = response.name != YIELD
    rows = "buckets" if not by_heads else "heads" if "bucket" in model.random or _is_one_head(model) else "bucket means"
    fixed = [term.strip() for term in model.formula.partition("~")[2].split("+")[:-1]]
    noted = {note.code for note in model.notes}
    return (
        f"  list(response = {_string(response.name)}, rows = {_string(rows)}, fixed = {_strings(fixed)},\n"
        f"       random = {_strings(model.random)}, spread = {_flag('spread_by_garden' in noted)}, "
        f"held = {_flag('variances_held' in noted)}, partly = {_flag(bool(model.partly_tested))})"
    )


def _flag(is_so: bool) -> str:
    return str(is_so).upper()


def _is_one_head(model: FittedModel) -> bool:
    return model.observations == model.buckets and not any(note.code == "bucket_means" for note in model.notes)


def _figures(response: ResponseResult) -> Iterator[tuple[str, str, str, str, float]]:
    name = response.name
    for variance in response.variances:
        yield name, "variance", variance.term, "variance", variance.variance
    for test in response.tests:
        for statistic in ("f", "numerator_df", "denominator_df"):
            yield name, "test", test.term, statistic, float(getattr(test, statistic))
    for mean in response.means:
        for statistic in ("mean", "se", "df"):
            yield name, "mean", label(mean.treatment), statistic, getattr(mean, statistic)
    for comparison in response.comparisons:
        for statistic in ("difference", "se", "df"):
            yield name, "comparison", label(comparison.treatment), statistic, getattr(comparison, statistic)


def label(treatment: Treatment) -> str:
    """Name a treatment as the script does: its levels with a slash between, numbers as R writes them."""
    return " / ".join(map(_level, treatment.levels.values()))


def _level(level: Level) -> str:
    return level if isinstance(level, str) else number(level, 15)


def _strings(texts: Sequence[str]) -> str:
    return f"c({', '.join(map(_string, texts))})" if texts else "character(0)"


def _string(text: str) -> str:
    """A text as R writes it: what could end it, or start an escape, is escaped."""
    escaped = "".join(letter if letter.isalnum() or letter in " _-:./%(),;" else _escape(letter) for letter in text)
    return f'"{escaped}"'


def _escape(letter: str) -> str:
    return f"\\U{ord(letter):08x}"
