"""Documents that end with a digest of themselves: a changed byte is noticed, also where the text can still be read."""

import hashlib
import re
from typing import TypeVar

from trialkit.documents.document import DamagedDocument, as_text, from_text

Value = TypeVar("Value")

SEAL_KEY = "sha256"
END = "\n}\n"
SEAL = re.compile(rf',\n "{SEAL_KEY}": "([0-9a-f]{{64}})"\n\}}\n\Z')


def sealed_text(document: object) -> str:
    r"""Write a document as JSON whose last key is a digest of all before it.

    Examples
    --------
    >>> from trialkit.documents.returns import Headings
    >>> sealed_text(Headings()).splitlines()[-2].startswith(' "sha256": "')
    True
    """
    text = as_text(document)
    return text.removesuffix(END) + f',\n "{SEAL_KEY}": "{_digest(text)}"{END}'


def from_sealed_text(kind: type[Value], text: str) -> Value:
    """Read a document that carries its digest, or one of an earlier trialkit, which carries none.

    Raises
    ------
    DamagedDocument
        If the text is no JSON, not of that kind, or not what its digest is of.
    """
    plain = text.replace("\r\n", "\n")  # version control may have changed the ends of lines
    seal = SEAL.search(plain)
    if seal is None:
        return from_text(kind, text)
    body = plain[: seal.start()] + END
    if _digest(body) != seal[1]:
        raise DamagedDocument(SEAL_KEY)
    return from_text(kind, body)


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
