"""What the commands about evidence do with a ledger, and the sentences they say."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from trialkit.documents.ledger_entry import SHOWN_DIGITS
from trialkit.domain.errors import WrongCall
from trialkit.domain.progress import each_told, working_on
from trialkit.languages import translatable
from trialkit.pages.printable import printable
from trialkit.pages.safe_text import columns_taken
from trialkit.steps.trial_steps import RESULTS_FILE, RESULTS_FOLDER, read_results
from trialkit.words.phrases import count

if TYPE_CHECKING:
    from trialkit.documents.ledger_entry import EvidenceList, Listed, ListedVersion
    from trialkit.documents.recommended import Recommended
    from trialkit.documents.results import Results
    from trialkit.languages import Language
    from trialkit.protocol.county import CountyBlock

POOL_PAGE = "pool.html"


def add_trial(folder: Path, ledger: Path) -> tuple[Listed, str]:
    """Accept an analysed trial, whose records must give its results when they are analysed again."""
    from trialkit.evidence.accepting import require_recomputed, trial_entry
    from trialkit.evidence.ledger import add
    from trialkit.rules.trial_folder import read_trial

    trial, (results, written) = read_trial(folder), _results(folder)
    entry = trial_entry(trial, results, written)
    require_recomputed(trial, results)
    one = add(ledger, entry, date.today())
    return one, (
        f"Added {one.id[:SHOWN_DIGITS]} to {ledger}: {_named(one.trial, one.season)}, {one.heads} heads in "
        f"{one.buckets} buckets at {count(one.gardens, 'garden')}."
    )


def entry_of(folder: Path, ledger: Path) -> tuple[Listed | None, bool]:
    """Return the entry of a trial that counts, None where there is none; and whether it holds its records as they are.

    Raises
    ------
    WrongCall, NotComputed
        If the trial has no results, or they cannot be read.
    """
    from trialkit.domain.table_names import PROTOCOL_FILE
    from trialkit.evidence.ledger import digest_of_inputs, name_in_ledger
    from trialkit.evidence.verifying import verify
    from trialkit.protocol.trial_protocol import read_protocol

    name = name_in_ledger(read_protocol(folder / PROTOCOL_FILE), folder)
    now = digest_of_inputs({one.file: one.sha256 for one in read_results(folder).inputs})
    found = [one for one in verify(ledger).index.listed if one.counts and one.kind == "trial" and one.trial == name]
    return (found[0], found[0].inputs_sha256 == now) if found else (None, False)


def _results(folder: Path) -> tuple[Results, bytes]:
    """Results of a trial, and results.json as it stands."""
    return read_results(folder), (folder / RESULTS_FOLDER / RESULTS_FILE).read_bytes()


def add_means(path: Path, ledger: Path) -> tuple[Listed, str]:
    """Accept a table of means and standard errors."""
    from trialkit.evidence.ledger import add
    from trialkit.evidence.summary_results import summary_entry

    one = add(ledger, summary_entry(path), date.today())
    return one, f"Added {one.id[:SHOWN_DIGITS]} to {ledger}: older means of {one.title}."


def withdraw_entry(ledger: Path, start: str, why: str) -> tuple[Listed, str]:
    """Withdraw an entry."""
    from trialkit.evidence.ledger import withdraw

    one = withdraw(ledger, start, why, date.today())
    named = f"{one.id[:SHOWN_DIGITS]}, {_named(one.trial, one.season)}"
    return one, f"Withdrawn: {named}. It stays in {ledger} with the reason."


def readmit_entry(ledger: Path, start: str, why: str) -> tuple[Listed, str]:
    """Let a withdrawn entry count again."""
    from trialkit.evidence.ledger import readmit

    one = readmit(ledger, start, why, date.today())
    return one, f"Counts again: {one.id[:SHOWN_DIGITS]}, {_named(one.trial, one.season)}. {ledger} keeps both reasons."


def pool_ledger(ledger: Path) -> tuple[Recommended, str, str]:
    """Pool a ledger and write its page; give what was found as a document and as text, and what was done."""
    from trialkit._version import __version__
    from trialkit.evidence.versions import pool_now
    from trialkit.planning.next_trial import propose
    from trialkit.report.evidence_page import evidence_html
    from trialkit.words import default_words as words

    working_on("what all trials say")
    document = pool_now(ledger, __version__, propose)
    working_on("the page")
    path = ledger / POOL_PAGE
    _write_pages(ledger, {POOL_PAGE: evidence_html(document).encode("utf-8")})
    lines = [
        *words.answer(document, document.measures),
        words.trial_by_trial(document, document.measures),
        *words.what_is_not_known(document),
        f"{words.next_trial(document, document.measures)} {words.why_next(document, document.measures)}",
    ]
    return document, "\n".join(lines), f"Written to {path}."


def read_recommended(ledger: Path) -> Recommended:
    """Read the newest version of the defaults."""
    from trialkit.evidence.verifying import verify

    versions = verify(ledger).versions
    if not versions:
        raise WrongCall(
            translatable("{ledger} has no defaults yet: run trialkit recommend {ledger} first."), ledger=ledger
        )
    return versions[-1].document


def is_current(ledger: Path) -> bool:
    """Whether the newest version of the defaults, and no other beside it, rests on all that counts now."""
    from trialkit.evidence.ledger_contents import read_ledger
    from trialkit.evidence.versions import is_same_evidence

    return is_same_evidence(read_ledger(ledger))


def recommend_from(ledger: Path, languages: Sequence[Language] = ()) -> tuple[Recommended, str, str]:
    """Write the recommended defaults and the handout; give them as a document and as text, and what was done.

    Parameters
    ----------
    ledger : Path
    languages : sequence of str, optional
        Of what gardeners get, the first under the plain names; the county's where none is given.
    """
    from trialkit._version import __version__
    from trialkit.documents.document import digest_of
    from trialkit.domain.errors import NotComputed
    from trialkit.evidence.versions import recommend_anew
    from trialkit.planning.next_trial import propose
    from trialkit.protocol.county import read_county
    from trialkit.report.handout import usual_language
    from trialkit.words import default_words as words

    block = read_county(ledger)  # before anything is written: what is wrong with it is told first
    working_on("what all trials say")
    version = recommend_anew(ledger, __version__, propose)
    document = version.document
    wanted = tuple(dict.fromkeys(languages)) or (usual_language(document, block),)
    files: dict[str, bytes] = {}
    missing = ""
    for place, language in enumerate(each_told(wanted, "the pages for gardeners")):
        pages = _pages_for_gardeners(document, block, language)
        ending = f"-{language}" if place else ""
        files |= {f"{name}{ending}.html": page.encode("utf-8") for name, page in pages.items()}
        try:
            files |= _as_pdf({f"{name}{ending}": page for name, page in pages.items()})
        except NotComputed as error:
            missing = f"\n{error}"
    gone = _pages_not_asked_for(ledger, wanted[1:])
    _write_pages(ledger, files, document, gone)
    written = [version.path, *(ledger / name for name in files)]
    news = "new" if version.is_new else "as before: nothing in the ledger changed"
    lines = [
        *filter(None, [version.copy_problem]),
        f"Version {document.version} ({news}).",
        *words.answer(document, document.measures),
        *(words.changes(document, document.measures) if version.is_new else ()),
        f"{words.next_trial(document, document.measures)} {words.why_next(document, document.measures)}",
    ]
    done = [
        f"Written to {', '.join(map(str, written))}.{missing}",
        *([f"Taken away, as their language was not asked for: {', '.join(gone)}."] if gone else ()),
        f"The handout bears the digest {digest_of(document)[:SHOWN_DIGITS]}; evidence list shows it, too.",
        f"Next: trialkit new DIR --from {ledger}",
    ]
    return document, "\n".join(lines), "\n".join(done)


def _pages_for_gardeners(document: Recommended, block: CountyBlock | None, language: Language) -> dict[str, str]:
    from trialkit.report.care_page import care_html
    from trialkit.report.handout import handout_html

    return {
        "handout": handout_html(document, block, language),
        "handout_large": handout_html(document, block, language, large=True),
        "care": care_html(document, block, language),
    }


def _as_pdf(pages: Mapping[str, str]) -> dict[str, bytes]:
    from trialkit.report.handout_pdf import PAPERS, handout_pdf

    sheets = [(name, paper) for name in pages for paper in PAPERS]
    return {f"{name}-{paper}.pdf": handout_pdf(pages[name], paper) for name, paper in each_told(sheets, "their PDFs")}


def _pages_not_asked_for(ledger: Path, others: Sequence[Language]) -> tuple[str, ...]:
    """Name the pages of earlier calls, in further languages, that this one does not write: they tell old versions."""
    from trialkit.languages import LANGUAGES
    from trialkit.tables.own_files import is_own

    gone = [language for language in LANGUAGES if language not in others]
    named = ((kind, path.name) for kind in ("handout", "care") for path in sorted(ledger.glob(f"{kind}*-*")))
    return tuple(
        name
        for kind, name in named
        if any(re.fullmatch(rf"{kind}(_large)?-{language}(-[a-z0-9]+\.pdf|\.html)", name) for language in gone)
        and is_own(ledger / name, "handout as PDF" if name.endswith(".pdf") else f"trialkit {kind}")
    )


def _write_pages(
    ledger: Path, files: Mapping[str, bytes], of: Recommended | None = None, gone: Sequence[str] = ()
) -> None:
    """Write what is printed of a ledger, all of it or none; pages of a version, unless another came meanwhile."""
    from trialkit.documents.document import as_text
    from trialkit.evidence.kept_versions import RECOMMENDED_FILE
    from trialkit.evidence.ledger import locked
    from trialkit.tables.committing import finish, write_outputs

    with locked(ledger):
        finish(ledger)
        if of is None or (ledger / RECOMMENDED_FILE).read_text("utf-8") == as_text(of):
            write_outputs(ledger, files, gone)


def listing(ledger: Path) -> tuple[EvidenceList, str]:
    """List a ledger, as a document and as text, with what is wrong with it."""
    from trialkit.documents.ledger_entry import EvidenceList, ListedVersion
    from trialkit.evidence.verifying import verify

    found = verify(ledger)
    index, damaged = found.index.listed, (*found.problems, *filter(None, [found.copy_problem]))
    versions = tuple(ListedVersion(one.document.version, one.sha256) for one in found.versions)
    document = EvidenceList("trialkit-evidence-list-1", index, versions, found.index.state, damaged)
    rows = [("id", "trial", "season", "gardens", "buckets", "heads", "")]
    rows += [
        (
            one.id[:SHOWN_DIGITS],
            printable(one.trial),
            printable(one.season),
            str(one.gardens),
            str(one.buckets),
            str(one.heads),
            "" if one.counts else f"withdrawn {one.withdrawn_on}: {printable(one.why or '')}",
        )
        for one in index
    ]
    widths = [max(columns_taken(row[i]) for row in rows) for i in range(len(rows[0]))]
    lines = ["  ".join(_padded(cell, width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]
    counted = sum(one.counts for one in index)
    sound = "every file is as it was added" if not damaged else f"{len(damaged)} damaged"
    lines.append(f"{counted} of {len(index)} {'entry counts' if len(index) == 1 else 'entries count'}; {sound}.")
    if versions:
        lines.append(f"Versions of the defaults: {', '.join(map(_version_named, versions))}.")
    if not found.index.is_bound:
        lines.append(
            "An older trialkit wrote this ledger without binding its lines to each other. The next line binds them."
        )
    elif document.state:
        lines.append(f"State {document.state[:SHOWN_DIGITS]}.")
    return document, "\n".join(lines)


def _version_named(one: ListedVersion) -> str:
    return f"{one.version} ({one.sha256[:SHOWN_DIGITS]})"


def _named(trial: str, season: str) -> str:
    return f"{trial} ({season})" if season else trial


def _padded(text: str, width: int) -> str:
    return text + " " * (width - columns_taken(text))


@contextmanager
def as_ledger(source: Path) -> Iterator[Path]:
    """Give a ledger as it is, and an analysed trial as a ledger of one, put aside for as long."""
    from trialkit.domain.table_names import PROTOCOL_FILE
    from trialkit.evidence.ledger_index import INDEX

    if (source / INDEX).is_file():
        yield source
    elif (source / PROTOCOL_FILE).is_file():
        from trialkit.evidence.accepting import trial_entry
        from trialkit.evidence.ledger import add
        from trialkit.rules.trial_folder import read_trial

        with tempfile.TemporaryDirectory() as aside:
            ledger = Path(aside) / "ledger"
            add(ledger, trial_entry(read_trial(source), *_results(source)), date.today())
            yield ledger
    else:
        raise WrongCall(
            translatable(
                "{source} is no ledger (it has no {index}) and no trial (it has no {protocol_file}). Name the folder "
                "of one of them."
            ),
            source=source,
            index=INDEX,
            protocol_file=PROTOCOL_FILE,
        )
