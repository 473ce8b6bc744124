"""What a user is told when a file cannot be read or written."""

import errno
from collections.abc import Mapping

from trialkit.languages import gettext, translatable

FULL = translatable("the disk is full, so no file was left half-written. Free some space")
LOCKED = translatable("you may not read or write it. Ask for leave, or work on a copy in a folder of your own")
REASONS: Mapping[int | None, str] = {
    errno.ENOSPC: FULL,
    errno.EDQUOT: translatable(
        "you may store no more there, so no file was left half-written. Delete what you no longer need"
    ),
    errno.EFBIG: translatable(
        "files may not become so large there, so no file was left half-written. Ask for a higher limit"
    ),
    errno.EROFS: translatable("nothing can be written there. Copy the folder to a disk that can be written to"),
    errno.EACCES: LOCKED,
    errno.EPERM: LOCKED,
    errno.ENOENT: translatable("it is not there. Look at how its name is spelled"),
    errno.ENOTDIR: translatable("part of the path is a file, no folder. Look at how its name is spelled"),
    errno.EISDIR: translatable("it is a folder, where a file should be. Name another, or move it away"),
    errno.ENAMETOOLONG: translatable("its name is too long. Give it a shorter one"),
    errno.ELOOP: translatable("it is a link that leads to itself. Delete it"),
    errno.EIO: translatable("the disk does not answer as it should. Copy the folder to another"),
    errno.EMFILE: translatable("too many files are open. Close other programs"),
}
"""Why, and what to do."""


def file_failure_words(error: OSError, command: str = "") -> str:
    """Say which file, why, and what to do; of a failure that nobody foresaw what the system says.

    Where no command is named, it is done again by whatever was pressed.

    Examples
    --------
    >>> print(file_failure_words(OSError(28, "No space left on device", "heads.csv"), "trialkit merge"))
    heads.csv: the disk is full, so no file was left half-written. Free some space, then run trialkit merge again.
    """
    what = f"{error.filename}: " if error.filename else ""
    if error.errno is None:
        return str(error)
    known = REASONS.get(error.errno)
    reason = gettext(known) if known else gettext("the system says: {said}. Put that right", said=error.strerror)
    if not command:
        return gettext("{what}{reason}, then try again.", what=what, reason=reason)
    return gettext("{what}{reason}, then run {command} again.", what=what, reason=reason, command=command)
