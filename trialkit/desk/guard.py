"""Who may use a desk: only who has the secret link, from a page of the desk itself, at the address it was given.

Three things could be tried by a page of a stranger that is open in the same browser: to send a form here (cross-site
request), to read what is here (its own script, or a name of its own that points to this machine), and to show a page
of ours inside its own. A form needs the session's cookie, which is not sent along from elsewhere, an origin that is
ours, and a token that only our pages hold; requests to any other host name are refused; no page may be framed but
by the desk itself, which shows what it published within its own pages.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import Callable
from dataclasses import dataclass, field

Header = Callable[[str], str | None]
SAFE_METHODS = ("GET", "HEAD")
OPEN = "/open"
"""Path of the link with the secret."""
TOKEN = "token"
HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; connect-src 'self'; "
        "form-action 'self'; frame-src 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "X-Frame-Options": "DENY",
    "X-Content-Type-Options": "nosniff",
    # Not "no-referrer": a browser then sends a form with the origin "null", which could be anybody's.
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}


@dataclass(frozen=True)
class Guard:
    """The secrets of one run of a desk, and its address."""

    host: str
    port: int
    key: str = field(default_factory=lambda: secrets.token_urlsafe(32), repr=False)
    session: str = field(default_factory=lambda: secrets.token_urlsafe(32), repr=False)

    @property
    def hosts(self) -> tuple[str, str]:
        """Names of this desk that a browser may send."""
        return f"{self.host}:{self.port}", f"localhost:{self.port}"

    @property
    def link(self) -> str:
        """The secret link."""
        return f"http://{self.host}:{self.port}{OPEN}?key={self.key}"

    @property
    def cookie(self) -> str:
        """Name of the cookie; browsers do not tell ports of one host apart."""
        return f"desk-{self.port}"

    @property
    def token(self) -> str:
        """What every form of the desk sends along."""
        return hmac.new(self.session.encode(), b"form", hashlib.sha256).hexdigest()

    def is_key(self, given: str) -> bool:
        """Whether a link has the secret."""
        return hmac.compare_digest(given.encode(), self.key.encode())

    def refuses(self, method: str, header: Header, session: str) -> bool:
        """Whether a request is none of the desk's own, as far as can be told before what it carries is read.

        Parameters
        ----------
        method : str
        header : callable
            Gives a header by its name, None where there is none.
        session : str
            What the cookie says; empty where there is none.
        """
        if self.refuses_address(header) or not hmac.compare_digest(session.encode(), self.session.encode()):
            return True
        site = header("Sec-Fetch-Site")
        if site not in (None, "same-origin", "none"):
            return True
        if method in SAFE_METHODS:
            return False
        origin = header("Origin")
        return site is None if origin is None else origin not in [f"http://{host}" for host in self.hosts]

    def refuses_address(self, header: Header) -> bool:
        """Whether a request came to another name than ours, as one that a stranger pointed to this machine does."""
        return header("Host") not in self.hosts

    def is_token(self, given: str) -> bool:
        """Whether a form comes from a page of ours."""
        return hmac.compare_digest(given.encode(), self.token.encode())
