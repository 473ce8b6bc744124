"""A logo that pages carry: a real PNG, small enough to stand in each of them."""

from collections.abc import Iterator
from io import BytesIO

from trialkit.documents.problems import Problem
from trialkit.tables.problem import problem

PNG_SIGNATURE = b"\x89PNG\r\n\x1a\n"
LARGEST_BYTES = 300_000
SIDE_PIXELS = (16, 2000)
"""Least and most pixels of each side: more prints no finer at the size of a logo."""


def logo_problems(name: str, data: bytes) -> Iterator[Problem]:
    """Tell all that is wrong with a logo; it is read whole, as a file that begins like a picture need not be one."""
    from PIL import Image

    if len(data) > LARGEST_BYTES:
        yield problem("TK-P15", name, "bytes", most_kb=LARGEST_BYTES // 1000, size_kb=round(len(data) / 1000))
    if not data.startswith(PNG_SIGNATURE):
        yield problem("TK-P15", name, "kind")
        return
    least, most = SIDE_PIXELS
    try:
        with Image.open(BytesIO(data), formats=("PNG",)) as picture:
            width, height = picture.size
            if not (least <= min(width, height) and max(width, height) <= most):  # before it is unpacked
                yield problem("TK-P15", name, "pixels", least=least, most=most, width=width, height=height)
                return
            picture.load()
    except (OSError, SyntaxError, ValueError, Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        yield problem("TK-P15", name, "damaged", said=str(error))
