"""A trial as open data: a Frictionless Data Package in a zip, with its metadata and a data dictionary.

The zip holds a whole trial folder, so that whoever unpacks it can check and analyse it again. A table that stands in
the form that its schema describes goes in byte for byte; one that a spreadsheet program made something else of is
written anew.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import zipfile
from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import Any

import pandas as pd

from trialkit.documents.document import from_text, json_schema
from trialkit.documents.results import Results
from trialkit.documents.returns import Corrections
from trialkit.domain.factors import FACTOR_COLUMNS
from trialkit.domain.heads import OUTCOMES, Says
from trialkit.domain.table_names import PROTOCOL_FILE, TABLE_NAMES, TableName
from trialkit.protocol.publication import Licence
from trialkit.report import r_script
from trialkit.report.environment import REQUIREMENTS_FILE, requirements
from trialkit.report.exploring import DESCRIPTIONS, agreement_table, raw_records_svg
from trialkit.report.metadata import (
    CRATE_FILE,
    KEYWORDS,
    LICENCES,
    UNITS_FILE,
    contributors,
    datacite_record,
    miappe,
    ro_crate,
)
from trialkit.rules.kept_documents import CORRECTIONS
from trialkit.rules.trial_folder import CheckedTrial
from trialkit.tables.atomic import csv_text
from trialkit.tables.own_files import PACKAGE_FILE, archive_mark
from trialkit.tables.source_file import SourceText, read_source
from trialkit.tables.table_schema import load_schema, schema_document
from trialkit.tables.typed_tables import read_table
from trialkit.words.problem_words import accepted_words

PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"
FIXED_TIME = (1980, 1, 1, 0, 0, 0)
"""The earliest that a zip can hold: the same trial gives the same bytes."""
MIAPPE_FILE, DATACITE_FILE, DICTIONARY_FILE = "miappe.json", "datacite.json", "dictionary.md"
AGREEMENT_FILE, PICTURE_FILE = "agreement.csv", "explore/raw_records.svg"
CORRECTIONS_FILE = "corrections.csv"
RESULTS_PATH = "results/results.json"
OUTCOME_WORDS: Mapping[Says, str] = {
    "cut": "harvested; a head that nobody weighed counts among the marketable ones, and tells no weight.",
    "growing": "not ready in time, and so nothing to eat.",
    "lost": "lost, and so nothing to eat: it may be the treatment's doing.",
    "nothing": "nothing; it counts as a head without a record, taken to be missing at random.",
}


def data_package(trial: CheckedTrial, licence: Licence, results: bytes | None) -> bytes:
    """Pack a checked trial.

    Parameters
    ----------
    trial : CheckedTrial
    licence : {"CC-BY-4.0", "CC0-1.0"}
        Of the data.
    results : bytes, optional
        ``results.json``, where the trial was analysed as it stands.

    Returns
    -------
    bytes
        A zip; the same trial gives the same bytes.
    """
    tables = {name: frame for name, frame in _tables(trial).items() if len(frame)}
    files = {f"{name}.csv": _plain_csv(trial, f"{name}.csv", csv_text(frame)) for name, frame in tables.items()}
    files[UNITS_FILE] = csv_text(observation_units(trial)).encode("utf-8")
    resources = [_table_resource(name, list(tables[name].columns), files) for name in tables]
    resources.append(_units_resource(files))
    resources += _explored(trial, files)
    resources += _corrected(trial, files)
    files[PROTOCOL_FILE] = (trial.folder / PROTOCOL_FILE).read_bytes()
    resources.append(_resource("protocol", PROTOCOL_FILE, "The protocol of the trial.", "text/toml", files))
    if results is not None:
        files[RESULTS_PATH] = results
        resources.append(_resource("results", RESULTS_PATH, "What the analysis found.", "application/json", files))
        resources += _checked_in_r(from_text(Results, results.decode("utf-8")), files)
        files[REQUIREMENTS_FILE] = requirements().encode("utf-8")
    files[DICTIONARY_FILE] = dictionary(list(tables)).encode("utf-8")
    files[MIAPPE_FILE] = _json(miappe(trial, licence))
    files[DATACITE_FILE] = _json(datacite_record(trial, licence))
    files[CRATE_FILE] = _json(ro_crate(trial, licence, resources))
    files["README.md"] = _readme(trial, licence, files).encode("utf-8")
    with zipfile.ZipFile(io.BytesIO(_zipped(files))) as archive:
        identity = archive_mark(archive, PACKAGE_FILE)
    files[PACKAGE_FILE] = _json(_descriptor(trial, licence, resources, identity))
    return _zipped(files)


def _tables(trial: CheckedTrial) -> dict[TableName, pd.DataFrame]:
    """The trial's tables with the columns that their files have: what was written so already stays as it is."""
    found: dict[TableName, pd.DataFrame] = {}
    for name in TABLE_NAMES:
        schema = load_schema(name)
        source = read_source(trial.folder, schema.file)
        if isinstance(source, SourceText):
            missing = read_table(schema, source.text).missing_columns
            found[name] = getattr(trial, name)[[column for column in schema.columns if column not in missing]]
    return found


