"""Shares as percentages, for sentences of every floor."""


def in_percent(share: float) -> str:
    """Write a share as a whole percentage.

    Examples
    --------
    >>> in_percent(0.412)
    '41 %'
    """
    return f"{100 * share:.0f} %"
