"""Answers from several completed data sets put together: Rubin's rules on Kenward and Roger's quantities."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trialkit.domain.arrays import FloatArray
from trialkit.mixed.small_sample import FTests, SmallSample, f_tail


@dataclass(frozen=True)
class Combined(SmallSample):
    """Quantities of m completed sets on one design, answered together as if for one response.

    ``T = U + (1 + 1/m) B`` (Rubin 1987, Multiple Imputation for Nonresponse in Surveys, ch. 3), U the average of the
    sets' Kenward-Roger covariances and B the covariance of their estimates. Where the sets do not differ at all, every
    answer is that of any one of them.

    Attributes
    ----------
    coefficients, offset, adjusted : ndarray, shapes (1, p), (1,) and (1, p, p)
        Average estimate; T.
    phi, phi_p_phi, w : ndarray
        As in SmallSample, the m sets in front.
    within, between : ndarray, shape (p, p)
        U, and ``(1 + 1/m) B``.
    sets : int
        How many sets, m.
    """

    within: FloatArray
    between: FloatArray
    sets: int

    def contrast_df(self, contrasts: FloatArray) -> FloatArray:
        """Degrees of freedom of single contrasts, shape (c, p) -> (1, c).

        After Barnard & Rubin (1999), Biometrika 86, 948-955 (see `combined_df`); d.f. of complete data are the average
        of Kenward and Roger's.
        """
        complete = average(super().contrast_df(contrasts))
        return combined_df(complete, self.share_missing(contrasts), self.sets, 1)[None]

    def share_missing(self, contrasts: FloatArray) -> FloatArray:
        """Fraction of missing information of single contrasts, ``(1 + 1/m) B / T``, shape (c, p) -> (c,)."""
        between, total = (
            ((contrasts @ covariance) * contrasts).sum(1) for covariance in (self.between, self.adjusted[0])
        )
        return np.asarray(between / total)

    def kenward_roger(self, contrasts: FloatArray) -> FTests:
        """Test that all contrasts, shape (l, p) of full row rank, are zero.

        D1 of Li, Raghunathan & Rubin (1991), J. Am. Stat. Assoc. 86, 1065-1073, with r the relative increase of
        variance averaged over the contrasts, times the average of Kenward and Roger's scales. Denominator d.f. are
        those of `combined_df` with that r and Rubin's (1987) ``(l + 1)/2`` times the d.f. of one contrast, so that the
        test of one contrast is its t test. (Those of Reiter 2007, Biometrika 94, 502-508, do not exist where the
        complete data have few.)
        """
        size, alone = len(contrasts), super().kenward_roger(contrasts)
        r = self._relative_increase(contrasts)
        df = combined_df(average(alone.denominator_df), np.asarray(r / (1 + r)), self.sets, size)[None]
        f = average(alone.f)[None]
        return FTests(f, size, df, f_tail(size, df, f))

    def _wald(self, contrasts: FloatArray, covariance: FloatArray) -> FloatArray:  # noqa: ARG002
        """D1, to which each set's Kenward-Roger scale is applied; shape (1,)."""
        total = (1 + self._relative_increase(contrasts)) * self.within
        return super()._wald(contrasts, total[None])

    def _relative_increase(self, contrasts: FloatArray) -> float:
        within, between = (contrasts @ covariance @ contrasts.T for covariance in (self.within, self.between))
        return float(np.trace(np.linalg.solve(within, between)) / len(contrasts))


def combine_sets(sets: SmallSample) -> Combined:
    """Combine completed sets, which stand in front, by Rubin's rules."""
    # Every set was centred by a constant of its own: they are brought to the first one's.
    coefficients = sets.coefficients + (sets.offset - sets.offset[0])[:, None] * sets.constant
    m, middle = len(coefficients), average(coefficients)
    deviations = coefficients - middle
    between = (1 + 1 / m) / max(m - 1, 1) * deviations.T @ deviations
    within = average(sets.adjusted)
    return Combined(
        coefficients=middle[None],
        offset=sets.offset[:1],
        constant=sets.constant,
        phi=sets.phi,
        adjusted=(within + between)[None],
        phi_p_phi=sets.phi_p_phi,
        w=sets.w,
        within=within,
        between=between,
        sets=m,
    )


def average(values: FloatArray) -> FloatArray:
    """Mean over the sets in front, to the last digit theirs where they are all alike."""
    return np.asarray(values[0] + (values - values[0]).mean(0))


def combined_df(complete: FloatArray, missing: FloatArray, sets: int, contrasts: int) -> FloatArray:
    """Degrees of freedom after imputation, elementwise, from the v of the complete data and m completed sets.

    ``1 / (1 / v_m + 1 / v_obs)`` with ``v_m = (m - 1) / missing^2``, for several contrasts together times
    ``(contrasts + 1) / 2`` (Rubin 1987), and ``v_obs = v (1 - missing / 2)``. Barnard & Rubin (1999) have
    ``v (1 - missing)``, as if as much were missing of the variances as of the means, times ``(v + 1) / (v + 3)``, which
    takes 9 to 7.5 even where nothing is missing. With few gardens both make intervals hold the truth too often, and v
    itself too seldom: reports/days_coverage.md shows them side by side.

    Examples
    --------
    Ten sets, 20 degrees of freedom and a quarter of the information missing: 144 and 17.5 make 15.6.

    >>> combined_df(np.array([20.0]), np.array([0.25]), 10, 1).round(1)
    array([15.6])
    """
    per_set = missing**2 * 2 / ((sets - 1) * (contrasts + 1)) if sets > 1 else 0.0 * missing
    return np.asarray(1 / (per_set + 1 / (complete * (1 - missing / 2))))