def _plain_csv(trial: CheckedTrial, name: str, anew: str) -> bytes:
    """A table as it stands where every cell says the same as in the plain form, else in the plain form."""
    data = (trial.folder / name).read_bytes()
    written = anew.encode("utf-8")
    if b"\r" in data or data.startswith(b"\xef\xbb\xbf"):
        return written
    stands, plain = (list(csv.reader(io.StringIO(text))) for text in (data.decode("utf-8"), anew))
    same = len(stands) == len(plain) and all(
        len(one) == len(other) and all(map(_says_the_same, one, other))
        for one, other in zip(stands, plain, strict=True)
    )
    return data if same else written


def _says_the_same(cell: str, plain: str) -> bool:
    try:
        return cell == plain or float(cell) == float(plain)
    except ValueError:
        return False


def observation_units(trial: CheckedTrial) -> pd.DataFrame:
    """Buckets as MIAPPE's observation units: identity, level, place, and the value of each factor."""
    layout = trial.layout
    places = [c for c in ("site", "block", "volunteer", "whole_plot", "row", "column", "position") if c in layout]
    told = [
        "; ".join(f"{place.replace('_', ' ')}:{value}" for place, value in row.items() if not _blank(value))
        for row in layout[places].to_dict("records")
    ]
    columns = {"observation_unit_id": layout["bucket"], "observation_unit_type": "bucket", "spatial_distribution": told}
    factors = {column: layout[column] for column in FACTOR_COLUMNS.values() if column in layout}
    return pd.DataFrame({**columns, **factors})


def _blank(value: object) -> bool:
    return value is None or value is pd.NA or value != value or value == ""


def _table_resource(name: TableName, columns: Sequence[str], files: Mapping[str, bytes]) -> dict[str, Any]:
    document = schema_document(name)
    document["fields"] = [field for field in document["fields"] if field["name"] in columns]
    document["foreignKeys"] = [
        key for key in document.get("foreignKeys", ()) if f"{key['reference']['resource']}.csv" in files
    ]
    if not document["foreignKeys"]:
        del document["foreignKeys"]
    title, description = document.pop("title"), str(document.pop("description"))
    del document["name"]
    return _table(name, f"{name}.csv", title, description, document, files)


def _units_resource(files: Mapping[str, bytes]) -> dict[str, Any]:
    layout = {field["name"]: field for field in schema_document("layout")["fields"]}
    fields: list[dict[str, Any]] = [
        {"name": "observation_unit_id", "type": "string", "description": "Identity of the bucket."},
        {"name": "observation_unit_type", "type": "string", "description": "Level of the unit."},
        {"name": "spatial_distribution", "type": "string", "description": "Where the bucket stood."},
    ]
    header = files[UNITS_FILE].split(b"\n", 1)[0].decode("utf-8").split(",")
    fields += [{**layout[name], "constraints": {}} for name in header if name in layout]
    schema = {"fields": fields, "missingValues": [""], "primaryKey": ["observation_unit_id"]}
    about = "Buckets as MIAPPE observation units."
    return _table("observation_units", UNITS_FILE, "Observation units", about, schema, files)


def _table(
    name: str, path: str, title: str, description: str, schema: Mapping[str, Any], files: Mapping[str, bytes]
) -> dict[str, Any]:
    made = _resource(name, path, description, "text/csv", files)
    return {**made, "type": "table", "title": title, "format": "csv", "encoding": "utf-8", "schema": schema}


