"""Where the browser of the page tests is."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

CHROMIUM = Path(os.environ.get("CHROMIUM", shutil.which("chromium") or "/usr/bin/chromium"))
ARGUMENTS = ("--no-sandbox",)
