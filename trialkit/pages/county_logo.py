"""The county's logo as a page holds it."""

from __future__ import annotations

import base64

from trialkit.protocol.county import CountyBlock


def logo_uri(block: CountyBlock | None) -> str:
    """Write the logo as a data URI, so that the page loads nothing; empty where there is none."""
    if block is None or block.logo is None:
        return ""
    return f"data:image/png;base64,{base64.b64encode(block.logo).decode()}"
