"""A desk to be asked without a network: the secret link opened, the token at hand."""

from __future__ import annotations

import gc
import re
import time
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from html import unescape
from pathlib import Path
from typing import Any

from trialkit.desk.application import Desk, make_application
from trialkit.desk.guard import Guard

HOST = "127.0.0.1:8000"
ORIGIN = {"Origin": f"http://{HOST}", "Sec-Fetch-Site": "same-origin"}
BASE = f"http://{HOST}"


@dataclass
class Visitor:
    """Somebody who opened the link of a desk."""

    desk: Desk
    client: Any

    def get(self, path: str, **more: Any) -> Any:
        """Ask for a page."""
        return self.client.get(path, base_url=BASE, **more)

    def post(self, path: str, data: dict[str, Any] | None = None, **more: Any) -> Any:
        """Send a form of the desk."""
        return self.client.post(
            path, base_url=BASE, headers=ORIGIN, data={"token": self.desk.guard.token, **(data or {})}, **more
        )

    def shown_deeds(self) -> list[tuple[list[str], dict[str, bytes]]]:
        """What a page shows that was done, the first deed first: its commands, and the files that it hands out."""
        page = self.get("/words/").text
        deeds = re.findall(r"<li>(.*?)</li>", page.partition('<ol class="did">')[2].partition("</ol>")[0])
        return [
            (
                [unescape(line) for line in re.findall("<code><bdi>(.*?)</bdi></code>", deed)],
                {
                    file: self.get(link).data
                    for link, file in re.findall('<a href="([^"]+)" download>([^<]+)</a>', deed)
                },
            )
            for deed in deeds[::-1]
        ]

    def done(self, path: str, data: dict[str, Any] | None = None, seconds: float = 120.0) -> str:
        """Send a form that begins a long deed, wait until it is done, and return where it leads."""
        answer = self.post(path, data)
        assert answer.status_code == 303, told(answer)
        job_id = answer.location.rpartition("/")[2]
        until = time.monotonic() + seconds
        while (job := self.desk.jobs.get(job_id)) is not None and job.state == "working":
            assert time.monotonic() < until, "it takes too long"
            time.sleep(0.05)
        assert job is not None
        assert job.state == "done", job.trouble
        return job.where_next


def folder_of(visitor: Visitor) -> Path:
    """Folder of the trial of a desk that has one, laid out."""
    return visitor.desk.workspace.folder / "fern"


def told(answer: Any) -> str:
    """Text of the page's main part, without its marks."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", main_part(answer))).strip()


def main_part(answer: Any) -> str:
    """The page's main part; all of what has none."""
    main = re.search(r"<main.*?</main>", answer.text, re.DOTALL)
    text: str = main[0] if main else answer.text
    return text


def visit(folder: Path) -> Iterator[Visitor]:
    """Open a desk on a folder, made if it is not there."""
    folder.mkdir(exist_ok=True)
    guard = Guard("127.0.0.1", 8000)
    made = make_application(folder, guard)
    client = made.test_client()
    opened = client.get(f"/open?key={guard.key}", base_url=BASE)
    assert opened.status_code == 303
    here = made.extensions["desk"]
    yield Visitor(here, client)
    here.jobs.stop_all()
    with warnings.catch_warnings():  # werkzeug's test client leaves files open in which it puts large forms
        warnings.simplefilter("ignore", ResourceWarning)
        gc.collect()
