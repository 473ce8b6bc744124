"""Linear mixed models with random slopes, exact and honest in small samples; logistic ones of counts.

Usable on its own; reports/engine.md shows what for. The steps of a fit, one module each: `coded_factors` and
`collapsed_cells` (heads that share everything), `blocks` (independent parts), `products` (cross-products by cell size),
`woodbury` and `likelihood` (criterion, score, information), `scoring` (the variances), `small_sample` (Kenward-Roger),
`hypotheses`, `means`, `contrasts`, `comparisons`, `multivariate_t` and `letters` (what is asked of the means),
`prediction` (levels and rows), `mixed_model_equations` and `new_rows` (rows that the data did not have). Large crossed
terms and slopes (`random_terms`) go by a second algebra: `absorbed_design`, `absorbed_inverse`, `absorbed_likelihood`,
`face_scoring`, `absorbed_prediction`. A `MixedFit` is told in `fitted`, `estimates`, `effects`, `levels_and_rows`,
`predictions`, `fit_pictures` and `fit`, each adding to the one before; `likelihood_ratio` compares nested fits.
Counts: `binomial_likelihood`, `binomial_search` and `binomial`.
"""

from trialkit.mixed.binomial import BinomialFit, fit_binomial
from trialkit.mixed.fit import MixedFit, fit_mixed
from trialkit.mixed.letters import letters
from trialkit.mixed.likelihood_ratio import compare_fits
from trialkit.mixed.refit import Refits, refit_many
from trialkit.mixed.refusals import (
    ConfoundedTerm,
    FormulaError,
    MixedModelError,
    NotConverged,
    NotEstimable,
    NoVariation,
    Separation,
)

__all__ = [
    "BinomialFit",
    "ConfoundedTerm",
    "FormulaError",
    "MixedFit",
    "MixedModelError",
    "NoVariation",
    "NotConverged",
    "NotEstimable",
    "Refits",
    "Separation",
    "compare_fits",
    "fit_binomial",
    "fit_mixed",
    "letters",
    "refit_many",
]


def __dir__() -> list[str]:
    return sorted([*__all__, "example"])
