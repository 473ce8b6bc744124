"""What was begun at the desk and is not done: a trial half typed, files that wait, what a change of a plan replaced."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated, Any, Literal

from trialkit.documents.document import Closed, SealedLater
from trialkit.documents.returns import Choice, Seal


@dataclass(frozen=True)
class FileAnswers(Closed):
    """What was answered for a file, by the names that `trialkit merge` gives its answers."""

    options: Annotated[Mapping[str, str], "Of dates, decimals, serials and weights."] = field(default_factory=dict)
    accept: Annotated[tuple[str, ...], "Rules."] = ()
    headings: Annotated[Mapping[str, str], "Columns by folded heading; empty: it is left out."] = field(
        default_factory=dict
    )
    why: Annotated[str, "Why what it says otherwise is taken; empty where it is not."] = ""

    @property
    def told(self) -> dict[str, Any]:
        """As `Trial.merge` takes it."""
        told: dict[str, Any] = {**self.options, "accept": self.accept, "headings": dict(self.headings)}
        return told | ({"why": self.why} if self.why else {})

    @property
    def words(self) -> tuple[str, ...]:
        """As `trialkit merge` takes it."""
        options = [word for name, value in self.options.items() for word in (f"--{name}", value)]
        accepted = [word for rule in self.accept for word in ("--accept", rule)]
        headed = [word for text, column in self.headings.items() for word in ("--heading", f"{text}={column}")]
        return (*options, *accepted, *headed, *(("--why", self.why) if self.why else ()))


@dataclass(frozen=True)
class WaitingFile(Closed):
    """A returned file that waits, in a folder of its own."""

    id: Annotated[str, "Name of its folder."]
    name: Annotated[str, "As it was given, but for what no file may be called."]
    answered: Annotated[FileAnswers, "What was answered for it."] = field(default_factory=FileAnswers)


@dataclass(frozen=True)
class WaitingFiles(SealedLater):
    """.desk/waiting.json of a trial: the files that wait to be merged, in the order in which they came."""

    format: Annotated[Literal["trialkit-waiting-1"], "Name and version of this form."] = "trialkit-waiting-1"
    files: Annotated[tuple[WaitingFile, ...], "The files."] = ()
    choices: Annotated[Mapping[str, Choice], "What was chosen of conflicts, by their identity."] = field(
        default_factory=dict
    )
    sha256: Seal = field(default="", compare=False)


@dataclass(frozen=True)
class PlanBefore(SealedLater):
    """.desk/plan.json of a trial: what the last change of its plan replaced."""

    format: Annotated[Literal["trialkit-plan-before-1"], "Name and version of this form."] = "trialkit-plan-before-1"
    keys: Annotated[Mapping[str, str], "Values of keys as one types them; empty where a key was not there."] = field(
        default_factory=dict
    )
    tables: Annotated[Mapping[Literal["sites", "products", "people"], str], "Whole tables."] = field(
        default_factory=dict
    )
    after: Annotated[Mapping[str, str], "Digests of the files as the change left them."] = field(default_factory=dict)
    frozen: Annotated[bool, "Whether the layout was frozen then."] = False
    sha256: Seal = field(default="", compare=False)


@dataclass(frozen=True)
class TrialDraft(SealedLater):
    """A file of .desk/drafts: a trial that somebody began to type."""

    format: Annotated[Literal["trialkit-draft-1"], "Name and version of this form."] = "trialkit-draft-1"
    step: Annotated[int, "The page on which it was left."] = 1
    typed: Annotated[Mapping[str, str], "What was typed, by the names of fields."] = field(default_factory=dict)
    sha256: Seal = field(default="", compare=False)
