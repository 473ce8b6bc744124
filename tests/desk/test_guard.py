"""Only who has the link gets in, only from a page of the desk, only at its own address (OWASP, CSRF and DNS rebinding).

Source: OWASP Cross-Site Request Forgery Prevention and the Fetch standard's ``Origin`` and ``Sec-Fetch-Site`` headers,
from memory.
"""

from __future__ import annotations

from pathlib import Path

import pytest

import trialkit
from desk_visitor import BASE, HOST, ORIGIN, Visitor


@pytest.fixture
def filed(visitor: Visitor) -> Visitor:
    """A desk with a trial that could be laid out anew."""
    trialkit.Trial.new(
        visitor.desk.workspace.folder / "spring",
        question="Which cultivar?",
        sites=["FERN", "MILL"],
        cultivars=["Fenleaf", "Paleheart"],
        practice={"cultivar": "Fenleaf"},
        seed=5,
    )
    return visitor


def _send(visitor: Visitor, *, headers: dict[str, str], token: str | None = None) -> int:
    data = {"token": visitor.desk.guard.token if token is None else token}
    answer = visitor.client.post("/trial/spring/layout", base_url=BASE, data=data, headers=headers)
    return int(answer.status_code)


FORGED = {
    "another origin": {"Origin": "http://evil.example", "Sec-Fetch-Site": "cross-site"},
    "another port of this machine": {"Origin": "http://127.0.0.1:9000", "Sec-Fetch-Site": "same-site"},
    "no origin": {"Origin": "null", "Sec-Fetch-Site": "cross-site"},
    "no header at all": {},
    "a page in a frame of a stranger": {"Origin": f"http://{HOST}", "Sec-Fetch-Site": "cross-site"},
    "a file": {"Origin": "file://"},
}


@pytest.mark.parametrize("headers", FORGED.values(), ids=list(FORGED))
def test_forms_of_strangers_are_refused(filed: Visitor, headers: dict[str, str]) -> None:
    """Even with the cookie and the token."""
    assert _send(filed, headers=headers) == 403
    assert not (filed.desk.workspace.folder / "spring" / "layout.csv").exists()


@pytest.mark.parametrize("token", ["", "0" * 64, "é"])
def test_a_form_needs_the_token(filed: Visitor, token: str) -> None:
    """From our own origin, too; with it the form is taken."""
    assert _send(filed, headers=ORIGIN, token=token) == 403
    assert not (filed.desk.workspace.folder / "spring" / "layout.csv").exists()
    assert _send(filed, headers=ORIGIN) == 303
    assert (filed.desk.workspace.folder / "spring" / "layout.csv").exists()


@pytest.mark.parametrize("host", ["evil.example", "evil.example:8000", "127.0.0.1", "127.0.0.1:80", "0.0.0.0:8000"])
def test_other_names_of_this_machine_are_refused(filed: Visitor, host: str) -> None:
    """Were a stranger's name pointed here, its page would be of one origin with the desk."""
    assert filed.client.get("/", base_url=BASE, headers={"Host": host}).status_code == 403
    key = filed.desk.guard.key
    assert filed.client.get(f"/open?key={key}", base_url=BASE, headers={"Host": host}).status_code == 403


@pytest.mark.parametrize("path", ["/", "/trial/spring/", "/ledger/", "/desk.css", "/nothing", "/open", "/open?key=x"])
def test_nobody_gets_in_without_the_link(filed: Visitor, path: str) -> None:
    """Not a word of the desk, nor a token, is told."""
    stranger = filed.client.application.test_client()
    answer = stranger.get(path, base_url=BASE)
    assert answer.status_code == 403
    assert filed.desk.guard.token not in answer.text
    assert "Which cultivar" not in answer.text
    assert "Set-Cookie" not in answer.headers


def test_the_cookie_is_kept_from_scripts_and_strangers(filed: Visitor) -> None:
    """And the secret does not stay in the address."""
    answer = filed.client.application.test_client().get(f"/open?key={filed.desk.guard.key}", base_url=BASE)
    cookie = answer.headers["Set-Cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    assert answer.location == "/"


@pytest.mark.parametrize("path", ["/", "/nothing", "/trial/spring/", "/desk.js"])
def test_every_answer_says_how_it_may_be_used(filed: Visitor, path: str) -> None:
    """Nothing is loaded from elsewhere, framed, kept or guessed at."""
    headers = filed.get(path).headers
    policy = dict(part.strip().split(" ", 1) for part in headers["Content-Security-Policy"].split(";"))
    assert policy["default-src"] == policy["base-uri"] == policy["frame-ancestors"] == "'none'"
    assert policy["script-src"] == policy["style-src"] == policy["form-action"] == "'self'"
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Cache-Control"] == "no-store"


def test_no_page_has_a_script_or_style_of_its_own(filed: Visitor) -> None:
    """Under the policy they would not run; nor does any attribute hold one."""
    for path in ("/", "/trial/spring/", "/county/", "/words/"):
        text = filed.get(path).text
        assert "<style" not in text
        assert " style=" not in text
        assert " onclick" not in text
        assert text.count("<script") == 1


def test_names_of_strangers_are_text(visitor: Visitor) -> None:
    """A title with marks is shown, not obeyed."""
    trial = trialkit.Trial.example("volunteer_cultivars", visitor.desk.workspace.folder / "summer")
    protocol = Path(trial.folder / "trial.toml")
    told = protocol.read_text("utf-8").replace("Six lettuce", "<img src=x onerror=alert(1)> Six lettuce", 1)
    protocol.write_text(told, "utf-8")
    for path in ("/", "/trial/summer/"):
        text = visitor.get(path).text
        assert "<img src=x" not in text
        assert "&lt;img src=x" in text


def test_what_is_too_large_is_refused_in_words(filed: Visitor) -> None:
    """Before it is read."""
    answer = filed.client.post(
        "/county/", base_url=BASE, headers={**ORIGIN, "Content-Length": str(1 << 40)}, data={"token": "x"}
    )
    assert answer.status_code in (403, 413)


@pytest.mark.parametrize("back", ["//evil.example", "/\\\\evil.example", "http://evil.example", "javascript:alert(1)"])
def test_no_page_leads_to_strangers(filed: Visitor, back: str) -> None:
    """Whatever a form says of where it came from."""
    answer = filed.post("/ledger/next", {"folder": "", "back": back})
    assert answer.status_code == 422
    assert "evil" not in answer.text
    assert "javascript:" not in answer.text
