"""Treatments and numbers in words that can be read aloud."""

from __future__ import annotations

from trialkit.analysis.answer import Treatment


def number(value: float, digits: int = 3) -> str:
    """Write a number to so many significant digits, never in scientific notation.

    Examples
    --------
    >>> number(1234.4), number(0.0456), number(2.0)
    ('1234', '0.0456', '2')
    """
    return f"{float(f'{value:.{digits}g}'):.10f}".rstrip("0").rstrip(".")


def teaspoons(dose_tsp: float) -> str:
    """Say a dose in level teaspoons.

    Examples
    --------
    >>> teaspoons(1.0), teaspoons(2.5), teaspoons(0.5)
    ('1 level teaspoon', '2.5 level teaspoons', '0.5 level teaspoon')
    """
    return f"{number(dose_tsp)} level teaspoon{'' if 0 < dose_tsp <= 1 else 's'}"


def treatment_words(treatment: Treatment) -> str:
    """Describe a treatment.

    Examples
    --------
    >>> treatment_words({"cultivar": "Fenleaf", "dose_tsp": 6.0, "acidifier": "none"})
    'Fenleaf with 6 level teaspoons of nutrient a bucket and no acid'
    """
    parts = []
    if "dose_tsp" in treatment:
        parts.append(f"{teaspoons(float(treatment['dose_tsp']))} of nutrient a bucket")
    if "acidifier" in treatment:
        parts.append("no acid" if treatment["acidifier"] == "none" else str(treatment["acidifier"]))
    with_what = " and ".join(parts)
    if "cultivar" not in treatment:
        return with_what
    return f"{treatment['cultivar']} with {with_what}" if parts else str(treatment["cultivar"])


def chance(probability: float) -> str:
    """Say a probability as a chance in a hundred, never as certainty.

    Examples
    --------
    >>> chance(0.934), chance(0.9999), chance(0.0)
    ('93 in 100', 'more than 99 in 100', 'less than 1 in 100')
    """
    if probability > 0.99:
        return "more than 99 in 100"
    if probability < 0.01:
        return "less than 1 in 100"
    return f"{round(probability * 100)} in 100"
