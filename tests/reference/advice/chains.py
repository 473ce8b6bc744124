"""Long Markov chains of the model of weights, by a general library, from the dense covariance of tests/support.

Usage: python chains.py NAME DRAWS, where NAME.csv stands here. It needs numpyro and tests/support on the path, and
nothing of trialkit but the scales of its priors, which are written out below. Draws are of the scores of standard
deviations (standard normal); means and covariances of what is asked are found by conditioning at each.
"""

import json
import sys
from importlib.metadata import version
from pathlib import Path

import numpy as np
import pandas as pd

from dense_weights import BUCKET, LASTING, SLOPE, DenseWeights

# The product's scales when the chains were drawn; tests give the rule the same ones, stated in each file.
SCALES = {
    "bucket": 40.0, "block": 15.0, "whole_plot": 15.0, "garden": 30.0, "season_level": 25.0, "garden_cultivar": 10.0,
    "garden_dose": 4.0, "garden_acidifier": 7.0, "season": 5.0, "cultivar": 20.0, "acidifier": 20.0, "curve": 15.0,
    "interaction": 5.0, "surroundings": 6.0,
}  # fmt: skip
BETWEEN = {"oats": [0.3], "wheat": [5.0], "volunteers": [120.0, 262.5], "ledger": [125.0]}
"""Doses asked about that were not tried."""
NAMES = {
    "oats": "bucket block whole_plot garden garden_cultivar garden_dose season cultivar curve interaction",
    "barley": "bucket garden garden_cultivar season cultivar season_level lasting",
    "wheat": "bucket block garden garden_dose garden_acidifier season acidifier curve interaction",
    "volunteers": "bucket block garden garden_cultivar garden_dose garden_acidifier season cultivar acidifier curve "
    "interaction surroundings",
    "ledger": "bucket block whole_plot garden garden_cultivar garden_dose garden_acidifier season cultivar acidifier "
    "curve interaction surroundings season_level lasting",
}  # fmt: skip
HEADS = {"volunteers": 400.0, "ledger": 400.0}
WARM, CHAINS = 500, 4


def read(name):
    """Records, gardens, and treatments to ask about: all combinations of levels, at doses tried and between them."""
    text = dict.fromkeys(("trial", "site", "block", "whole_plot", "cultivar", "acidifier", "kind"), str)
    rows = pd.read_csv(f"{name}.csv", dtype=text).fillna(dict.fromkeys(text, ""))
    for column, nothing in (("alkalinity", np.nan), ("sun_hours", np.nan), ("kind", "")):
        rows[column] = rows.get(column, nothing)
    gardens = rows[["trial", "site", "alkalinity", "sun_hours", "kind"]].drop_duplicates()
    doses = sorted({*rows["dose"].dropna(), *BETWEEN.get(name, [])}) or [np.nan]
    levels = [sorted(rows["cultivar"].unique()), sorted(rows["acidifier"].unique()), doses]
    asked = pd.MultiIndex.from_product(levels, names=["cultivar", "acidifier", "dose"]).to_frame(index=False)
    return rows[list(rows.columns[:10])], gardens, asked.assign(site="")


