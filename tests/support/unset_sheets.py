"""Sheets for gardeners as PDF, where it matters which are written and not how they are set, which takes long."""

from collections.abc import Iterator
from contextlib import contextmanager
from hashlib import sha256
from unittest.mock import patch

from trialkit.tables.own_files import PDF_MARK


def _unset(page: str, paper: str) -> bytes:
    told = sha256(page.encode("utf-8")).hexdigest()
    return b"%%PDF-1.7\n%s%s %s)]\n" % (PDF_MARK, paper.encode(), told.encode())


@contextmanager
def unset_sheets() -> Iterator[None]:
    """Let each page and paper give bytes of their own, always the same, that nobody set."""
    with patch("trialkit.report.handout_pdf.handout_pdf", _unset):
        yield
