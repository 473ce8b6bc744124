"""What the adviser reads first of a check: how many things must be fixed, in which files, and what to do next."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from trialkit.words.phrases import count, listed

MOST_GARDENS_NAMED = 3


def check_verdict(questions: int, must: int) -> str:
    """Say in a few words how a check went.

    Examples
    --------
    >>> check_verdict(29, 3), check_verdict(2, 0), check_verdict(0, 0)
    ('3 things to fix', 'Nothing to fix, 2 things to look at', 'All in order')
    """
    if must:
        return f"{count(must, 'thing')} to fix"
    return f"Nothing to fix, {count(questions, 'thing')} to look at" if questions else "All in order"


def of_file(questions: int, must: int) -> tuple[str, str]:
    """Say what there is to do in a file: what must be fixed, then what to look at.

    Examples
    --------
    >>> of_file(5, 2), of_file(2, 2), of_file(3, 0)
    (('2 to fix', '3 to look at'), ('2 to fix', ''), ('3 to look at', ''))
    """
    look = f"{questions - must} to look at" if questions > must else ""
    return (f"{must} to fix", look) if must else (look, "")


def more_files(files: int) -> str:
    """Say of how many files more there is something, below."""
    return f"and {count(files, 'more file')}, below" if files else ""


def next_steps(advisers: int, gardens: Sequence[str], must: int) -> Iterator[str]:
    """Say what to do next, in order.

    Parameters
    ----------
    advisers : int
        Things that no garden can answer for.
    gardens : sequence of str
        Names of those that are asked something.
    must : int
        Things that must be fixed.

    Examples
    --------
    >>> list(next_steps(1, ["Old Mill"], 2))[1]
    'Ask the garden Old Mill: its own page stands beside this one, with a place for each answer.'
    """
    if advisers:
        yield "Put right what stands under “For the adviser”, in the files of the trial's folder."
    if len(gardens) == 1:
        yield f"Ask the garden {gardens[0]}: its own page stands beside this one, with a place for each answer."
    elif gardens:
        named = list(gardens[:MOST_GARDENS_NAMED])
        more = [f"{len(gardens) - len(named)} more"] if len(gardens) > len(named) else []
        yield (
            f"Ask the gardens {listed(named + more)}: the page of each stands beside this one, with a place for each "
            "answer."
        )
    yield "Write what you learn into the files. Then run trialkit check again."
    if not must:
        yield "You may also go on at once: nothing here stops the next step."
