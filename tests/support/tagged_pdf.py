"""What a tagged PDF tells who has it read aloud: its structure tree, and what on its sheets belongs to it, by pypdf."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

PAINTING = frozenset(
    ("f", "F", "f*", "B", "B*", "b", "b*", "S", "s", "sh", "Tj", "TJ", "'", '"', "Do", "BI", "INLINE IMAGE")
)
"""Operators that leave a mark on a sheet."""


class Tag(NamedTuple):
    """An element of the structure tree: its kind, the text told in its place, how deep it stands, its own entries."""

    kind: str
    alternative: str
    depth: int
    entries: Mapping[str, Any]

    @property
    def attributes(self) -> Mapping[str, Any]:
        """Its attributes, whatever owns them."""
        given = self.entries.get("/A", [])
        owners = given if isinstance(given, list) else [given]
        return {key: value for owner in owners for key, value in owner.get_object().items()}


class Marked(NamedTuple):
    """Something painted: the number by which the structure tree has it; none of an artifact, or of what is neither."""

    operator: str
    identity: int | None
    is_artifact: bool


def tags(document: Any) -> Iterator[Tag]:
    """Walk the structure tree of a document, in the order in which it is read aloud."""
    for child in _children(document.root_object["/StructTreeRoot"]):
        yield from _within(child, 0)


def _within(element: Any, depth: int) -> Iterator[Tag]:
    if "/S" not in element:  # a reference to an object, which is no element
        return
    yield Tag(str(element["/S"])[1:], str(element.get("/Alt", "")), depth, element)
    for child in _children(element):
        yield from _within(child, depth + 1)


def _children(element: Any) -> Iterator[Any]:
    given = element.get("/K", [])
    for child in given if isinstance(given, list) else [given]:
        found = child.get_object()
        if hasattr(found, "get"):
            yield found


def identities(document: Any) -> Iterator[tuple[int, int]]:
    """Name what marked content the structure tree holds, by its sheet's object number and its own number."""
    for tag in tags(document):
        sheet = tag.entries.get("/Pg")
        given = tag.entries.get("/K", [])
        for child in given if isinstance(given, list) else [given]:
            found = child.get_object()
            if isinstance(found, int):
                yield tag.entries.raw_get("/Pg").idnum if sheet is not None else 0, int(found)
            elif found.get("/Type") == "/MCR":
                where = found if "/Pg" in found else tag.entries
                yield where.raw_get("/Pg").idnum, int(found["/MCID"])


def painted(document: Any, sheet: Any) -> Iterator[Marked]:
    """Go through what a sheet paints, its form objects included, with what it is marked as."""
    yield from _painted(document, sheet.get_contents(), sheet.get("/Resources", {}), ())


def _painted(document: Any, content: Any, resources: Any, around: tuple[Any, ...]) -> Iterator[Marked]:
    from pypdf.generic import ContentStream

    stack: list[Any] = list(around)
    operations = content.operations if hasattr(content, "operations") else ContentStream(content, document).operations
    for operands, raw in operations:
        operator = raw.decode()
        if operator in {"BDC", "BMC"}:
            told = operands[1] if operator == "BDC" else {}
            stack.append((operands[0], told.get("/MCID") if hasattr(told, "get") else None))
        elif operator == "EMC":
            stack.pop()
        elif operator in PAINTING:
            thing = resources["/XObject"][operands[0]].get_object() if operator == "Do" else None
            if thing is not None and thing["/Subtype"] == "/Form":
                yield from _painted(document, thing, thing.get("/Resources", resources), tuple(stack))
            else:
                number = next((number for _, number in reversed(stack) if number is not None), None)
                yield Marked(operator, number, any(kind == "/Artifact" for kind, _ in stack))
    assert len(stack) == len(around)
