"""Near-optimal layouts by computer search: exchange pairs of buckets while the A-criterion falls, from many starts.

The A-criterion is the mean variance of a difference of two treatments, that is, the trace of the inverse of the
information matrix (John & Williams 1995, *Cyclic and Computer Generated Designs*, ch. 3; from memory).
"""

from dataclasses import dataclass
from functools import cached_property
from typing import Annotated

import numpy as np

from trialkit.domain.arrays import BoolArray, FloatArray, IntArray
from trialkit.layouts.information import incidence

# A comparison that cannot be made counts as one of enormous variance, so that the search mends it first. A smaller
# ridge loses the gain of mending one of several in rounding.
RIDGE = 1e-5
# Gains are rounded before the best is picked: equal gains must stay equal on every machine, for the layout to be so.
DIGITS = 9
LEAST_GAIN = 1e-7
GOOD_PART = 0.5
"""Exchanges that gain this part of the best are made in the same round, if nothing joins them."""
PAIRS_LOOKED_AT = 3_000_000
"""How much is searched: exchanges looked at, over all starts; about a second of computing."""
MOST_STARTS, FEWEST_ROUNDS = 24, 40


@dataclass(frozen=True)
class Frame:
    """The buckets to be filled, and what has to stay as it is."""

    groups: Annotated[
        IntArray,
        "Site or replicate of each bucket: each treatment comes as often in each, or once more; shape (buckets,).",
    ]
    systems: Annotated[
        tuple[tuple[IntArray, float], ...],
        "Blockings to be eliminated, each with the factor of ``N N'`` in the information matrix: ``1 / k`` for blocks "
        "of k; for rows and columns that cross in a rectangle also the rectangle, with a factor below 0.",
    ]
    distinct: Annotated[tuple[IntArray, ...], "Blockings within which no treatment may come twice."] = ()
    standing: Annotated[
        FloatArray | None, "Information matrix of buckets elsewhere, which stay as they are; shape (treatments,) twice."
    ] = None

    @cached_property
    def held(self) -> tuple[FloatArray, ...]:
        """Which bucket is in which block, of each of `systems`: a search asks for it thousands of times."""
        return tuple(incidence(labels) for labels, _ in self.systems)


def information(treatment: IntArray, count: int, frame: Frame) -> FloatArray:
    """Return the information matrix of an assignment; shape (count, count)."""
    units = incidence(treatment, count)
    total = np.diag(units.sum(axis=0)) + (0 if frame.standing is None else frame.standing)
    for (_, factor), held in zip(frame.systems, frame.held, strict=True):
        shared = units.T @ held
        total -= factor * (shared @ shared.T)
    return np.asarray(total)


def criterion(treatment: IntArray, count: int, frame: Frame) -> float:
    """Return the A-criterion; the lower the better."""
    return float(np.trace(_variances(treatment, count, frame)))


