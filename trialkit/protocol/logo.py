"""A logo that pages carry: a real PNG, small enough to stand in each of them."""

import struct
from collections.abc import Iterator
from io import BytesIO

from trialkit.documents.problems import Problem
from trialkit.tables.problem import problem

PNG_SIGNATURE = b"\x89PNG\r\n\x1a\n"
SIZE_PLACE = 16
"""Where a PNG's first piece, which must be its header, tells width and height (ISO/IEC 15948)."""
LARGEST_BYTES = 300_000
SIDE_PIXELS = (16, 2000)
"""Least and most pixels of each side: more prints no finer at the size of a logo."""


def logo_problems(name: str, data: bytes) -> Iterator[Problem]:
    """Tell all that is wrong with a logo; it is read whole, as a file that begins like a picture need not be one."""
    from PIL import Image, ImageFile

    if len(data) > LARGEST_BYTES:
        yield problem("TK-P15", name, "bytes", most_kb=LARGEST_BYTES // 1000, size_kb=round(len(data) / 1000))
    if not data.startswith(PNG_SIGNATURE):
        yield problem("TK-P15", name, "kind")
        return
    if len(data) >= SIZE_PLACE + 8:  # before it is unpacked: few bytes may unpack to very many
        (width, height), (least, most) = struct.unpack_from(">II", data, SIZE_PLACE), SIDE_PIXELS
        if not least <= min(width, height) <= max(width, height) <= most:
            yield problem("TK-P15", name, "pixels", least=least, most=most, width=width, height=height)
            return
    lenient, ImageFile.LOAD_TRUNCATED_IMAGES = ImageFile.LOAD_TRUNCATED_IMAGES, False  # WeasyPrint makes it so for all
    try:
        with Image.open(BytesIO(data), formats=("PNG",)) as picture:
            picture.load()
    except (OSError, SyntaxError, ValueError):
        yield problem("TK-P15", name, "damaged")
    finally:
        ImageFile.LOAD_TRUNCATED_IMAGES = lenient
