"""Fixtures of the forms' tests: a trial before its season, and a real browser."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

CHROMIUM = Path(os.environ.get("CHROMIUM", shutil.which("chromium") or "/usr/bin/chromium"))


@pytest.fixture(scope="session")
def started() -> Iterator[Any]:
    """Playwright, where it and a browser are installed."""
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    if not CHROMIUM.exists():
        pytest.skip(f"no Chromium at {CHROMIUM}: set CHROMIUM to its path")
    with playwright.sync_playwright() as running:
        yield running


@pytest.fixture(scope="session")
def browser(started: Any) -> Iterator[Any]:
    """Chromium, headless."""
    running = started.chromium.launch(executable_path=str(CHROMIUM), args=["--no-sandbox"])
    yield running
    running.close()