def search(count: int, frame: Frame, rng: np.random.Generator, *, start: IntArray, goal: float = 0.0) -> IntArray:
    """Find a near-optimal assignment of treatments to buckets.

    The search begins with `start`, which keeps to the frame, and ends when a criterion is reached that cannot be
    bettered, the goal. Both assignments have shape (buckets,).
    """
    left = max(FEWEST_ROUNDS, PAIRS_LOOKED_AT // len(start) ** 2)  # rounds of exchanges that may still be made
    best, lowest, left = _descend(start, count, frame, left)
    for number in range(MOST_STARTS):
        if left <= 0 or lowest <= goal * (1 + 1e-6):
            break
        # Half of the starts are far from all before, half are near the best so far.
        origin, kicks = (start, 2 * len(start)) if number % 2 == 0 else (best, max(2, len(start) // 8))
        found, value, left = _descend(_shaken(origin, count, frame, rng, kicks), count, frame, left)
        if value < lowest * (1 - LEAST_GAIN):
            best, lowest = found, value
    return best


def _variances(treatment: IntArray, count: int, frame: Frame) -> FloatArray:
    """Return the inverse of the information matrix."""
    matrix = information(treatment, count, frame)
    return np.asarray(np.linalg.inv(matrix + np.full((count, count), 1 / count) + RIDGE * np.eye(count)))


def _shaken(treatment: IntArray, count: int, frame: Frame, rng: np.random.Generator, kicks: int) -> IntArray:
    shaken = treatment.copy()
    may_swap = _Permission(frame, count)
    for first, second in rng.integers(len(shaken), size=(kicks, 2)):
        if may_swap.pair(shaken, int(first), int(second)):
            shaken[[first, second]] = shaken[[second, first]]
    return shaken


def _descend(treatment: IntArray, count: int, frame: Frame, left: int) -> tuple[IntArray, float, int]:
    """Make the best exchange again and again until none gains; return its criterion too, and the rounds left."""
    current, variances = treatment.copy(), _variances(treatment, count, frame)
    permission = _Permission(frame, count)
    apart = _apart(frame)
    for rounds in range(max(left, 1)):
        lowest = float(np.trace(variances))
        gains = np.where(permission.every(current), _gains(current, variances, frame, apart), 0.0)
        pairs = _best_pairs(gains, current, frame)
        if not pairs:
            return current, lowest, left - rounds - 1
        following, after = _exchanged(current, count, frame, pairs)
        if np.trace(after) >= lowest * (1 - LEAST_GAIN):
            return current, lowest, left - rounds - 1  # the gain was one of rounding, as where nothing can be compared
        current, variances = following, after
    return current, float(np.trace(variances)), 0


def _best_pairs(gains: FloatArray, treatment: IntArray, frame: Frame) -> list[tuple[int, int]]:
    """Return the pair that gains most, and good ones that share neither block nor treatment with it or each other."""
    size = len(treatment)
    order = np.argsort(-gains, axis=None, kind="stable")[: 8 * size]
    least = max(LEAST_GAIN, GOOD_PART * float(gains.flat[order[0]]))
    pairs: list[tuple[int, int]] = []
    taken: set[tuple[int, int]] = set()
    for place, gain in zip(order.tolist(), gains.ravel()[order].tolist(), strict=True):
        if gain <= least:
            break
        pair = divmod(place, size)
        uses = {(-1, int(treatment[unit])) for unit in pair}
        uses |= {
            (n, int(labels[unit])) for n, (labels, factor) in enumerate(frame.systems) if factor > 0 for unit in pair
        }
        if not uses & taken:
            pairs.append(pair)
            taken |= uses
    return pairs


def _exchanged(
    treatment: IntArray, count: int, frame: Frame, pairs: list[tuple[int, int]]
) -> tuple[IntArray, FloatArray]:
    """Exchange all pairs, or only the first if together they gain no more than it does; return the variances too."""
    one, every = treatment.copy(), treatment.copy()
    for number, pair in enumerate(pairs):
        swapped = list(pair[::-1])
        every[list(pair)] = every[swapped]
        if number == 0:
            one[list(pair)] = one[swapped]
    of_one = _variances(one, count, frame)
    if len(pairs) > 1:
        of_every = _variances(every, count, frame)
        if np.trace(of_every) <= np.trace(of_one) * (1 - LEAST_GAIN):
            return every, of_every
    return one, of_one


def _apart(frame: Frame) -> FloatArray:
    """Sum of the factors of the blockings that part each pair of buckets; shape (buckets, buckets)."""
    total = np.zeros((len(frame.groups), len(frame.groups)))
    for labels, factor in frame.systems:
        total += factor * (labels[:, None] != labels[None, :])
    return total


def _gains(treatment: IntArray, inverse: FloatArray, frame: Frame, apart: FloatArray) -> FloatArray:
    """Fall of the criterion, as a share of it, when two buckets exchange treatments; shape (buckets, buckets).

    Exchanging treatments u and v of two buckets changes C by ``d z' + z d'``: d is 1 at v and -1 at u, and
    ``z = -(h_x - h_y + a d)``, where h is the sum over blockings of factor times what the bucket's block holds, and a
    the sum of the factors of the blockings that part the two. The change of the trace of the inverse then follows from
    Woodbury's identity, for all pairs at once.
    """
    units = incidence(treatment, len(inverse))
    holds = np.zeros((len(inverse), len(treatment)))
    for (labels, factor), held in zip(frame.systems, frame.held, strict=True):
        holds += factor * (units.T @ held)[:, labels]
    dpd, dpz, zpz = _forms(inverse, treatment, holds, apart)
    dqd, dqz, zqz = _forms(inverse @ inverse, treatment, holds, apart)
    determinant = dpd * zpz - (1 + dpz) ** 2
    with np.errstate(divide="ignore", invalid="ignore"):
        fall = (zpz * dqd - 2 * (1 + dpz) * dqz + dpd * zqz) / determinant
    fall = np.where(determinant < -1e-6, fall, 0.0) / np.trace(inverse)
    return np.asarray(np.round(fall, DIGITS))


def _forms(
    matrix: FloatArray, treatment: IntArray, holds: FloatArray, apart: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Quadratic forms d'Md, d'Mz and z'Mz for every pair of buckets; each of shape (buckets, buckets)."""
    own = matrix[np.ix_(treatment, treatment)]
    mixed = (matrix @ holds)[treatment]
    block = holds.T @ matrix @ holds
    dd = _spread(own)
    dm = mixed + mixed.T - np.diag(mixed)[:, None] - np.diag(mixed)[None, :]
    return dd, -(dm + apart * dd), _spread(block) + 2 * apart * dm + apart**2 * dd


def _spread(matrix: FloatArray) -> FloatArray:
    diagonal = np.diag(matrix)
    return np.asarray(diagonal[:, None] + diagonal[None, :] - 2 * matrix)


class _Permission:
    """Which exchanges keep to the frame."""

    def __init__(self, frame: Frame, count: int) -> None:
        self.frame, self.count = frame, count
        sizes = np.bincount(frame.groups)
        self.fewest = sizes // count
        self.most = -(-sizes // count)

    def every(self, treatment: IntArray) -> BoolArray:
        """Tell which pairs may exchange; shape (buckets, buckets)."""
        one_way = self._groups_keep_their_numbers(treatment)
        for labels in self.frame.distinct:
            held = incidence(labels).T @ incidence(treatment, self.count) > 0
            one_way &= ~held[labels][:, treatment] | (labels[:, None] == labels[None, :])
        return np.asarray(one_way & one_way.T & (treatment[:, None] != treatment[None, :]))

    def pair(self, treatment: IntArray, first: int, second: int) -> bool:
        """Tell whether one pair may exchange."""
        if treatment[first] == treatment[second]:
            return False
        after = treatment.copy()
        after[[first, second]] = after[[second, first]]
        pair = [first, second]
        for labels in self.frame.distinct:
            here = labels[pair]
            if here[0] != here[1]:
                held = [after[labels == label] for label in here]
                if any(len(np.unique(block)) < len(block) for block in held):
                    return False
        for group in set(self.frame.groups[pair].tolist()):
            counts = np.bincount(after[self.frame.groups == group], minlength=self.count)
            if counts.min() < self.fewest[group] or counts.max() > self.most[group]:
                return False
        return True

    def _groups_keep_their_numbers(self, treatment: IntArray) -> BoolArray:
        """Whether bucket x may give up its treatment for that of bucket y, as far as x's group goes."""
        groups = self.frame.groups
        counts = incidence(groups).T @ incidence(treatment, self.count)
        can_lose = (counts[groups, treatment] > self.fewest[groups])[:, None]
        can_gain = counts[groups][:, treatment] < self.most[groups][:, None]
        return np.asarray((groups[:, None] == groups[None, :]) | (can_lose & can_gain))
