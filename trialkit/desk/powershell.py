"""A command as one types it in PowerShell, the usual shell of Windows: its words are those of strangers, too.

The rules are those of PowerShell's help (about_Quoting_Rules, about_Parsing), from memory. A line with anything that
could be more than a word begins with ``&``, at which the older shell of Windows (cmd) refuses the whole of it.
"""

from __future__ import annotations

import re
import subprocess
from collections.abc import Sequence

BARE = re.compile(r"[^\W\d_][\w-]*|--[a-z-]+")
"""Words that mean themselves."""
HARMLESS = re.compile(r"[\w ./:=+,-]*[\w./:=+,-]")
"""What stands for itself between double quotation marks in both shells."""
SINGLE = re.compile("(['\u2018\u2019\u201a\u201b])")
"""Each of these ends a text for PowerShell, which takes two of them for one."""
CONTROL = re.compile(r"([\x00-\x1f\x7f-\x9f\u2028\u2029])")
LEGACY = "$PSNativeCommandArgumentPassing = 'Legacy'"
"""Makes newer versions hand on quotation marks as the older do: as they are, for the program to part its line."""


def powershell_line(words: Sequence[str]) -> str:
    r"""Write a command so that PowerShell hands on just these words, and nothing in them is run.

    Examples
    --------
    >>> print(powershell_line(["trialkit", "merge", "fern", "fern heads.xlsx"]))
    trialkit merge fern "fern heads.xlsx"
    >>> print(powershell_line(["trialkit", "merge", "fern", "a & b.xlsx"]))
    & trialkit merge fern 'a & b.xlsx'
    """
    needs_legacy = any(not word or '"' in word or word.endswith("\\") for word in words)
    line = " ".join(_word(word, needs_legacy) for word in words)
    if needs_legacy:
        return f"& {{ {LEGACY}; {line} }}"
    return line if all(BARE.fullmatch(word) or HARMLESS.fullmatch(word) for word in words) else f"& {line}"


def _in_marks(word: str) -> str:
    """Put a word into marks, as the program itself parts its line: PowerShell then adds none, whatever blank it has."""
    return '"' + subprocess.list2cmdline([f" {word}"])[2:]


def _word(word: str, is_legacy: bool) -> str:
    if BARE.fullmatch(word):
        return word
    if HARMLESS.fullmatch(word):
        return f'"{word}"'
    told = _in_marks(word) if is_legacy else word
    parts = [
        f"[char]{ord(part)}" if CONTROL.fullmatch(part) else "'" + SINGLE.sub(r"\1\1", part) + "'"
        for part in CONTROL.split(told)
        if part
    ]
    return parts[0] if len(parts) == 1 and parts[0].startswith("'") else f"('' + {' + '.join(parts)})"
