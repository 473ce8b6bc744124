"""Orthogonal designs: strata found by eigen-decomposition, so that thousands of responses need only sums of squares.

Where the matrices ``Z_i Z_i'`` commute with each other and with the projection on X (Nelder 1965, Proc. R. Soc. A 283,
147-178: general balance, with every treatment effect in one stratum), V has the same eigenspaces whatever the
variances. On each of them, a stratum, V is one number ``xi_s = sum_i lambda_si variance_i``, its restricted
likelihood estimate is the stratum's residual mean square, and an effect in the stratum has exactly the classical F.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations
from typing import Annotated

import numpy as np

from trialkit.domain.arrays import BoolArray, FloatArray
from trialkit.mixed.model import Model, Prepared
from trialkit.mixed.scoring import CRITERION_TOLERANCE, MOST_ITERATIONS, SCORE_TOLERANCE
from trialkit.mixed.small_sample import FTests, SmallSample, f_tail, scale_and_df

MOST_CELLS = 1500
TOLERANCE = 1e-8
MOST_HALVINGS = 40


@dataclass(frozen=True)
class Strata:
    """Strata of an orthogonal design."""

    basis: Annotated[FloatArray, "Shape (cells, cells). Eigenvectors over the scaled cells."]
    member: Annotated[FloatArray, "Shape (cells, strata). 1 where an eigenvector belongs to a stratum."]
    multipliers: Annotated[
        FloatArray,
        "Shape (strata, k). lambda: how often each variance counts in a stratum's, random terms first, the residual "
        "last.",
    ]
    df: Annotated[FloatArray, "Shape (strata,). Residual degrees of freedom."]
    shares: Annotated[
        FloatArray,
        "Shape (strata, p, p). Projection of the fixed part on each stratum, in the orthogonal basis; they add up to "
        "the identity.",
    ]
    inner: Annotated[int, "The stratum that takes the sum of squares within cells."]
    # Shapes (bare strata, k) and (bare strata, p, p). Of strata without residual that hold a part of the fixed effects,
    # such as the grand mean of a Latin square.
    bare_multipliers: FloatArray
    bare_shares: FloatArray

    def mean_squares(self, prepared: Prepared, size: float) -> FloatArray:
        """Residual mean square of each stratum, shape (r, strata), in units of each response's scale."""
        projected = (np.sqrt(size) * prepared.means) @ self.basis
        squares = projected**2 @ self.member
        squares[:, self.inner] += prepared.within.sum(1)
        return np.asarray(squares / self.df)

    def variances(self, mean_squares: FloatArray) -> FloatArray:
        """Restricted likelihood estimates with none held at zero, shape (r, k)."""
        return np.asarray(np.linalg.solve(self.multipliers, mean_squares.T).T)

    def held_variances(self, mean_squares: FloatArray) -> FloatArray:
        """Restricted likelihood estimates held at zero or above, shape (r, k): scoring where the free ones are not."""
        variances = self.variances(mean_squares)
        rows = np.flatnonzero((variances < 0).any(1))
        variances[rows] = np.maximum(variances[rows], 0.0)
        variances[rows, -1] = np.maximum(variances[rows, -1], 1e-3 * mean_squares[rows].min(1))
        for _ in range(MOST_ITERATIONS):
            step, largest = self._step(variances[rows], mean_squares[rows])
            going = largest >= SCORE_TOLERANCE
            rows = rows[going]
            if not len(rows):
                break
            variances[rows] = self._improved(variances[rows], step[going], mean_squares[rows])
        return variances

    def _step(self, variances: FloatArray, mean_squares: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Fisher's step over the variances not held at zero, and the largest score in units of its sd.

        The likelihood falls into one part a stratum, ``df_s (log xi_s + ms_s / xi_s)``: scoring with an active set, as
        in `trialkit.mixed.scoring`, on these few numbers instead of matrices. Where holding variances at zero pools
        strata, one step is exact.
        """
        xi = variances @ self.multipliers.T
        score = (self.df * (mean_squares - xi) / xi**2) @ self.multipliers / 2
        free = (variances > 0) | (score > 0)
        information, sd = self.information(xi, free)
        scaled_score = np.where(free, score / sd, 0.0)
        step = np.linalg.solve(information, scaled_score[..., None])[..., 0] / sd
        return step, np.abs(scaled_score).max(1, initial=0.0)

    def information(self, xi: FloatArray, free: BoolArray) -> tuple[FloatArray, FloatArray]:
        """Expected information about the free variances, scaled to a unit diagonal, and the scale (root of its own).

        Rows and columns of the others are the identity's; shapes (r, k, k) and (r, k).
        """
        size = len(self.multipliers)
        pairs = (self.multipliers[:, :, None] * self.multipliers[:, None, :]).reshape(size, -1)
        information = ((self.df / xi**2 / 2) @ pairs).reshape(-1, size, size)
        sd = np.sqrt(np.diagonal(information, axis1=1, axis2=2))
        both = free[:, :, None] & free[:, None, :]
        return np.where(both, information / (sd[:, :, None] * sd[:, None, :]), np.eye(size)), sd

    def _improved(self, variances: FloatArray, step: FloatArray, mean_squares: FloatArray) -> FloatArray:
        """Go as far along each step as lowers the criterion, halving; a variance that reaches zero stays there."""
        before, length = self.criterion(mean_squares, variances), np.ones((len(step), 1))
        for _ in range(MOST_HALVINGS):
            following = np.maximum(variances + length * step, 0.0)
            worse = ~(self.criterion(mean_squares, following) <= before + CRITERION_TOLERANCE * (1 + np.abs(before)))
            if not worse.any():
                break
            length[worse] /= 2
        return np.where(worse[:, None], variances, following)

    def criterion(self, mean_squares: FloatArray, variances: FloatArray) -> FloatArray:
        """-2 log restricted likelihood, shape (r,); infinite outside its domain."""
        xi = variances @ self.multipliers.T
        inside = np.where(xi > 0, xi, np.nan)
        value = self.df.sum() * np.log(2 * np.pi) + (np.log(inside) + mean_squares / inside) @ self.df
        return np.asarray(np.where(np.isnan(value), np.inf, value))


def find_strata(model: Model) -> Strata | None:
    """Find the strata of a design, or return None where it is not orthogonal or does not fill its strata."""
    sizes, cells = model.cells.sizes, len(model.cells.sizes)
    if cells > MOST_CELLS or np.ptp(sizes) > 0 or len(model.residual.levels) > 1:
        return None
    size = float(sizes[0])
    x = np.sqrt(size) * model.fixed.orthogonal[model.fixed_row]
    codes = [model.terms[i].codes for i in model.in_columns]
    alike = [size * (code[:, None] == code).astype(float) for code in codes]
    if not _commute([*alike, x @ x.T]):
        return None
    values, basis = np.linalg.eigh(
        sum((w * a for w, a in zip(_weights(len(alike)), alike, strict=True)), np.eye(cells))
    )
    starts = np.flatnonzero(np.diff(values, prepend=-np.inf) > TOLERANCE * values[-1])
    member = np.zeros((cells, len(starts)))
    for s, columns in enumerate(np.split(np.arange(cells), starts[1:])):
        member[columns, s] = 1.0
    shares = np.stack([(g := basis[:, m > 0].T @ x).T @ g for m in member.T])
    multipliers = np.zeros((len(starts), len(model.terms) + 1))
    for i, a in zip(model.in_columns, alike, strict=True):
        multipliers[:, i] = ((basis * (a @ basis)).sum(0) @ member) / member.sum(0)
    if model.diagonal is not None:
        multipliers[:, model.diagonal] = size
    multipliers[:, -1] = 1.0
    df = member.sum(0) - np.trace(shares, axis1=1, axis2=2)
    return _complete(model, Strata(basis, member, multipliers, df, shares, -1, multipliers[:0], shares[:0]))


def _complete(model: Model, strata: Strata) -> Strata | None:
    """Add the stratum within cells, set those without residual apart, and see that each variance has one."""
    within = float(model.heads - len(model.cells.sizes))
    lowest = np.zeros(strata.multipliers.shape[1])
    lowest[-1] = 1.0
    same = np.flatnonzero((np.abs(strata.multipliers - lowest) < TOLERANCE * model.heads).all(1))
    df, member, multipliers, shares = strata.df.copy(), strata.member, strata.multipliers, strata.shares
    if len(same):
        df[same[0]] += within
        inner = int(same[0])
    else:
        df, inner = np.append(df, within), len(df)
        member = np.column_stack([member, np.zeros(len(member))])
        multipliers = np.vstack([multipliers, lowest])
        shares = np.concatenate([shares, np.zeros((1, *shares.shape[1:]))])
    used = df > 0.5
    bare = ~used & (np.abs(shares) > TOLERANCE).any((1, 2))
    square = int(used.sum()) == multipliers.shape[1] and np.linalg.matrix_rank(multipliers[used]) == int(used.sum())
    if not square or not used[inner]:
        return None
    inner = int(used[:inner].sum())
    return Strata(
        strata.basis,
        member[:, used],
        multipliers[used],
        np.round(df[used]),
        shares[used],
        inner,
        multipliers[bare],
        shares[bare],
    )


def _commute(matrices: list[FloatArray]) -> bool:
    products = (a @ b for a, b in combinations(matrices, 2))
    return all(
        np.abs(product - product.T).max() <= TOLERANCE * np.abs(product).max(initial=1.0) for product in products
    )


def _weights(count: int) -> list[float]:
    """Weights whose sums never coincide by chance, to tell joint eigenspaces apart."""
    return [float(np.sqrt(2 + i) * np.pi**i) for i in range(count)]


@dataclass(frozen=True)
class StrataSample:
    """Tests of many responses on an orthogonal design; the interface of `SmallSample`."""

    strata: Strata
    coefficients: Annotated[FloatArray, "Shape (r, p). Of the responses less their offsets, in the orthogonal basis."]
    # Shape (r,).
    offset: FloatArray
    scale: FloatArray
    constant: Annotated[FloatArray, "Shape (p,)."]
    variances: Annotated[FloatArray, "Shape (r, k). In units of each response's scale."]
    criterion: Annotated[FloatArray, "Shape (r,)."]
    free: Annotated[BoolArray, "Shape (r, k). Variances not held at zero."]

    @property
    def stratum_variances(self) -> FloatArray:
        """V on each stratum, shape (r, strata), in the responses' units."""
        return np.asarray(self.scale[:, None] ** 2 * (self.variances @ self.strata.multipliers.T))

    @property
    def definite(self) -> BoolArray:
        """Whether V is positive definite on the strata without residual too, shape (r,)."""
        return np.asarray((self.variances @ self.strata.bare_multipliers.T > 0).all(1))

    def take(self, which: BoolArray) -> StrataSample:
        """Keep some of the responses."""
        names = ("coefficients", "offset", "scale", "variances", "criterion", "free")
        return replace(self, **{name: getattr(self, name)[which] for name in names})

    @cached_property
    def w(self) -> FloatArray:
        """Covariance of the variance estimates, nil for those held at zero; shape (r, k, k)."""
        scaled, sd = self.strata.information(self.stratum_variances, self.free)
        both = self.free[:, :, None] & self.free[:, None, :]
        return np.asarray(np.where(both, np.linalg.inv(scaled) / (sd[:, :, None] * sd[:, None, :]), 0.0))

    @cached_property
    def general(self) -> SmallSample:
        """Kenward-Roger's quantities: Phi_A is Phi, since each stratum's estimate is unbiased on its own."""
        shares = np.concatenate([self.strata.shares, self.strata.bare_shares])
        multipliers = np.concatenate([self.strata.multipliers, self.strata.bare_multipliers])
        phi = self.scale[:, None, None] ** 2 * np.tensordot(self.variances @ multipliers.T, shares, 1)
        slopes = np.tensordot(multipliers.T, shares, 1)  # dPhi / dvariance_i
        each = np.broadcast_to(slopes, (len(phi), *slopes.shape))
        return SmallSample(self.coefficients, self.offset, self.constant, phi, phi, each, self.w)

    def kenward_roger(self, contrasts: FloatArray) -> FTests:
        """Test that all contrasts, shape (l, p), are zero; where they lie in one stratum without a matrix for each."""
        size = np.abs(contrasts).max()
        for s, share in enumerate(self.strata.shares):
            if np.abs(contrasts @ share - contrasts).max() < TOLERANCE * size:
                return self._in_stratum(s, contrasts)
        return self.general.kenward_roger(contrasts)

    def _in_stratum(self, s: int, contrasts: FloatArray) -> FTests:
        """Kenward-Roger's test in one stratum: exact, the classical F, where no variance is held at zero.

        There ``Phi = xi_s (L'L)^-1``, so that their A_1 and A_2 are l^2 and l times the relative variance of xi_s.
        """
        xi, multipliers, count = self.stratum_variances[:, s], self.strata.multipliers[s], len(contrasts)
        estimate, free = self.coefficients @ contrasts.T, self.free.all(1)
        solved = np.linalg.solve(contrasts @ contrasts.T, estimate.T).T
        f, df = (estimate * solved).sum(1) / (count * xi), np.full(len(xi), self.strata.df[s])
        if not free.all():
            relative = ((multipliers @ self.w) @ multipliers) / xi**2
            scale, approximate = scale_and_df(count, count**2 * relative, count * relative)
            f, df = np.where(free, f, scale * f), np.where(free, df, approximate)
        return FTests(f, count, df, f_tail(count, df, f))


def strata_sample(strata: Strata, passes: Iterable[Prepared], size: float, *, bounded: bool) -> StrataSample:
    """Fit prepared responses, some at a time; `size` is the number of heads in every cell."""
    parts = [(strata.mean_squares(p, size), p.fitted, p.offset, p.scale, p.constant) for p in passes]
    mean_squares, coefficients, offset, scale = (np.concatenate(part) for part in list(zip(*parts, strict=True))[:4])
    variances = strata.held_variances(mean_squares) if bounded else strata.variances(mean_squares)
    free = variances > 0 if bounded else np.ones(variances.shape, bool)
    criterion = strata.criterion(mean_squares, variances)
    return StrataSample(strata, coefficients, offset, scale, parts[0][4], variances, criterion, free)