def _explored(trial: CheckedTrial, files: dict[str, bytes]) -> Iterator[dict[str, Any]]:
    """Add what a statistician looks at first, where the records tell it."""
    if trial.heads.empty:
        return
    agreement = agreement_table(trial)
    if len(agreement):
        files[AGREEMENT_FILE] = csv_text(agreement).encode("utf-8")
        kinds = {"buckets": "integer", **dict.fromkeys(("dose_tsp", "value", "lower", "upper"), "number")}
        fields = [
            {"name": name, "type": kinds.get(name, "string"), "description": text}
            for name, text in DESCRIPTIONS.items()
        ]
        schema = {"fields": fields, "missingValues": [""]}
        about = "How well readings agree, and effect sizes."
        yield _table("agreement", AGREEMENT_FILE, "Agreement and effect sizes", about, schema, files)
    picture = raw_records_svg(trial)
    if picture is None:
        return
    files[PICTURE_FILE] = picture
    yield _resource("raw_records", PICTURE_FILE, "Weight of every bucket by treatment.", "image/svg+xml", files)


def _checked_in_r(results: Results, files: dict[str, bytes]) -> Iterator[dict[str, Any]]:
    """Add the analysis in R, and the figures that it stands beside."""
    if not any(r_script.repeated(results)):
        return
    files[r_script.FIGURES_FILE] = r_script.figures_csv(results).encode("utf-8")
    fields = [
        {"name": name, "type": "number" if name == "value" else "string", "description": text}
        for name, text in r_script.DESCRIPTIONS.items()
    ]
    schema = {"fields": fields, "missingValues": [""], "primaryKey": ["response", "kind", "key", "statistic"]}
    about = "Figures of the analysis, one a row, as analysis.R looks them up."
    yield _table("figures", r_script.FIGURES_FILE, "Figures", about, schema, files)
    files[r_script.SCRIPT_FILE] = r_script.r_script(results).encode("utf-8")
    yield _resource("analysis_in_r", r_script.SCRIPT_FILE, "The analysis once more, in R.", "text/x-r", files)


def _corrected(trial: CheckedTrial, files: dict[str, bytes]) -> Iterator[dict[str, Any]]:
    """Add what was put right in the records: as a table, and as the file that an analysis reads."""
    if not trial.corrections:
        return
    described = json_schema(Corrections, "corrections", "corrections")["$defs"]["Correction"]["properties"]
    about = {name: described[name]["description"] for name in described}
    about["key"] = "Key of the row, its parts with a blank between."
    rows = [{**vars(one), "key": " ".join(one.key)} for one in trial.corrections]
    files[CORRECTIONS_FILE] = csv_text(pd.DataFrame(rows, columns=list(about))).encode("utf-8")
    files[CORRECTIONS] = (trial.folder / CORRECTIONS).read_bytes()
    kinds = {"on": "date"}
    fields = [{"name": name, "type": kinds.get(name, "string"), "description": text} for name, text in about.items()]
    schema = {"fields": fields, "missingValues": [""]}
    title = "Corrections"
    yield _table("corrections", CORRECTIONS_FILE, title, "Values that were put right, and why.", schema, files)
    yield _resource("corrections_journal", CORRECTIONS, "The same for trialkit.", "application/json", files)


def _resource(name: str, path: str, description: str, mediatype: str, files: Mapping[str, bytes]) -> dict[str, Any]:
    data = files[path]
    return {
        "name": name,
        "path": path,
        "description": description,
        "mediatype": mediatype,
        "bytes": len(data),
        "hash": f"sha256:{hashlib.sha256(data).hexdigest()}",
    }


def _descriptor(
    trial: CheckedTrial, licence: Licence, resources: Sequence[Mapping[str, Any]], identity: str
) -> dict[str, Any]:
    about, told = trial.protocol.trial, trial.publication
    title, path = LICENCES[licence]
    return {
        "$schema": PROFILE,
        "id": identity,
        "name": about.id,
        "title": about.title,
        "description": about.question,
        "version": told.version,
        **({"created": f"{told.published_on.isoformat()}T00:00:00Z"} if told.published_on else {}),
        **({"contributors": contributors(told)} if told.people else {}),
        "licenses": [{"name": licence, "title": title, "path": path}],
        "keywords": list(KEYWORDS),
        "resources": list(resources),
    }


