"""Symbolic links in a folder that trialkit keeps: nothing is read or written through them."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from contextlib import suppress
from pathlib import Path

from trialkit.languages import gettext


def links_inside(folder: Path, kept: Iterable[str]) -> tuple[Path, ...]:
    """Find the links that stand in a folder, or anywhere in those folders of it that trialkit keeps.

    The folder itself may be reached through a link: that is its owner's way to it.

    Parameters
    ----------
    folder : Path
    kept : iterable of str
        Names of folders in it.
    """
    if not folder.is_dir():
        return ()
    inside = [folder / name for name in kept if not (folder / name).is_symlink()]
    found = [Path(one.path) for one in os.scandir(folder) if one.is_symlink()]
    return tuple(sorted([*found, *(link for one in inside if one.is_dir() for link in _below(one))]))


def _below(folder: Path) -> Iterator[Path]:
    with suppress(FileNotFoundError), os.scandir(folder) as entries:  # it may just have got another name
        for one in entries:
            if one.is_symlink():
                yield Path(one.path)
            elif one.is_dir(follow_symlinks=False):
                yield from _below(Path(one.path))


def link_words(link: Path) -> str:
    """Say what to do about a link."""
    return gettext(
        "{link} is a symbolic link, and nothing is read or written through one here. Put the "
        "file or folder itself in its place, or delete the link.",
        link=link,
    )
