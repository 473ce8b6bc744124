"""The one failure that every floor may raise."""


class NotComputed(Exception):
    """A result could not be computed; the message says why, in the adviser's words."""
