"""The mixed model once more, with n x n matrices and nothing shared with trialkit: slow, plain, independent."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd


@dataclass(frozen=True)
class Dense:
    """y, X and the matrices V_i: Z_i Z_i' of variances, those of covariances, the residual's, the identity, last."""

    y: np.ndarray
    x: np.ndarray
    parts: list[np.ndarray]

    def v(self, variances: Sequence[float]) -> np.ndarray:
        """Covariance of the data."""
        return sum(s * part for s, part in zip(variances, self.parts, strict=True))

    def projection(self, variances: Sequence[float]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """V^-1, Phi and P."""
        inverse = np.linalg.inv(self.v(variances))
        phi = np.linalg.inv(self.x.T @ inverse @ self.x)
        return inverse, phi, inverse - inverse @ self.x @ phi @ self.x.T @ inverse

    def criterion(self, variances: Sequence[float], *, restricted: bool = True) -> float:
        """-2 log likelihood, contrast-invariant (tests/reference/README.md gives the formula)."""
        inverse, phi, p = self.projection(variances)
        del inverse
        n, k = self.x.shape
        value = np.linalg.slogdet(self.v(variances))[1] + self.y @ p @ self.y + n * np.log(2 * np.pi)
        if restricted:
            value += -k * np.log(2 * np.pi) - np.linalg.slogdet(phi)[1] - np.linalg.slogdet(self.x.T @ self.x)[1]
        return float(value)

    def score(self, variances: Sequence[float], *, restricted: bool = True) -> np.ndarray:
        """Derivative of the log likelihood by each variance."""
        inverse, _, p = self.projection(variances)
        outer = p if restricted else inverse
        return np.array([(self.y @ p @ v @ p @ self.y - np.trace(outer @ v)) / 2 for v in self.parts])

    def expected(self, variances: Sequence[float]) -> np.ndarray:
        """Expected REML information, tr(P V_i P V_j) / 2.

        With K'X = 0 and K'VK = LL' it is the sum of squares of products ``L^-1 K'V_i K L^-T``: nothing cancels, while
        P times P would leave 7 digits of the smallest.
        """
        contrasts = np.linalg.qr(self.x, mode="complete")[0][:, self.x.shape[1] :]
        root = np.linalg.solve(np.linalg.cholesky(contrasts.T @ self.v(variances) @ contrasts), contrasts.T)
        scaled = [root @ part @ root.T for part in self.parts]
        return np.array([[(a * b).sum() / 2 for b in scaled] for a in scaled])

    def kenward_roger_covariance(self, variances: Sequence[float]) -> np.ndarray:
        """Phi_A, all variances free.

        With V = LL' from ``L^-1 X`` and ``L^-1 V_i L^-T``, so that nothing is multiplied by V^-1, whose digits are few
        near the edge where V ceases to be positive definite. ``Q_ij - P_i Phi P_j`` is a product of what lies outside
        the columns of ``L^-1 X``: nothing is taken from anything.
        """
        root = np.linalg.cholesky(self.v(variances))
        x = np.linalg.solve(root, self.x)
        scaled = [np.linalg.solve(root, np.linalg.solve(root, part).T) for part in self.parts]
        phi = np.linalg.inv(x.T @ x)
        w = np.linalg.inv(self.expected(variances))
        outside = np.linalg.qr(x, mode="complete")[0][:, x.shape[1] :]
        apart = [outside.T @ part @ x for part in scaled]
        total = np.zeros_like(phi)
        for i, a in enumerate(apart):
            for j, b in enumerate(apart):
                total += w[i, j] * a.T @ b
        return phi + 2 * phi @ total @ phi

    def estimate(self, variances: Sequence[float]) -> np.ndarray:
        """Generalised least squares."""
        inverse, phi, _ = self.projection(variances)
        return phi @ self.x.T @ inverse @ self.y


def dense(
    data: pd.DataFrame,
    response: str,
    factors: Sequence[str],
    random: Sequence[str],
    residual_by: str | None = None,
    covariates: Sequence[str] = (),
) -> Dense:
    """Build the matrices: a column for each combination of the factors, the V_i of each random term and residual.

    Random terms as in the engine's notation; covariates have a column each beside the factors'.
    """
    cell = data[list(factors)].astype(str).agg(":".join, axis=1) if factors else pd.Series("all", data.index)
    x = np.column_stack([pd.get_dummies(cell).to_numpy(float), *(data[name].to_numpy(float) for name in covariates)])
    parts = [part for term in random for part in _term_parts(data, term)]
    levels = [np.ones(len(data))] if residual_by is None else pd.get_dummies(data[residual_by]).to_numpy(float).T
    return Dense(data[response].to_numpy(float), x, [*parts, *(np.diag(level) for level in levels)])


def _term_parts(data: pd.DataFrame, term: str) -> list[np.ndarray]:
    """V_i of one term: of its variances, then of its covariances, in the order of its level and slopes."""
    if " with " in term:
        grouping, slopes = term.split(" with ")
        columns = [np.ones(len(data)), *(data[name.strip()].to_numpy(float) for name in slopes.split(","))]
    elif " by " in term:
        slope, grouping = term.split(" by ")
        columns = [data[slope].to_numpy(float)]
    else:
        grouping, columns = term, [np.ones(len(data))]
    joint = data[grouping.split(":")].astype(str).agg(":".join, axis=1)
    z = [pd.get_dummies(joint).to_numpy(float) * column[:, None] for column in columns]
    pairs = [(a, b) for i, a in enumerate(z) for b in z[i + 1 :]]
    return [*(a @ a.T for a in z), *(a @ b.T + b @ a.T for a, b in pairs)]
