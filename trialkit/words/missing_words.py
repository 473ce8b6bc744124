"""What a garden has not told yet: for the adviser's list, and as a message to its volunteer, ready to copy."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Annotated

from trialkit.languages import gettext, ngettext
from trialkit.words.phrases import days_words, listed

if TYPE_CHECKING:
    from trialkit.returns.still_missing import StillMissing

MOST_NAMED = 12
"""Buckets that a line names."""
MOST_LINES = 12
"""Buckets of which some heads are told have a line each, and questions, but no more than so many."""


@dataclass(frozen=True)
class AskedLine:
    """A question about the record, as a message puts it."""

    about: Annotated[str, "The bucket, the visits or the whole garden, and the head or day."]
    question: str
    found: Annotated[str, "What we read; empty where nothing stands there."]


def missing_lines(missing: StillMissing, heads_a_bucket: int) -> list[str]:
    """Say what a garden has not told, a line each.

    Examples
    --------
    >>> from trialkit.returns.still_missing import StillMissing
    >>> missing_lines(StillMissing("FERN", 2, False, {"334X": (1, 2), "33DF": (2,)}, 4, ("33DF",), (), True), 2)
    ['What happened to the heads of bucket 334X', 'What happened to head 2 of bucket 33DF', \
'What went into bucket 33DF, and on which day', 'On which days you looked at the buckets']
    """
    return list(_lines(missing, heads_a_bucket))


def _lines(missing: StillMissing, heads_a_bucket: int) -> Iterator[str]:
    whole = [bucket for bucket, heads in missing.heads.items() if len(heads) == heads_a_bucket]
    if whole:
        yield ngettext(
            "What happened to the heads of bucket {buckets}",
            "What happened to the heads of buckets {buckets}",
            len(whole),
            buckets=_named(whole),
        )
    yield from _single_heads({bucket: heads for bucket, heads in missing.heads.items() if bucket not in whole})
    if missing.solution:
        yield ngettext(
            "What went into bucket {buckets}, and on which day",
            "What went into buckets {buckets}, and on which days",
            len(missing.solution),
            buckets=_named(missing.solution),
        )
    if missing.no_visit:
        yield gettext("On which days you looked at the buckets")
    if missing.visits:
        days = days_words([date.fromisoformat(day) for day in missing.visits])
        yield gettext("Your visits on {days}: heads were cut then, and no visit is written down", days=days)


def _single_heads(heads: Mapping[str, tuple[int, ...]]) -> Iterator[str]:
    for bucket, numbers in list(heads.items())[:MOST_LINES]:
        yield ngettext(
            "What happened to head {heads} of bucket {bucket}",
            "What happened to heads {heads} of bucket {bucket}",
            len(numbers),
            heads=listed([str(number) for number in numbers]),
            bucket=bucket,
        )
    rest = list(heads)[MOST_LINES:]
    if rest:
        yield ngettext(
            "What happened to the other heads of bucket {buckets}",
            "What happened to the other heads of buckets {buckets}",
            len(rest),
            buckets=_named(rest),
        )


def _named(buckets: Sequence[str]) -> str:
    """Name some buckets, and say how many more there are."""
    shown = list(buckets[:MOST_NAMED])
    more = len(buckets) - len(shown)
    return listed([*shown, gettext("{number} more", number=more)] if more else shown)


def garden_message(
    title: str, lines: Sequence[str], asked: Sequence[AskedLine], *, nothing_yet: bool, until: date | None, contact: str
) -> str:
    """Write a message to a garden's volunteer as plain text, in the language that is spoken.

    Parameters
    ----------
    title : str
        Of the trial.
    lines : sequence of str
        What is missing, as `missing_lines` says it.
    asked : sequence of AskedLine
        What is asked about the record.
    nothing_yet : bool
        Whether nothing came from the garden at all.
    until : datetime.date, optional
        When the answer is needed.
    contact : str
        Where to send it; empty where nobody said.

    Examples
    --------
    >>> told = garden_message("Doses", ["What happened to head 2 of bucket 33DF"], [], nothing_yet=False,
    ...                       until=date(2026, 11, 5), contact="")
    >>> print(told)
    Hello! This is about the lettuce trial “Doses”.
    Thank you for your records.
    <BLANKLINE>
    This is still missing:
    - What happened to head 2 of bucket 33DF
    <BLANKLINE>
    Please send it by 5 November 2026.
    If you do not know something, write that. It helps us too.
    Thank you!
    """
    told = [gettext("Hello! This is about the lettuce trial “{title}”.", title=title)]
    if nothing_yet:
        told += [
            gettext("We have no records from your garden yet."),
            gettext("Please send us what you wrote down, even if it is not finished."),
        ]
    else:
        told.append(gettext("Thank you for your records."))
    if not nothing_yet and not lines and not asked:
        return "\n".join([*told, gettext("All that you wrote down is in order. There is nothing to do.")])
    if lines and not nothing_yet:
        told += ["", gettext("This is still missing:"), *(f"- {line}" for line in lines)]
    if asked:
        number = len(asked)
        told += ["", ngettext("We have {number} question:", "We have {number} questions:", number)]
        told += [_asked(one) for one in asked[:MOST_LINES]]
        if number > MOST_LINES:
            more = number - MOST_LINES
            told.append("- " + ngettext("{number} more, which we send you.", "{number} more, which we send you.", more))
    told.append("")
    if until is not None:
        told.append(gettext("Please send it by {day}.", day=days_words([until])))
    if contact:
        told.append(gettext("Send it to: {contact}", contact=contact))
    told += [gettext("If you do not know something, write that. It helps us too."), gettext("Thank you!")]
    return "\n".join(told)


def _asked(one: AskedLine) -> str:
    found = " " + gettext("We read: {found}.", found=one.found) if one.found else ""
    return f"- {one.about}: {one.question}{found}"
