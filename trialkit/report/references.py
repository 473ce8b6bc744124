"""Where the methods are described."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Reference:
    """A publication, and what was taken from it."""

    authors: str
    year: int
    title: str
    place: str
    used_for: str


REFERENCES = (
    Reference(
        "Dunnett, C. W.",
        1955,
        "A multiple comparison procedure for comparing several treatments with a control",
        "Journal of the American Statistical Association 50, 1096–1121",
        "comparisons with the current practice, allowing for all of them",
    ),
    Reference(
        "Gelman, A.",
        2006,
        "Prior distributions for variance parameters in hierarchical models",
        "Bayesian Analysis",
        "what is thought of standard deviations before any record",
    ),
    Reference(
        "Hurlbert, S. H.",
        1984,
        "Pseudoreplication and the design of ecological field experiments",
        "Ecological Monographs",
        "the bucket, not the head, counts as a replicate",
    ),
    Reference(
        "Kenward, M. G. & Roger, J. H.",
        1997,
        "Small sample inference for fixed effects from restricted maximum likelihood",
        "Biometrics 53, 983–997",
        "standard errors, degrees of freedom and F tests",
    ),
    Reference(
        "Patterson, H. D. & Thompson, R.",
        1971,
        "Recovery of inter-block information when block sizes are unequal",
        "Biometrika",
        "variance components by restricted maximum likelihood",
    ),
    Reference(
        "Rao, J. N. K. & Scott, A. J.",
        1992,
        "A simple method for the analysis of clustered binary data",
        "Biometrics",
        "shares of heads, those of a bucket faring alike",
    ),
    Reference(
        "Rue, H., Martino, S. & Chopin, N.",
        2009,
        "Approximate Bayesian inference for latent Gaussian models by using integrated nested Laplace approximations",
        "Journal of the Royal Statistical Society B",
        "averages over standard deviations that are not known",
    ),
    Reference(
        "Searle, S. R., Speed, F. M. & Milliken, G. A.",
        1980,
        "Population marginal means in the linear model: an alternative to least squares means",
        "The American Statistician 34, 216–221",
        "means that weigh every combination alike",
    ),
    Reference(
        "Tierney, L. & Kadane, J. B.",
        1986,
        "Accurate approximations for posterior moments and marginal densities",
        "Journal of the American Statistical Association",
        "effects on shares of heads",
    ),
    Reference(
        "Verbyla, A. P., Cullis, B. R., Kenward, M. G. & Welham, S. J.",
        1999,
        "The analysis of designed experiments and longitudinal data by using smoothing splines",
        "Applied Statistics",
        "the dose curve",
    ),
)
