"""Latin squares drawn at random: every square equally likely for orders up to 5, very nearly so above.

Up to order 5 a reduced square is drawn from all of them, then its columns and all rows but the first are shuffled: each
square arises in exactly one way (Fisher & Yates 1938, *Statistical Tables*; from memory). Above, a random walk over
squares and near-squares (Jacobson & Matthews 1996, *J. Combin. Des.* 4:405-437), whose equilibrium is uniform. The walk
is stopped after a number of visits to true squares: stopping at the first one after a number of steps would favour
squares that long detours lead to.
"""

from collections.abc import Iterator
from functools import lru_cache

import numpy as np

from trialkit.domain.arrays import IntArray

LARGEST_ENUMERATED = 5
VISITS_PER_CELL = 1
Cube = list[list[list[int]]]


def random_latin_square(order: int, rng: np.random.Generator) -> IntArray:
    """Draw a Latin square of the symbols 0 to order - 1 (2 or more), each once in each row and column."""
    return _from_reduced(order, rng) if order <= LARGEST_ENUMERATED else walked_latin_square(order, rng)


@lru_cache
def reduced_latin_squares(order: int) -> tuple[tuple[tuple[int, ...], ...], ...]:
    """Return every square whose first row and column are in order: 1, 1, 4, 56 of them for orders 2 to 5."""
    return tuple(_completed(order, (tuple(range(order)),)))


def _completed(order: int, rows: tuple[tuple[int, ...], ...]) -> Iterator[tuple[tuple[int, ...], ...]]:
    if len(rows) == order:
        yield rows
        return
    for row in _next_rows(order, rows, (len(rows),)):
        yield from _completed(order, (*rows, row))


def _next_rows(order: int, rows: tuple[tuple[int, ...], ...], begun: tuple[int, ...]) -> Iterator[tuple[int, ...]]:
    place = len(begun)
    if place == order:
        yield begun
        return
    for symbol in range(order):
        if symbol not in begun and all(row[place] != symbol for row in rows):
            yield from _next_rows(order, rows, (*begun, symbol))


def _from_reduced(order: int, rng: np.random.Generator) -> IntArray:
    squares = reduced_latin_squares(order)
    square = np.array(squares[rng.integers(len(squares))], dtype=np.intp)[:, rng.permutation(order)]
    return np.asarray(square[np.concatenate([[0], 1 + rng.permutation(order - 1)])])


def walked_latin_square(order: int, rng: np.random.Generator) -> IntArray:
    """Draw a Latin square (order 2 or more) by the walk of Jacobson & Matthews, then shuffle rows, columns, symbols."""
    cyclic = (np.arange(order)[:, None] + np.arange(order)[None, :]) % order
    # Row x column x symbol: ones make up the square. Lists, since a step reads and writes single cells.
    cube: Cube = np.eye(order, dtype=int)[cyclic].tolist()
    improper: tuple[int, int, int] | None = None
    visits = VISITS_PER_CELL * order**3
    while visits > 0:
        improper = _step(cube, improper, rng)
        visits -= improper is None
    square = np.argmax(cube, axis=2)[rng.permutation(order)][:, rng.permutation(order)]
    return np.asarray(rng.permutation(order)[square])


def _step(cube: Cube, improper: tuple[int, int, int] | None, rng: np.random.Generator) -> tuple[int, int, int] | None:
    """Move to a neighbouring square or near-square; return its cell of -1, if it has one."""
    row, column, symbol = improper if improper is not None else _empty_cell(cube, rng)
    other_row = _one_of([plane[column][symbol] for plane in cube], rng)
    other_column = _one_of([line[symbol] for line in cube[row]], rng)
    other_symbol = _one_of(cube[row][column], rng)
    cube[row][column][symbol] += 1
    cube[row][other_column][other_symbol] += 1
    cube[other_row][column][other_symbol] += 1
    cube[other_row][other_column][symbol] += 1
    cube[other_row][column][symbol] -= 1
    cube[row][other_column][symbol] -= 1
    cube[row][column][other_symbol] -= 1
    cube[other_row][other_column][other_symbol] -= 1
    is_proper = cube[other_row][other_column][other_symbol] >= 0
    return None if is_proper else (other_row, other_column, other_symbol)


def _empty_cell(cube: Cube, rng: np.random.Generator) -> tuple[int, int, int]:
    while True:
        row, column, symbol = rng.integers(len(cube), size=3).tolist()
        if cube[row][column][symbol] == 0:
            return row, column, symbol


def _one_of(line: list[int], rng: np.random.Generator) -> int:
    ones = [place for place, value in enumerate(line) if value == 1]
    return ones[0] if len(ones) == 1 else ones[rng.integers(len(ones))]
