"""What stands on printed sheets: where there is ink, and whether words are whole."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import Any

import numpy as np

PIXELS_PER_POINT = 1.0
MARGIN_PT = 25.0
"""Nothing but the number of a sheet is printed nearer to an edge; the margins are of 12 mm, 34 points, and more."""
TEXTS = """() => {
  const texts = [], walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) texts.push(walker.currentNode.data);
  return texts.join(' ');
}"""
SPLIT_WORDS = r"""() => {
  const found = [], walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT), range = new Range();
  while (walker.nextNode()) {
    for (const word of walker.currentNode.data.matchAll(/\p{L}{2,}/gu)) {
      range.setStart(walker.currentNode, word.index);
      range.setEnd(walker.currentNode, word.index + word[0].length);
      if (new Set([...range.getClientRects()].map(box => Math.round(box.top))).size > 1) found.push(word[0]);
    }
  }
  return found;
}"""
WORD = re.compile(r"[^\W\d_]+(?:['\u2019-][^\W\d_]+)*")


def ink(sheet: Any) -> np.ndarray:
    """Where a sheet is not white."""
    pixels = np.asarray(sheet.render(scale=PIXELS_PER_POINT, grayscale=True).to_numpy())
    return pixels.reshape(pixels.shape[:2]) < 245


def type_sizes_pt(sheet: Any) -> Iterator[float]:
    """Sizes of type on a sheet as they are seen, of each piece of text."""
    import ctypes

    from pypdfium2 import raw

    for piece in sheet.get_objects(filter=[raw.FPDF_PAGEOBJ_TEXT]):
        size = ctypes.c_float()
        raw.FPDFTextObj_GetFontSize(piece.raw, ctypes.byref(size))
        matrix = piece.get_matrix()
        yield size.value * abs(matrix.d)


def broken_words(page: Any, printed: Iterable[str]) -> set[str]:
    """What is read on paper and is no word of the page, nor a part of one that has a hyphen of its own."""
    words = set(WORD.findall(page.evaluate(TEXTS).lower()))
    known = words | {part for word in words for part in re.split("[-\u2019']", word)}
    return {word for text in printed for word in WORD.findall(text.lower())} - known


def split_words(page: Any) -> Any:
    """List the words of a page as it is shown of which a part stands on another line."""
    return page.evaluate(SPLIT_WORDS)
