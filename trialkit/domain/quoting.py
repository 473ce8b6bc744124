"""A stranger's text shown on one line, in which nothing can steer a terminal."""

SHOWN_CHARACTERS = 80
UNSPEAKABLE = "something too long to show"


def shown(value: object) -> str:
    r"""Show a stranger's value safely: shortened, nothing in it that could steer a terminal.

    Examples
    --------
    >>> print(shown("red" + chr(27) + "[31m"))
    red\x1b[31m
    """
    try:
        text = str(value)
    except (ValueError, RecursionError):  # Python writes no number of thousands of figures, and nothing so deep
        text = UNSPEAKABLE
    if len(text) > SHOWN_CHARACTERS:
        text = text[: SHOWN_CHARACTERS - 1] + "…"
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text)


def quoted(value: object) -> str:
    """Show a stranger's value as `shown`, in quotation marks.

    Examples
    --------
    >>> print(quoted("152 g"))
    "152 g"
    """
    return f'"{shown(value)}"'
