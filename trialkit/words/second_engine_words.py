"""How two engines compare, in words."""

from __future__ import annotations

from trialkit.documents.answers import SecondEngine
from trialkit.words.phrases import count, number

WHY_NOT = {
    "known between visits": "days are known only between visits, which statsmodels has no mixed model for.",
    "variances of their own": "each garden has a variance of its own, which statsmodels cannot express.",
    "not settled": "with variances held at zero or above one of the engines does not settle.",
    "not analysed": "it was not analysed.",
}
FREE = "Variances are held at zero or above in both; in the answer they are free, and one is negative. "


def second_engine_words(compared: SecondEngine) -> str:
    """Say of one response whether statsmodels agrees, with the first figure that does not.

    Examples
    --------
    >>> second_engine_words(SecondEngine("days", "not analysed", ()))
    'days: not compared; it was not analysed.'
    """
    why = WHY_NOT.get(compared.comparison)
    if why:
        return f"{compared.response}: not compared; {why}"
    told = FREE if compared.comparison == "free variances" else ""
    apart = [figure for figure in compared.figures if not figure.agrees]
    if not apart:
        return (
            f"{compared.response}: {told}All {count(len(compared.figures), 'figure')} by statsmodels agree with ours."
        )
    first = apart[0]
    what = f"{first.part} {first.key}".strip()
    return (
        f"{compared.response}: {told}{len(apart)} of {count(len(compared.figures), 'figure')} by statsmodels differ. "
        f"The first is {what}: {number(first.ours, 6)} here, {number(first.theirs, 6)} there."
    )
