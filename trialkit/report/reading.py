"""Results read once: which response leads, what was varied, and the part each treatment plays on the page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from trialkit.pages.numerals import is_number

Json = Mapping[str, Any]
Key = tuple[Any, ...]
Part = Literal["recommended", "current", "kept", "rival", "other"]

PART_WORDS: Mapping[Part, str] = {
    "recommended": "recommended",
    "current": "current practice",
    "kept": "current practice, kept",
    "rival": "best alternative",
    "other": "",
}
USUAL_CONFIDENCE = 0.95


@dataclass(frozen=True)
class Reading:
    """Results with the questions that every section asks of them.

    Attributes
    ----------
    results : Mapping
        The document itself, its text made safe.
    response : Mapping or None
        The response that the pictures show: head weight, or days where only they could be analysed.
    columns : tuple of str
        Columns of the varied factors, in factorial order.
    """

    results: Json
    response: Json | None
    columns: tuple[str, ...]

    @property
    def design(self) -> Json:
        """The design's description."""
        return mapping(self.results.get("design"))

    @property
    def decision(self) -> Json:
        """The decision; empty where none could be made."""
        return mapping(self.results.get("decision"))

    @property
    def confidence(self) -> float:
        """Confidence of the intervals, 0 to 1."""
        given = mapping(self.decision.get("thresholds")).get("confidence")
        return float(given) if is_number(given) else USUAL_CONFIDENCE

    @property
    def unit(self) -> str:
        """Unit of the leading response."""
        return str((self.response or {}).get("unit") or "")

    def key(self, treatment: Any) -> Key:
        """Levels of a treatment in the order of the columns, to compare treatments by."""
        levels = mapping(treatment)
        return tuple(levels.get(column) for column in self.columns)

    def rows(self, name: str) -> tuple[Json, ...]:
        """Rows of one of the leading response's lists."""
        return rows(self.response, name)

    def find(self, name: str, treatment: Any) -> Json:
        """Row of one of the leading response's lists for a treatment; empty if there is none."""
        return next((row for row in self.rows(name) if self.key(row.get("treatment")) == self.key(treatment)), {})

    @property
    def current(self) -> Json:
        """Treatment that is current practice."""
        return mapping(self.decision.get("current"))

    @property
    def recommended(self) -> Json:
        """Treatment that is recommended."""
        return mapping(self.decision.get("recommended"))

    @property
    def is_kept(self) -> bool:
        """Whether the current practice stays."""
        return bool(self.current) and self.key(self.current) == self.key(self.recommended)

    @property
    def rival(self) -> Json:
        """Candidate to set beside the current practice: the one recommended, or else the most promising other."""
        return mapping(self.decision.get("alternative"))

    @property
    def candidates(self) -> tuple[Json, ...]:
        """Candidates of the decision."""
        return rows(self.decision, "candidates")

    def candidate(self, treatment: Any) -> Json:
        """Candidate row of a treatment; empty if there is none."""
        return next((c for c in self.candidates if self.key(c.get("treatment")) == self.key(treatment)), {})

    def part(self, treatment: Any) -> Part:
        """Part that a treatment plays."""
        key = self.key(treatment)
        if self.current and key == self.key(self.current):
            return "kept" if self.is_kept else "current"
        if self.recommended and key == self.key(self.recommended):
            return "recommended"
        return "rival" if self.rival and key == self.key(self.rival) else "other"

    def levels(self, column: str) -> tuple[Any, ...]:
        """Levels of a varied factor, as the protocol orders them."""
        for factor in rows(self.design, "factors"):
            if factor.get("column") == column:
                return tuple(factor.get("levels") or ())
        return ()


def read(results: Json) -> Reading:
    """Read results whose text has been made safe.

    Parameters
    ----------
    results : Mapping
        As ``results.json`` holds them.
    """
    responses = mapping(results.get("responses"))
    order = sorted(responses, key=lambda name: (name != "weight_g", name != "days", name))
    analysed = [mapping(responses[name]) for name in order if is_analysed(responses[name])]
    factors = rows(mapping(results.get("design")), "factors")
    return Reading(results, analysed[0] if analysed else None, tuple(str(f.get("column")) for f in factors))


def is_analysed(response: Any) -> bool:
    """Whether a response has an answer."""
    return mapping(response).get("status") == "analysed"


def mapping(value: Any) -> Json:
    """Return the value if it is a mapping, an empty one otherwise: results may hold null anywhere."""
    return value if isinstance(value, Mapping) else {}


def rows(owner: Any, name: str) -> tuple[Json, ...]:
    """Return the mappings in a list of a mapping; none where it is null or missing."""
    value = mapping(owner).get(name)
    return tuple(mapping(row) for row in value) if isinstance(value, Sequence) and not isinstance(value, str) else ()


def texts(owner: Any, name: str) -> tuple[str, ...]:
    """Return the texts in a list of a mapping; none where it is null or missing."""
    value = mapping(owner).get(name)
    return tuple(str(text) for text in value if text) if isinstance(value, list | tuple) else ()