def run(name, draws):
    """Run the chains and write what they found."""
    # Not at the top: the tests read this file without these libraries.
    import jax
    import jax.numpy as jnp
    import numpyro
    import numpyro.distributions as dist
    from jax.scipy.special import ndtr, ndtri
    from numpyro.diagnostics import effective_sample_size, split_gelman_rubin
    from numpyro.infer import MCMC, NUTS

    numpyro.enable_x64()
    buckets, gardens, asked = read(name)
    names = NAMES[name].split()
    dense = DenseWeights.of(buckets, gardens, HEADS.get(name, 0.0), asked, set(names))
    merged = {}
    for part in dense.parts:
        merged[part.name, part.lasting] = merged.get((part.name, part.lasting), 0) + part.matrix
    keys, matrices = list(merged), jnp.array(list(merged.values()))
    n = len(dense.weight)
    weight, heads, own = jnp.array(dense.weight), jnp.array(dense.of_heads), jnp.arange(n)
    scale = jnp.array([SCALES.get(one, 1.0) for one in names])

    def variances(scores):
        sd = dict(zip(names, -scale * ndtri(ndtr(-scores) / 2), strict=True))
        share = {None: 1.0, True: 0.5, False: 0.5}
        if LASTING in names:
            share[True] = ndtr(scores[names.index(LASTING)])
            share[False] = 1 - share[True]
        factors = [share[lasting] * (1.0 if one is None else sd[one] ** 2) for one, lasting in keys]
        return jnp.stack([jnp.asarray(one, float) for one in factors]), sd[BUCKET] ** 2 + heads

    def likelihood(scores):
        factors, bucket = variances(scores)
        whole = jnp.tensordot(factors, matrices[:, :n, :n], 1).at[own, own].add(bucket)
        root = jnp.linalg.cholesky(whole)
        found = jax.scipy.linalg.solve_triangular(
            root, jnp.column_stack([jnp.ones(n), weight - weight.mean()]), lower=True
        )
        information, slope = found[:, 0] @ found[:, 0], found[:, 0] @ found[:, 1]
        quadratic = found[:, 1] @ found[:, 1] - slope**2 / information
        return -jnp.log(jnp.diag(root)).sum() - 0.5 * jnp.log(information) - 0.5 * quadratic

    def conditional(scores):
        factors, bucket = variances(scores)
        whole = jnp.tensordot(factors, matrices, 1).at[own, own].add(bucket)
        right = jnp.column_stack([weight - weight.mean(), jnp.ones(n), whole[:n, n:]])
        solved = jax.scipy.linalg.cho_solve((jnp.linalg.cholesky(whole[:n, :n]), True), right)
        information = solved[:, 1].sum()
        level = solved[:, 0].sum() / information
        gain = solved[:, 2:].T
        short = 1 - gain.sum(1)
        mean = weight.mean() + level + gain @ (weight - weight.mean() - level)
        return mean, whole[n:, n:] - gain @ whole[:n, n:] + jnp.outer(short, short) / information

    def model():
        numpyro.factor("weights", likelihood(numpyro.sample("scores", dist.Normal(0, 1).expand([len(names)]))))

    chain = MCMC(
        NUTS(model),
        num_warmup=WARM,
        num_samples=draws,
        num_chains=CHAINS,
        chain_method="sequential",
        progress_bar=False,
    )
    chain.run(jax.random.PRNGKey(20261129))
    scores = np.asarray(chain.get_samples(group_by_chain=True)["scores"])
    mean, covariance = (
        np.asarray(part) for part in jax.lax.map(jax.jit(conditional), jnp.array(scores.reshape(-1, len(names))))
    )
    contrast = np.eye(len(asked)) - (np.arange(len(asked)) == 0)
    found = {"mean": told(mean, np.diagonal(covariance, axis1=1, axis2=2))}
    of_gains = np.einsum("ij,mjk,ik->mi", contrast, covariance, contrast)
    found["gain"] = told(mean[:, 1:] - mean[:, :1], of_gains[:, 1:])
    verification = {
        "draws": int(mean.shape[0]),
        "chains": CHAINS,
        "divergences": int(chain.get_extra_fields()["diverging"].sum()),
        "smallest_effective_number_of_scores": float(effective_sample_size(scores).min()),
        "largest_split_r_hat": float(split_gelman_rubin(scores).max()),
    }
    document = {
        "kind": "posterior by Markov chain",
        "data": {"file": f"{name}.csv", "source": SOURCES[name]},
        "model": {
            "standard_deviations": names,
            "scales_g": {one: SCALES[one] for one in names if one != LASTING},
            "slope_sd_g": SLOPE,
            "head_variance": HEADS.get(name, 0.0),
        },
        "asked": asked.drop(columns="site").replace({np.nan: None}).to_dict("list"),
        "practice": 0,
        **found,
        "scores": {"mean": rounded(scores.mean((0, 1))), "sd": rounded(scores.std((0, 1)))},
        "verification": verification,
        "software": {one: version(one) for one in ("numpyro", "jax", "numpy", "scipy")},
    }
    Path(f"{name}.json").write_text(json.dumps(document, indent=1) + "\n", encoding="utf-8")
    print(name, verification, {one: max(part["monte_carlo_error_of_mean_in_sd"]) for one, part in found.items()})


def told(mean, variance):
    """Posterior means and standard deviations, with their Monte-Carlo errors in units of the latter."""
    middle = mean.mean(0)
    spread = variance + (mean - middle) ** 2
    sd = np.sqrt(spread.mean(0))
    of_mean = error(mean) / sd
    of_sd = error(spread) / (2 * sd**2)
    return {"expected": rounded(middle), "sd": rounded(sd), "monte_carlo_error_of_mean_in_sd": rounded(of_mean, 5),
            "monte_carlo_error_of_sd_in_sd": rounded(of_sd, 5)}  # fmt: skip


def error(values):
    """Monte-Carlo standard error of the mean of each column."""
    from numpyro.diagnostics import effective_sample_size

    number = np.asarray(effective_sample_size(values.reshape(CHAINS, -1, values.shape[1])))
    return values.std(0) / np.sqrt(number)


def rounded(values, digits=4):
    """Numbers for the file."""
    return [round(float(one), digits) for one in values]


SOURCES = {
    "oats": "Yates, F. (1935). Complex experiments. Supplement to the Journal of the Royal Statistical Society 2, "
    "181-247 (MASS).",
    "barley": "Immer, F. R., Hayes, H. K. & Powers, L. (1934). Statistical determination of barley varietal "
    "adaptation. Journal of the American Society of Agronomy 26, 403-419 (lattice); yields times 5.",
    "wheat": "Pinheiro, J. C. & Bates, D. M. (2000). Mixed-Effects Models in S and S-PLUS, Springer: dry matter of "
    "wheat by moisture of the tray and fertilizer (nlme, Wheat); times 20.",
    "volunteers": "Invented (invented.py): one trial of four gardens.",
    "ledger": "Invented (invented.py): four trials, some of whose gardens come back.",
}

if __name__ == "__main__":
    run(sys.argv[1], int(sys.argv[2]))
