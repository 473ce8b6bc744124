"""Who opened the link of a desk that is a process, over a real connection."""

from __future__ import annotations

import http.cookiejar
import json
import re
import time
import urllib.error
import urllib.request
from collections.abc import Mapping
from typing import Any

from werkzeug.test import EnvironBuilder


class _NoRedirect(urllib.request.HTTPRedirectHandler):
    def redirect_request(self, *_: Any, **__: Any) -> None:
        return None


class Caller:
    """A browser without scripts."""

    def __init__(self, link: str) -> None:
        self.base = link.partition("/open")[0]
        self.jar = http.cookiejar.CookieJar()
        self.opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(self.jar), _NoRedirect)
        self._ask(urllib.request.Request(link))
        self.home = self.page("/")
        token = re.search(r'name="token" value="(\w+)"', self.home)
        assert token, self.home
        self.token = token[1]

    def _ask(self, request: urllib.request.Request) -> tuple[int, str, str]:
        try:
            with self.opener.open(request, timeout=60) as answer:
                return answer.status, answer.headers.get("Location") or "", answer.read().decode("utf-8", "replace")
        except urllib.error.HTTPError as told:
            with told:
                return told.code, told.headers.get("Location") or "", told.read().decode("utf-8", "replace")

    def page(self, path: str) -> str:
        """Text of a page."""
        return self._ask(urllib.request.Request(self.base + path))[2]

    def send(self, path: str, data: Mapping[str, Any] | None = None) -> tuple[int, str]:
        """Send a form; return its status and where it leads. What it begins is waited for."""
        form = EnvironBuilder(method="POST", data={"token": self.token, **(data or {})})
        sent = form.get_environ()
        headers = {"Origin": self.base, "Content-Type": sent["CONTENT_TYPE"]}
        request = urllib.request.Request(self.base + path, sent["wsgi.input"].read(), headers)
        form.close()
        status, location, _ = self._ask(request)
        return status, location

    def wait(self, location: str, seconds: float = 120.0) -> str:
        """Wait for a job, by its page; return how it ended."""
        state, until = "working", time.monotonic() + seconds
        while state == "working":
            assert time.monotonic() < until, "it takes too long"
            time.sleep(0.03)
            state = json.loads(self.page(f"{location}/state"))["state"]
        return str(state)
