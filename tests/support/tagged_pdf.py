"""What a tagged PDF tells who has it read aloud, and where there is ink on its sheets, by PDFium."""

import ctypes
import re
import zlib
from collections.abc import Callable, Iterator
from typing import Any, NamedTuple


class Tag(NamedTuple):
    """An element of the structure tree: its kind, the text told in its place, and how deep it stands."""

    kind: str
    alternative: str
    depth: int


def unpacked(data: bytes) -> bytes:
    """Return a file with its packed streams unpacked behind it: what its catalog and metadata say can be looked up."""
    streams = re.findall(rb"(<<[^>]*)>>\nstream\n(.*?)\nendstream", data, re.DOTALL)
    return data + b"".join(zlib.decompress(stream) for about, stream in streams if b"/FlateDecode" in about)


def structure(sheet: Any) -> Iterator[Tag]:
    """Walk the structure tree of a sheet, in the order in which it is read aloud."""
    from pypdfium2 import raw

    tree = raw.FPDF_StructTree_GetForPage(sheet.raw)
    try:
        for place in range(raw.FPDF_StructTree_CountChildren(tree)):
            yield from _within(raw, raw.FPDF_StructTree_GetChildAtIndex(tree, place), 0)
    finally:
        raw.FPDF_StructTree_Close(tree)


def _within(raw: Any, element: Any, depth: int) -> Iterator[Tag]:
    if not element:  # marked content, which is no element
        return
    yield Tag(_text(raw.FPDF_StructElement_GetType, element), _text(raw.FPDF_StructElement_GetAltText, element), depth)
    for place in range(raw.FPDF_StructElement_CountChildren(element)):
        yield from _within(raw, raw.FPDF_StructElement_GetChildAtIndex(element, place), depth + 1)


def _text(get: Callable[..., int], element: Any) -> str:
    length = get(element, None, 0)
    buffer = ctypes.create_string_buffer(length)
    get(element, buffer, length)
    return buffer.raw.decode("utf-16-le").rstrip("\0")
