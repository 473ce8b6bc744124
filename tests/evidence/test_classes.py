"""Classes shrunk to each other: by hand, by another way of integrating, and at their limits."""

import numpy as np
import pytest

from trialkit.evidence.classes import class_gains, season_class, water_class


def test_a_class_without_evidence_borrows_everything() -> None:
    """It is told the mean of the others, less surely than any of them, and that all of it is borrowed."""
    effects, variances = np.array([10.0, 20.0, 12.0]), np.full(3, 4.0)
    found = class_gains(effects, variances, ["soft", "hard", "soft"], [2, 3, 1], ["soft", "hard", "none"], 5.0)
    soft, hard, none = found
    assert (none.units, none.gardens, none.own, none.borrowed) == (0, 0, None, 1.0)
    assert soft.gain < none.gain < hard.gain
    assert none.upper - none.lower > max(one.upper - one.lower for one in (soft, hard))
    assert (soft.units, soft.gardens, hard.gardens) == (2, 3, 3)


def test_each_class_lies_between_its_own_and_the_others() -> None:
    """Shrunk means are ordered as the classes' own, and the less is known of one the more it borrows."""
    effects = np.array([0.0, 10.0, 30.0])
    found = class_gains(effects, np.array([1.0, 25.0, 100.0]), ["a", "b", "c"], [1, 1, 1], ["a", "b", "c"], 10.0)
    assert [one.own for one in found] == [0.0, 10.0, 30.0]
    assert found[0].gain < found[1].gain < found[2].gain
    assert found[0].borrowed < found[1].borrowed < found[2].borrowed
    assert all(one.lower < one.gain < one.upper for one in found)


def test_agrees_with_drawing_from_the_posterior() -> None:
    """Means and limits are those of 400,000 draws: sd from its grid posterior, common mean, then classes (Gelman).

    Gelman et al., Bayesian Data Analysis, section 5.4 (from memory); the bound is four Monte-Carlo standard errors.
    """
    means, errors, scale = np.array([28.0, 8.0, -3.0, 7.0]), np.array([15.0, 10.0, 16.0, 11.0]), 10.0
    names = ["a", "b", "c", "d"]
    found = class_gains(means, errors**2, names, [1] * 4, [*names, "new"], scale)
    rng, n = np.random.default_rng(5), 400_000
    sd = np.linspace(0, 50, 400)
    total = errors**2 + sd[:, None] ** 2
    precision = (1 / total).sum(1)
    middle = (means / total).sum(1) / precision
    log = -((sd / scale) ** 2) / 2 - np.log(precision) / 2
    log -= (np.log(total) + (means - middle[:, None]) ** 2 / total).sum(1) / 2
    at = rng.choice(400, n, p=np.exp(log - log.max()) / np.exp(log - log.max()).sum())
    common = middle[at] + rng.standard_normal(n) / np.sqrt(precision[at])
    for i, one in enumerate(found[:4]):
        with np.errstate(divide="ignore"):
            own = 1 / errors[i] ** 2 + 1 / sd[at] ** 2
            drawn = np.where(
                sd[at] == 0,
                common,
                (means[i] / errors[i] ** 2 + common / np.maximum(sd[at], 1e-9) ** 2) / own
                + rng.standard_normal(n) / np.sqrt(own),
            )
        assert one.gain == pytest.approx(drawn.mean(), abs=4 * drawn.std() / np.sqrt(n))
        assert (one.lower, one.upper) == pytest.approx(tuple(np.quantile(drawn, [0.025, 0.975])), abs=0.3)
    new = common + sd[at] * rng.standard_normal(n)
    assert found[4].gain == pytest.approx(new.mean(), abs=4 * new.std() / np.sqrt(n))
    assert (found[4].lower, found[4].upper) == pytest.approx(tuple(np.quantile(new, [0.025, 0.975])), abs=0.5)


def test_much_evidence_needs_no_loan() -> None:
    """With small errors beside what is thought possible, every class keeps its own gain."""
    found = class_gains(np.array([0.0, 50.0]), np.array([0.01, 0.01]), ["a", "b"], [9, 9], ["a", "b"], 20.0)
    assert [one.gain for one in found] == pytest.approx([0.0, 50.0], abs=0.01)


def test_names_of_classes() -> None:
    """Bounds of waters are those of the handouts, and a season is the first that a text names."""
    assert [water_class(a) for a in (0.0, 59.9, 60.0, 119.0, 179.0, 180.0, 900.0)] == [
        "low", "low", "medium", "medium", "high", "very high", "very high",
    ]  # fmt: skip
    assert water_class(float("nan")) is None
    assert [season_class(text) for text in ("late Summer 2026", "fall-26", "2026/27", "Winterspring")] == [
        "summer", "autumn", None, None,
    ]  # fmt: skip
