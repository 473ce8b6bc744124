"""The two failures that any floor may raise and the command line turns into exit codes.

Their messages are said when they are asked for, in the language that is spoken then: what is done at a desk is done in
English, as its files are, and what went wrong is told in the language of its reader.
"""

from trialkit.languages import Saying


class _Failure(Exception):
    """A failure whose lines are texts for `gettext`, their parts by name, or what says itself."""

    def __init__(self, *lines: object, **parts: object) -> None:
        super().__init__(*lines)
        self.parts = parts

    def __str__(self) -> str:
        """Say it."""
        return "\n".join(str(Saying(line, **self.parts)) if isinstance(line, str) else str(line) for line in self.args)


class NotComputed(_Failure):
    """A result could not be computed; the message says why, in the adviser's words."""


class WrongCall(_Failure, ValueError):
    """What was asked for cannot be; the message says what can."""