def dictionary(tables: Sequence[TableName]) -> str:
    """Every column of tables in Markdown: its type, unit, accepted values and meaning."""
    lines = ["# Data dictionary", ""]
    for name in tables:
        schema = load_schema(name)
        lines += [f"## {schema.file}", "", schema.description, "", f"Key: {', '.join(schema.primary_key)}.", ""]
        lines += ["| column | type | unit | values | meaning |", "|---|---|---|---|---|"]
        for field in schema.fields:
            values = accepted_words(field) if field.enum or field.minimum is not None else ""
            if field.usual_minimum is not None:
                values += f", mostly {field.usual_minimum} to {field.usual_maximum}"
            cells = (field.name, field.type, field.unit or "", values, field.description)
            lines.append("| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |")
        lines.append("")
        lines += _outcomes() if name == "heads" else []
    return "\n".join(lines)


def _outcomes() -> Iterator[str]:
    """What each outcome says of the treatment, as every analysis takes it."""
    yield "What an outcome says of the treatment:"
    yield ""
    for says, words in OUTCOME_WORDS.items():
        yield f"- {', '.join(name or '(empty)' for name, one in OUTCOMES.items() if one == says)}: {words}"
    yield ""


def _readme(trial: CheckedTrial, licence: Licence, files: Collection[str]) -> str:
    """Tell of what is in the package, of the files named."""
    about = trial.protocol.trial
    picture = ["explore/raw_records.svg shows the weight of every bucket by treatment and garden.", ""]
    agreement = [
        "agreement.csv tells how well pH read after mixing agrees with pH foreseen from water and acid (intraclass",
        "correlation: low where all buckets were brought to about the same pH), and the effect of each treatment",
        "against the current practice in standard deviations of buckets (Hedges' g), blocks and gardens left out of",
        "account, as they are not by the analysis.",
        "",
    ]
    lines = [
        f"# {about.title}",
        "",
        about.question,
        "",
        "A trial of lettuce in buckets of still nutrient solution, as open data: a Frictionless Data Package. Each",
        "table is described in datapackage.json, and in words in dictionary.md. The trial is described under the",
        "names of MIAPPE 1.2 (miappe.json), of DataCite (datacite.json) and as an RO-Crate",
        "(ro-crate-metadata.json). One row of heads.csv is a head, but treatments were given to buckets: the bucket",
        "is the replicate.",
        "",
        *(picture if PICTURE_FILE in files else ()),
        *(agreement if AGREEMENT_FILE in files else ()),
        f"Licence of the data: {LICENCES[licence][0]} ({LICENCES[licence][1]}).",
        "",
        *(_repeating(files) if RESULTS_PATH in files else ()),
    ]
    return "\n".join(lines).rstrip() + "\n"


def _repeating(files: Collection[str]) -> Iterator[str]:
    """Say how the analysis is repeated: by trialkit as it was, and in R."""
    yield from (
        "To repeat the analysis, unpack and run here:",
        "",
        "    python3 -m venv again",
        f"    again/bin/pip install -r {REQUIREMENTS_FILE}",
        "    again/bin/trialkit report .",
        "    again/bin/trialkit report . --verify",
        "",
        f"On Windows it is again\\Scripts in place of again/bin. {REQUIREMENTS_FILE} names trialkit and every",
        "library with its version. Where pip cannot find trialkit itself, give it the folder of trialkit's wheel by",
        "--find-links FOLDER.",
        "The last line analyses the tables again and compares all that comes out with results/results.json.",
        "",
    )
    if r_script.SCRIPT_FILE in files:
        yield from (
            "To check it by other programs, in R with lme4, lmerTest, pbkrtest and emmeans:",
            "",
            f"    Rscript {r_script.SCRIPT_FILE}",
            "",
            "It reads the tables as they stand, prints its figures beside ours (figures.csv), and says where and why",
            f"they rightly differ. It was tried with {r_script.TRIED_WITH}.",
        )


def _json(document: Mapping[str, Any]) -> bytes:
    return (json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n").encode("utf-8")


def _zipped(files: Mapping[str, bytes]) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in sorted(files):
            entry = zipfile.ZipInfo(name, FIXED_TIME)
            entry.compress_type, entry.external_attr = zipfile.ZIP_DEFLATED, 0o644 << 16
            archive.writestr(entry, files[name])
    return stream.getvalue()
