"""The dose curve is the cubic smoothing spline: against R, scipy and its defining integral (tests/reference/advice)."""

import numpy as np
import pandas as pd
import pytest
from scipy.interpolate import make_smoothing_spline

from advice_data import FOLDER, expected
from dense_weights import MEAN_DEPARTURE, departure
from trialkit.advice.dose_curve import DoseScale, basis
from trialkit.advice.elimination import Floors, Told, eliminate

CASES = expected("smoothing_spline")


def test_covariance_is_that_of_the_process_less_its_line() -> None:
    """Against the integral over the innovations, by adaptive quadrature; its mean over the range is 1."""
    at = np.array([0.0, 0.13, 0.5, 0.71, 1.0])
    theirs = [[departure(s, t) / MEAN_DEPARTURE for t in at] for s in at]
    np.testing.assert_allclose(DoseScale(75, 300).covariance(75 + 225 * at, 75 + 225 * at), theirs, atol=1e-10)
    nodes, weight = np.polynomial.legendre.leggauss(20)
    own = np.diag(DoseScale(-1, 1).covariance(nodes, nodes))
    assert weight @ own / 2 == pytest.approx(1, rel=1e-10)
    line = DoseScale(-1, 1).line(nodes)
    assert weight @ line == pytest.approx(0, abs=1e-12)
    assert weight @ line**2 / 2 == pytest.approx(1, rel=1e-12)


def test_departures_have_no_line_in_them() -> None:
    """What a straight line over the whole range could tell is left to the slope."""
    scale = DoseScale(0, 1)
    at = (np.arange(2000) + 0.5) / 2000
    covariance = scale.covariance(at, np.array([0.2, 0.9]))
    np.testing.assert_allclose(covariance.mean(0), 0, atol=1e-6)
    np.testing.assert_allclose(scale.line(at) @ covariance / 2000, 0, atol=1e-6)


@pytest.mark.parametrize("case", CASES["cases"], ids=lambda case: f"df {case['df']:.1f}")
def test_is_the_smoothing_spline(case: dict[str, list[float]]) -> None:
    """Fitted values are those of the spline whose penalty is the ratio of the variances, level and slope free.

    The penalty weighs the squared second derivative over a range brought to 0 to 1; integrated Brownian motion has
    white noise for second derivative, whose variance is that of the departures over their mean, 1 / 420. To 1e-8 of
    the range that of scipy; R's is within 1e-4 of both.
    """
    data = pd.read_csv(FOLDER / CASES["data"]["file"])
    times, where = np.unique(data["times"], return_inverse=True)
    scale = DoseScale(times[0], times[-1])
    asked = np.array(case["at"])
    every = np.r_[times, asked]
    sd = 30.0
    residual = sd**2 * case["lambda"] / MEAN_DEPARTURE
    columns = np.column_stack([np.ones(len(every)), scale.line(every), basis(scale, every, 1e-14)])
    count = np.bincount(where) / residual
    score = np.bincount(where, data["accel"]) / residual
    told = Told(np.diag(count)[None, None], score[None, None], np.zeros(1), np.zeros(1))
    none = np.zeros((1, 1, len(times), len(times)))
    precision = np.r_[0.0, 0.0, np.full(columns.shape[1] - 2, sd**-2.0)]
    floors = Floors(
        np.zeros(1, np.intp), columns[None, : len(times)], none, none, precision[None], np.zeros(len(precision))
    )
    found = columns[len(times) :] @ eliminate(told, floors).mean[0]
    unit, reach = (times - times[0]) / np.ptp(times), np.ptp(case["fitted"])
    weight = np.bincount(where).astype(float)
    spline = make_smoothing_spline(unit, np.bincount(where, data["accel"]) / weight, weight, case["lambda"])
    np.testing.assert_allclose(found, spline((asked - times[0]) / np.ptp(times)), rtol=0, atol=1e-8 * reach)
    np.testing.assert_allclose(found, case["fitted"], rtol=0, atol=1e-4 * reach)
