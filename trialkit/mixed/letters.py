"""Letters for groups of levels that were not told apart (Piepho 2004, J. Comput. Graph. Stat. 13, 456-466)."""

from __future__ import annotations

from collections.abc import Sequence
from string import ascii_lowercase


def letters(levels: Sequence[str], different: Sequence[tuple[str, str]]) -> dict[str, str]:
    """Give levels a common letter exactly where they are not known to differ.

    Parameters
    ----------
    levels : sequence of str
        In the order in which letters are given out: largest mean first gets ``a``.
    different : sequence of pairs of str
        Pairs that differ.

    Returns
    -------
    dict
        Letters of each level; two levels share one if and only if they are not a pair of `different`.

    Examples
    --------
    >>> letters(["high", "middle", "low"], [("high", "low")])
    {'high': 'a', 'middle': 'ab', 'low': 'b'}
    """
    columns = [frozenset(levels)]
    for first, second in different:
        split = [part for column in columns for part in _split(column, first, second)]
        columns = [c for i, c in enumerate(split) if not any(c < o or (c == o and i > j) for j, o in enumerate(split))]
    position = {level: i for i, level in enumerate(levels)}
    columns.sort(key=lambda column: sorted(position[level] for level in column))
    names = [ascii_lowercase[i % 26] * (i // 26 + 1) for i in range(len(columns))]
    return {level: "".join(n for n, c in zip(names, columns, strict=True) if level in c) for level in levels}


def _split(column: frozenset[str], first: str, second: str) -> list[frozenset[str]]:
    return [column - {first}, column - {second}] if {first, second} <= column else [column]
