"""Orthogonal designs: strata found by eigen-decomposition, so that thousands of responses need only sums of squares.

Where the matrices ``Z_i Z_i'`` commute with each other and with the projection on X (Nelder 1965, Proc. R. Soc. A 283,
147-178: general balance, with every treatment effect in one stratum), V has the same eigenspaces whatever the
variances. On each of them, a stratum, V is one number ``xi_s = sum_i lambda_si variance_i``, its restricted
likelihood estimate is the stratum's residual mean square, and an effect in the stratum has exactly the classical F.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from trialkit.mixed.model import Model, Prepared
from trialkit.mixed.scoring import CRITERION_TOLERANCE, MOST_ITERATIONS, SCORE_TOLERANCE
from trialkit.mixed.small_sample import FTests, SmallSample, f_tail

FloatArray = NDArray[np.float64]

MOST_CELLS = 1500
TOLERANCE = 1e-8
MOST_HALVINGS = 40


@dataclass(frozen=True)
class Strata:
    """Strata of an orthogonal design.

    Attributes
    ----------
    basis : ndarray, shape (cells, cells)
        Eigenvectors over the scaled cells.
    member : ndarray, shape (cells, strata)
        1 where an eigenvector belongs to a stratum.
    multipliers : ndarray, shape (strata, k)
        lambda: how often each variance counts in a stratum's, random terms first, the residual last.
    df : ndarray, shape (strata,)
        Residual degrees of freedom.
    shares : ndarray, shape (strata, p, p)
        Projection of the fixed part on each stratum, in the orthogonal basis; they add up to the identity.
    inner : int
        The stratum that takes the sum of squares within cells.
    """

    basis: FloatArray
    member: FloatArray
    multipliers: FloatArray
    df: FloatArray
    shares: FloatArray
    inner: int

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
        """Restricted likelihood estimates held at zero or above, shape (r, k).

        The likelihood falls into one part a stratum, ``df_s (log xi_s + ms_s / xi_s)``; scoring with an active set, as
        in `trialkit.mixed.scoring`, on these few numbers instead of matrices.
        """
        variances = np.maximum(self.variances(mean_squares), 0.0)
        variances[:, -1] = np.maximum(variances[:, -1], 1e-3 * mean_squares.min(1))
        for _ in range(MOST_ITERATIONS):
            xi = variances @ self.multipliers.T
            score = (self.df * (mean_squares - xi) / xi**2) @ self.multipliers / 2
            information = np.einsum("rs,si,sj->rij", self.df / xi**2, self.multipliers, self.multipliers) / 2
            free = (variances > 0) | (score > 0)
            sd = np.sqrt(np.diagonal(information, axis1=1, axis2=2))
            if np.max(np.where(free, np.abs(score), 0.0) / sd) < SCORE_TOLERANCE:
                break
            both = free[:, :, None] & free[:, None, :]
            scaled = np.where(both, information / (sd[:, :, None] * sd[:, None, :]), np.eye(len(self.multipliers)))
            step = np.linalg.solve(scaled, np.where(free, score / sd, 0.0)[..., None])[..., 0] / sd
            variances = self._improved(variances, step, mean_squares)
        return variances

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
    return _complete(model, Strata(basis, member, multipliers, df, shares, -1))


def _complete(model: Model, strata: Strata) -> Strata | None:
    """Add the stratum within cells, leave out those without residual, and see that each variance has one."""
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
    empty_but_needed = bool((np.abs(shares[~used]) > TOLERANCE).any())
    square = int(used.sum()) == multipliers.shape[1] and np.linalg.matrix_rank(multipliers[used]) == int(used.sum())
    if empty_but_needed or not square or not used[inner]:
        return None
    inner = int(used[:inner].sum())
    return Strata(strata.basis, member[:, used], multipliers[used], np.round(df[used]), shares[used], inner)


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
    """Tests of many responses on an orthogonal design; the interface of `SmallSample`.

    Attributes
    ----------
    strata : Strata
    coefficients : ndarray, shape (r, p)
        Of the responses less their offsets, in the orthogonal basis.
    offset, scale : ndarray, shape (r,)
    constant : ndarray, shape (p,)
    variances : ndarray, shape (r, k)
        In units of each response's scale.
    criterion : ndarray, shape (r,)
    free : ndarray of bool, shape (r, k)
        Variances not held at zero.
    """

    strata: Strata
    coefficients: FloatArray
    offset: FloatArray
    scale: FloatArray
    constant: FloatArray
    variances: FloatArray
    criterion: FloatArray
    free: NDArray[np.bool_]

    @property
    def stratum_variances(self) -> FloatArray:
        """V on each stratum, shape (r, strata), in the responses' units."""
        return np.asarray(self.scale[:, None] ** 2 * (self.variances @ self.strata.multipliers.T))

    @cached_property
    def general(self) -> SmallSample:
        """Kenward-Roger's quantities: Phi_A is Phi, since each stratum's estimate is unbiased on its own."""
        xi, multipliers = self.stratum_variances, self.strata.multipliers
        phi = np.tensordot(xi, self.strata.shares, 1)
        information = np.einsum("rs,si,sj->rij", self.strata.df / xi**2, multipliers, multipliers) / 2
        both = self.free[:, :, None] & self.free[:, None, :]
        sd = np.sqrt(np.diagonal(information, axis1=1, axis2=2))
        outer = sd[:, :, None] * sd[:, None, :]
        w = np.where(both, np.linalg.inv(np.where(both, information / outer, np.eye(len(sd[0])))) / outer, 0.0)
        slopes = np.tensordot(multipliers.T, self.strata.shares, 1)  # dPhi / dvariance_i
        each = np.broadcast_to(slopes, (len(phi), *slopes.shape))
        return SmallSample(self.coefficients, self.offset, self.constant, phi, phi, each, w)

    def kenward_roger(self, contrasts: FloatArray) -> FTests:
        """Test that all contrasts, shape (l, p), are zero: exactly, where they lie in one stratum."""
        for s, share in enumerate(self.strata.shares):
            if np.abs(contrasts @ share - contrasts).max() < TOLERANCE * np.abs(contrasts).max() and self.free.all():
                estimate = self.coefficients @ contrasts.T
                solved = np.linalg.solve(contrasts @ contrasts.T, estimate.T).T
                f = (estimate * solved).sum(1) / (len(contrasts) * self.stratum_variances[:, s])
                df = np.full(len(f), self.strata.df[s])
                return FTests(f, len(contrasts), df, f_tail(len(contrasts), df, f))
        return self.general.kenward_roger(contrasts)


def strata_sample(strata: Strata, prepared: Prepared, size: float, *, bounded: bool) -> StrataSample:
    """Fit prepared responses; `size` is the number of heads in every cell."""
    mean_squares = strata.mean_squares(prepared, size)
    variances = strata.held_variances(mean_squares) if bounded else strata.variances(mean_squares)
    free = variances > 0 if bounded else np.ones(variances.shape, bool)
    criterion = strata.criterion(mean_squares, variances)
    return StrataSample(
        strata, prepared.fitted, prepared.offset, prepared.scale, prepared.constant, variances, criterion, free
    )
