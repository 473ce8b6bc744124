"""The effects by which the mean of a treatment is made up, and the covariances of what gardens and seasons do to it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, fields

import numpy as np

from trialkit.advice.dose_curve import DoseScale, basis
from trialkit.domain.arrays import BoolArray, FloatArray, IntArray

FEW = 1e-2
"""Interactions bend less: directions with less than this share of the largest variance are left out of them."""
WHOLE_COMBINATION = 0.7
"""Standard deviation of what only a whole combination does, in units of that of interactions of two factors."""
TOLD_APART = 1e-7
"""Directions shorter than this, beside the longest, are none."""
NO_KIND = -1


@dataclass(frozen=True)
class Points:
    """Treatments, and the gardens in which they are asked about.

    Attributes
    ----------
    cultivar, acidifier : ndarray of int, shape (n,)
        Places among the levels.
    dose : ndarray, shape (n,)
        Strength; 0 where it plays no part.
    water, sun : ndarray, shape (n,)
        Alkalinity and hours of sun of the garden, centred and scaled; 0 where not known.
    kind : ndarray of int, shape (n,)
        Place among the kinds of garden; -1 where not known.
    """

    cultivar: IntArray
    acidifier: IntArray
    dose: FloatArray
    water: FloatArray
    sun: FloatArray
    kind: IntArray

    def __len__(self) -> int:
        return len(self.cultivar)

    @property
    def but_for_dose(self) -> BoolArray:
        """Which of them differ in dose only, shape (n, n)."""
        same = (self.cultivar[:, None] == self.cultivar) & (self.acidifier[:, None] == self.acidifier)
        return np.asarray(same, bool)

    def take(self, places: IntArray) -> Points:
        """Return some of them."""
        return Points(*(getattr(self, one.name)[places] for one in fields(self)))

    @classmethod
    def of(cls, cultivar: IntArray, acidifier: IntArray, dose: FloatArray) -> Points:
        """Treatments in an average garden."""
        n = len(cultivar)
        return cls(cultivar, acidifier, dose, np.zeros(n), np.zeros(n), np.full(n, NO_KIND))


@dataclass(frozen=True)
class Terms:
    """Which effects there are.

    Attributes
    ----------
    cultivars, acidifiers, kinds : int
        How many levels.
    scale : DoseScale, optional
        None where one dose only was tried.
    doses : ndarray
        Every strength that is asked about, in order.
    cells : ndarray of int, shape (cells, 3)
        Combinations tried: cultivar, acidifier, place among the doses.
    returning : int
        Gardens that took part in more than one trial.
    water, sun : bool
        Whether alkalinity, and sun, differ between gardens enough to have an effect.
    """

    cultivars: int
    acidifiers: int
    kinds: int
    scale: DoseScale | None
    doses: FloatArray
    cells: IntArray
    returning: int = 0
    water: bool = False
    sun: bool = False
    names: tuple[str, ...] = field(init=False)
    ratio: FloatArray = field(init=False)
    _bends: tuple[FloatArray, FloatArray] = field(init=False)

    def __post_init__(self) -> None:
        """Work out once what every design takes: the curve's columns, and the groups of all columns."""
        if self.scale is not None:
            bends = basis(self.scale, self.doses), basis(self.scale, self.doses, FEW)
            object.__setattr__(self, "_bends", bends)
        one = Points.of(np.zeros(1, np.intp), np.zeros(1, np.intp), self.doses[:1])
        parts = list(self._parts(one)) + list(self._lasting(one, np.zeros(1, np.intp)))
        names = [name for name, _, columns in parts for _ in range(columns.shape[1])]
        ratio = [share for _, share, columns in parts for _ in range(columns.shape[1])]
        object.__setattr__(self, "names", tuple(names))
        object.__setattr__(self, "ratio", np.array(ratio))

    @property
    def groups(self) -> tuple[str, ...]:
        """Standard deviations that are not known, of the effects and of what gardens and seasons do."""
        varied = [name for name, count in self._varied.items() if count]
        among = dict.fromkeys(name for name in self.names if name not in ("level", "slope"))
        return tuple(dict.fromkeys(["garden", *(f"garden_{name}" for name in varied), "season", *among]))

    @property
    def _varied(self) -> dict[str, bool]:
        return {
            "cultivar": self.cultivars > 1,
            "dose": self.scale is not None,
            "acidifier": self.acidifiers > 1,
        }

    def columns(self, at: Points, garden: IntArray | None = None) -> FloatArray:
        """Design matrix, shape (n, p); `garden` is the place among the returning ones, -1 of others."""
        garden = np.full(len(at), -1) if garden is None else garden
        parts = [columns for _, _, columns in (*self._parts(at), *self._lasting(at, garden))]
        return np.hstack(parts)

    def _parts(self, at: Points) -> Iterator[tuple[str, float, FloatArray]]:
        """Columns with the standard deviation that they go by, and their share of it."""
        yield "level", 1.0, np.ones((len(at), 1))
        cultivar, acidifier = _one_hot(at.cultivar, self.cultivars), _one_hot(at.acidifier, self.acidifiers)
        varied = self._varied
        if varied["cultivar"]:
            yield "cultivar", 1.0, cultivar
        if varied["acidifier"]:
            yield "acidifier", 1.0, acidifier
        line = None
        if self.scale is not None:
            line = self.scale.line(at.dose)[:, None]
            place = self._dose_place(at)
            yield "slope", 1.0, line
            yield "curve", 1.0, self._bends[0][place]
            bent = np.hstack([line, self._bends[1][place]])
            for levels in [cultivar] * varied["cultivar"] + [acidifier] * varied["acidifier"]:
                yield "interaction", 1.0, _products(levels, bent)
        if varied["cultivar"] and varied["acidifier"]:
            yield "interaction", 1.0, _products(cultivar, acidifier)
        if sum(varied.values()) > 1:
            yield "interaction", WHOLE_COMBINATION, self._cells_of(at).astype(float)
        if self.water and varied["acidifier"]:
            yield "surroundings", 1.0, acidifier * at.water[:, None]
        if self.sun and varied["cultivar"]:
            yield "surroundings", 1.0, cultivar * at.sun[:, None]
        if self.sun and line is not None:
            yield "surroundings", 1.0, line * at.sun[:, None]
        if self.kinds > 1:
            kind = _one_hot(at.kind, self.kinds)
            for levels in self._by_factor(at):
                yield "surroundings", 1.0, _products(kind, levels)

    def _by_factor(self, at: Points) -> list[FloatArray]:
        """Columns of each factor that a garden's own effects may go with."""
        found = [_one_hot(at.cultivar, self.cultivars)] if self.cultivars > 1 else []
        found += [self.scale.line(at.dose)[:, None]] if self.scale is not None else []
        return found + ([_one_hot(at.acidifier, self.acidifiers)] if self.acidifiers > 1 else [])

    def _lasting(self, at: Points, garden: IntArray) -> Iterator[tuple[str, float, FloatArray]]:
        """Columns of what returning gardens do every year."""
        if not self.returning:
            return
        here = _one_hot(garden, self.returning)
        yield "garden", 1.0, here
        names = [f"garden_{name}" for name, varied in self._varied.items() if varied]
        for name, levels in zip(names, self._by_factor(at), strict=True):
            yield name, 1.0, _products(here, levels)

    def practice(self, at: Points) -> dict[str, FloatArray]:
        """Covariances by factor, per unit of variance, of what a garden or season does to treatments, shape (n, n)."""
        found = {}
        if self.cultivars > 1:
            found["cultivar"] = (at.cultivar[:, None] == at.cultivar[None, :]).astype(float)
        if self.scale is not None:
            found["dose"] = np.outer(self.scale.line(at.dose), self.scale.line(at.dose))
        if self.acidifiers > 1:
            found["acidifier"] = (at.acidifier[:, None] == at.acidifier[None, :]).astype(float)
        return found

    def reduce(self, design: FloatArray) -> FloatArray:
        """Directions in which a design, shape (..., p), tells the groups' columns apart: a matrix of shape (p, q).

        Columns of a group are alike before any record, so what none of the rows asks about can be left out, exactly.
        """
        rows = design.reshape(-1, design.shape[-1])
        parts = []
        for name in dict.fromkeys(self.names):
            mine = np.array([one == name for one in self.names])
            _, length, along = np.linalg.svd(rows[:, mine] * self.ratio[mine], full_matrices=False)
            kept = along[length > TOLD_APART * max(length.max(initial=0.0), 1.0)]
            # A direction has no sign of its own: its largest part is taken as positive.
            kept = kept * np.sign(kept[range(len(kept)), np.abs(kept).argmax(1)])[:, None]
            part = np.zeros((len(self.names), len(kept)))
            part[mine] = self.ratio[mine][:, None] * kept.T
            parts.append(part)
        return np.hstack(parts)

    def reduced_names(self, directions: FloatArray) -> tuple[str, ...]:
        """Group of each direction."""
        return tuple(self.names[int(np.flatnonzero(one)[0])] for one in directions.T)

    def left(self, columns: FloatArray, directions: FloatArray) -> dict[str, FloatArray]:
        """What rows of a design, shape (n, p), have of each group beside the directions, shape (few, n) each.

        Two rows covary by the product of theirs, in units of the group's variance.
        """
        found, groups = {}, np.array(self.reduced_names(directions))
        for name in dict.fromkeys(self.names):
            if name in ("level", "slope"):
                continue
            mine = np.array([one == name for one in self.names])
            whole, own = columns[:, mine] * self.ratio[mine], directions[mine][:, groups == name]
            beside = whole - (columns[:, mine] @ own) @ (own / self.ratio[mine][:, None]).T
            _, length, along = np.linalg.svd(beside.T, full_matrices=False)
            kept = length > TOLD_APART * np.sqrt(len(columns))
            if kept.any():
                found[name] = length[kept, None] * along[kept]
        return found

    def untried(self, at: Points) -> FloatArray:
        """Standard deviation of what only a whole combination does, in units of interactions', where none was tried."""
        alone = WHOLE_COMBINATION * ~self._cells_of(at).any(1)
        return np.asarray(alone * (sum(self._varied.values()) > 1), float)

    def _cells_of(self, at: Points) -> BoolArray:
        """Which tried combination each treatment is, shape (n, cells)."""
        key = np.column_stack([at.cultivar, at.acidifier, self._dose_place(at)])
        return np.asarray((key[:, None, :] == self.cells[None, :, :]).all(2))

    def _dose_place(self, at: Points) -> IntArray:
        return np.asarray(np.abs(self.doses[None, :] - at.dose[:, None]).argmin(1))


def _one_hot(codes: IntArray, count: int) -> FloatArray:
    return np.asarray(np.asarray(codes)[:, None] == np.arange(count)[None, :], float)


def _products(one: FloatArray, other: FloatArray) -> FloatArray:
    return np.asarray((one[:, :, None] * other[:, None, :]).reshape(len(one), -1))


def scale_of(doses: Sequence[float]) -> DoseScale | None:
    """Scale of the strengths tried; None where there is one only."""
    low, high = min(doses), max(doses)
    return DoseScale(low, high) if high > low * (1 + 1e-9) + 1e-9 else None
