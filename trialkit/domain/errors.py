"""The two failures that any floor may raise and the command line turns into exit codes."""


class NotComputed(Exception):
    """A result could not be computed; the message says why, in the adviser's words."""


class WrongCall(ValueError):
    """What was asked for cannot be; the message says what can."""
