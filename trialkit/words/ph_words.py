"""What is said of pH, acid and alkalinity on cards, handout and terminal alike."""

from __future__ import annotations

from trialkit.domain.ph_window import WINDOW_PH
from trialkit.languages import gettext, translatable
from trialkit.solution.acid_steps import HIGHEST_ALKALINITY_MG_L
from trialkit.solution.acids import VINEGAR_PCT
from trialkit.words.phrases import in_percent, number

READ_AGAIN = translatable("Read the pH again in two days, and then every week")
ASK_AGAIN = translatable("Is it too high then? Ask {whom} before you add more acid. It goes in by the same steps.")
"""After the pH has climbed: how often acid may be added again is common practice, no source, so somebody is asked."""
LEARN_ALKALINITY = translatable(
    "The water supplier's yearly report tells it, or a drop test; a well needs a test of its own. A softener leaves "
    "the alkalinity in the water and adds sodium: take water from a tap before it. Rain water has next to none and "
    "needs no acid."
)
OTHER_WATER = translatable("use reverse-osmosis or distilled water, or a blend with one of these")
ROOF_WATER = translatable("Untreated roof water may carry germs: keep it off the leaves")
"""Rain serves roots; what birds leave on a roof is not for leaves that are eaten raw (common practice, no source)."""
WATER_WITHOUT_ALKALINITY = "reverse-osmosis, distilled or rain water"
"""Waters of next to no alkalinity."""
NOT_THESE = (
    "Battery acid, pool acid and “pH down” have dangers and strengths of their own: go by their label, with gloves and "
    "goggles, and by no amount that is told here."
)

SHARES = {1 / 2: "half", 2 / 3: "two thirds", 3 / 4: "three quarters", 9 / 10: "nine tenths"}
LEAST_CLIMB_PH = 0.05
"""A smaller climb is not told: it is gone in rounding."""


def stop_words() -> str:
    """Say to stop there, as the end of a sentence.

    Examples
    --------
    >>> stop_words()
    'stop between pH 5.5 and 6'
    """
    low, high = map(number, WINDOW_PH)
    return gettext("stop between pH {low} and {high}", low=low, high=high)


def beyond_acid_words() -> str:
    """Say from where on acid is of no use."""
    return gettext("Above {limit} mg/L alkalinity is too much for acid", limit=number(HIGHEST_ALKALINITY_MG_L))


def later_words(ph_standing: float, ph_acid_eaten: float) -> str:
    """Say where the pH of a bucket goes that nobody touches: towards what the air leaves, then as the acid is eaten.

    How far comes from charge balance, from nothing eaten to all of it; how fast is common practice, no source.

    Examples
    --------
    >>> later_words(7.3, 8.24)
    'towards 7.3 in a day or two, as carbon dioxide leaves. In a week or so microbes eat the acid, and it reaches 8.2'
    """
    first = f"towards {ph_standing:.1f} in a day or two, as carbon dioxide leaves"
    if ph_acid_eaten - ph_standing < LEAST_CLIMB_PH:
        return first
    return f"{first}. In a week or so microbes eat the acid, and it reaches {ph_acid_eaten:.1f}"


def share_words(rain_share: float) -> str:
    """Say which part of a bucket is `WATER_WITHOUT_ALKALINITY`.

    Examples
    --------
    >>> share_words(0.5), share_words(2 / 3), share_words(0.4)
    ('half', 'two thirds', '40 %')
    """
    return next((word for share, word in SHARES.items() if abs(share - rain_share) < 1e-9), in_percent(rain_share))


def vinegar_refused(pct: float) -> str:
    """Say why vinegar of a strength is refused, and what to use."""
    least, most = VINEGAR_PCT
    use = f"Use white vinegar of {least:g} to {most:g} %, such as 5 %."
    if pct < least:
        return f"{pct:g} % is too weak for vinegar, which has {least:g} g of acid in 100 mL at least. {use}"
    return (
        f"Vinegar of {pct:g} % is not for this use. Above {most:g} % it hurts skin and eyes; 20 to 30 %, sold for "
        "cleaning or against weeds, burns skin and can blind. If you have some, go by its label, wear gloves and "
        f"goggles, and keep it from children. {use}"
    )


def other_acid(name: str) -> str:
    """Say that an acid is none of the kitchen's, and where its amount is to be found."""
    return (
        f'"{name}" is not vinegar or citric: amounts are told of these alone; a name of products.csv needs --trial DIR '
        f"beside it. {NOT_THESE}"
    )
