"""The shell of every page: its templates, its style sheet, and the policy under which it loads nothing."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from trialkit.languages import gettext, language_tag, ngettext, pgettext, review_note
from trialkit.pages.numerals import tie
from trialkit.pages.palette import custom_properties
from trialkit.pages.safe_text import safe_text
from trialkit.tables.own_files import page_mark

if TYPE_CHECKING:
    from jinja2 import Environment
    from markupsafe import Markup

SHARED_TEMPLATES = Path(__file__).parent / "templates"


def content_security_policy(style: str, script: str = "") -> str:
    """Policy under which a page loads nothing, and is dressed and run by its own style sheet and script alone.

    Parameters
    ----------
    style, script : str
        Exactly what stands between the page's tags; no script where it is empty.
    """
    run = f"; script-src {digest(script)}" if script else ""
    return f"default-src 'none'; style-src {digest(style)}{run}; img-src data:; base-uri 'none'; form-action 'none'"


def digest(text: str) -> str:
    """Name a style sheet or script in a policy, by what it is."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


@cache
def page_style() -> str:
    """Style sheet of every page: the palette, then the rules."""
    return custom_properties() + (SHARED_TEMPLATES / "page.css").read_text(encoding="utf-8")


@cache
def page_script() -> str:
    """Script of a page with tables and pictures: sorting, and the buckets behind a mean."""
    return (SHARED_TEMPLATES / "page.js").read_text(encoding="utf-8")


def _tied(value: Any) -> Any:
    """Make plain text fit to show and tie numbers to their units; markup is left as it is."""
    return tie(safe_text(value)) if type(value) is str else value


@cache
def environment(folder: Path) -> Environment:
    """Templates of a folder, and the shared ones: escaped by default; an unknown name in one is an error."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    made = Environment(
        loader=FileSystemLoader([folder, SHARED_TEMPLATES], encoding="utf-8"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_tied,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        extensions=["jinja2.ext.i18n"],
    )
    made.policies["ext.i18n.trimmed"] = True
    made.newstyle_gettext = True  # type: ignore[attr-defined]  # an attribute of the extension
    made.globals.update(
        gettext=lambda text, **parts: _filled_in(gettext(text), parts),
        ngettext=lambda one, many, num, **parts: _filled_in(ngettext(one, many, num), {"num": num, **parts}),
        pgettext=lambda context, text, **parts: _filled_in(pgettext(context, text), parts),
        language_tag=language_tag,
        review_note=review_note,
    )
    return made


def _filled_in(told: str, parts: Mapping[str, Any]) -> Markup:
    """Fill in a translated text of a template, whose words are ours and may hold markup; its parts are escaped."""
    from markupsafe import Markup

    return Markup(told) % {name: Markup.escape(_tied(value)) for name, value in parts.items()}


def render_page(folder: Path, template: str, style: str, script: str = "", **parts: Any) -> str:
    """Fill in a template of a folder: the page with its style sheet, its script and the policy that names them.

    What made it, and of which kind it is, stands after its encoding: by that a later run knows it for one of ours.
    """
    policy = content_security_policy(style, script)
    page = environment(folder).get_template(template).render(style=style, script=script, policy=policy, **parts)
    encoding = '<meta charset="utf-8">\n'
    return page.replace(encoding, f"{encoding}{page_mark(template.partition('.')[0])}\n", 1)
