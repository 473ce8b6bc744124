"""How efficient blocks of a size can be at best, whatever the layout."""


def balanced_bound(treatments: int, block_size: int) -> float:
    """Return the efficiency factor of balanced incomplete blocks, which no layout in such blocks exceeds.

    ``E = v (k - 1) / (k (v - 1))`` (Yates 1936, *Ann. Eugen.* 7:121-140; Cochran & Cox 1957, ch. 11; from memory).

    Examples
    --------
    >>> round(balanced_bound(7, 3), 4)
    0.7778
    """
    return treatments * (block_size - 1) / (block_size * (treatments - 1))


def resolvable_bound(treatments: int, block_size: int, replicates: int) -> float:
    """Return the upper bound of a resolvable layout.

    ``U = (v - 1)(r - 1) / [(v - 1)(r - 1) + r (s - 1)]`` with s blocks a replicate (Patterson & Williams 1976,
    *Biometrika* 63:83-92). With many replicates it passes the bound of `balanced_bound`; the smaller one counts.

    Examples
    --------
    >>> round(resolvable_bound(12, 4, 2), 4)
    0.7333
    """
    freedom = (treatments - 1) * (replicates - 1)
    bound = freedom / (freedom + replicates * (treatments // block_size - 1)) if freedom else 0.0
    return min(bound, balanced_bound(treatments, block_size))
