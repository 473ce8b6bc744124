"""Files that are small to send and dear to read: each asks for more memory or time than any record does."""

from __future__ import annotations

import io
import json
import zipfile
import zlib
from collections.abc import Callable, Mapping
from random import Random

from returned_files import good_return
from trialkit.domain.reading_budget import Measure

Make = Callable[[], bytes]
PICTURE = Random(1).randbytes(600_000)
"""What cannot be packed, so that nothing else is told by how small the whole is."""
SHEET = "xl/worksheets/sheet1.xml"
_MAIN = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
_RELATIONS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_TYPES = "application/vnd.openxmlformats-officedocument.spreadsheetml"
_COLUMN = '<col min="1" max="16384" hidden="1"/>'
_HEADINGS = ("bucket", "head", "transplanted_on", "outcome", "harvested_on", "last_not_ready_on", "weight_g")


def workbook(rows: str, *, shared: str = "", before: str = "", after: str = "", names: str = "") -> bytes:
    """Write a workbook of one sheet, heads, whose XML is given; `names` stand in the book, `shared` are its texts."""
    parts = {
        "[Content_Types].xml": '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
        '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        f'<Override PartName="/xl/workbook.xml" ContentType="{_TYPES}.sheet.main+xml"/>'
        f'<Override PartName="/{SHEET}" ContentType="{_TYPES}.worksheet+xml"/>'
        f'<Override PartName="/xl/sharedStrings.xml" ContentType="{_TYPES}.sharedStrings+xml"/></Types>',
        "_rels/.rels": '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
        f'<Relationship Id="rId1" Type="{_RELATIONS}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook {_MAIN} xmlns:r="{_RELATIONS}"><sheets><sheet name="heads" sheetId="1" '
        f'r:id="rId1"/></sheets>{names}</workbook>',
        "xl/_rels/workbook.xml.rels": '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/'
        f'relationships"><Relationship Id="rId1" Type="{_RELATIONS}/worksheet" Target="worksheets/sheet1.xml"/>'
        f'<Relationship Id="rId2" Type="{_RELATIONS}/sharedStrings" Target="sharedStrings.xml"/></Relationships>',
        SHEET: f"<worksheet {_MAIN}>{before}<sheetData>{_row(1, _HEADINGS)}{rows}</sheetData>{after}</worksheet>",
        "xl/sharedStrings.xml": f"<sst {_MAIN}>{shared}</sst>",
    }
    return zipped({name: text.encode() for name, text in parts.items()} | {"xl/media/image1.png": PICTURE})


def zipped(parts: Mapping[str, bytes]) -> bytes:
    """Write an archive."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    return stream.getvalue()


def _row(number: int, texts: tuple[str, ...]) -> str:
    cells = "".join(
        f'<c r="{chr(65 + i)}{number}" t="inlineStr"><is><t>{text}</t></is></c>' for i, text in enumerate(texts)
    )
    return f'<row r="{number}">{cells}</row>'


def _phone(tables: str) -> bytes:
    check = f"{zlib.crc32(tables.encode()):08x}"
    marks = ", ".join(f'"{name}": "{value}"' for name, value in vars(good_return().marks()).items())
    return f'{{"format": "trialkit-phone-1", {marks}, "site": "FERN", "tables": {tables}, "check": "{check}"}}'.encode()


def _lying_size() -> bytes:
    """Say in the archive's list that a sheet of 70 MB has 1,000 bytes."""
    data = bytearray(workbook("<row/>" * 2 + " " * 70_000_000))
    with zipfile.ZipFile(io.BytesIO(bytes(data))) as archive:
        entry = archive.getinfo(SHEET)
    listed = data.index(b"PK\x01\x02", entry.header_offset)
    while SHEET.encode() not in data[listed : listed + 46 + len(SHEET)]:
        listed = data.index(b"PK\x01\x02", listed + 4)
    for at in (listed + 24, entry.header_offset + 22):
        data[at : at + 4] = (1000).to_bytes(4, "little")
    return bytes(data)


def _entities() -> bytes:
    """Nine entities, each of ten of the one before it: a thousand million texts."""
    nested = "".join(f'<!ENTITY e{i} "{f"&e{i - 1};" * 10}">' for i in range(1, 10))
    doctype = f'<!DOCTYPE sst [<!ENTITY e0 "lettuce">{nested}]>'
    plain = dict(_parts(workbook('<row r="2"><c r="A2" t="s"><v>0</v></c></row>')))
    padded = "<?xml version='1.0'?>" + " " * 5000 + f"{doctype}<sst {_MAIN}><si><t>&e9;</t></si></sst>"
    return zipped({**plain, "xl/sharedStrings.xml": padded.encode()})


def _parts(data: bytes) -> list[tuple[str, bytes]]:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return [(name, archive.read(name)) for name in archive.namelist()]


def _shared_cells(count: int) -> str:
    return "".join(
        f'<row r="{2 + i}">' + "".join(f'<c r="{chr(65 + j)}{2 + i}" t="s"><v>0</v></c>' for j in range(6)) + "</row>"
        for i in range(count // 6)
    )


RETURNED: dict[str, tuple[str, Make]] = {
    "a shared text of 20 MB in 480 cells": (
        "a.xlsx",
        lambda: workbook(_shared_cells(480), shared=f"<si><t>{'x' * 20_000_000}</t></si>"),
    ),
    "a shared text of 30,000 letters in 99,000 cells": (
        "a.xlsx",
        lambda: workbook(_shared_cells(99_000), shared=f"<si><t>{'é' * 30_000}</t></si>"),
    ),
    "a million cells without attributes": ("a.xlsx", lambda: workbook(f"<row>{'<c/>' * 100}</row>" * 10_000)),
    "a million cells with values and no places": (
        "a.xlsx",
        lambda: workbook(f"<row>{'<c><v>1</v></c>' * 100}</row>" * 10_000),
    ),
    "cells that are written with a prefix": (
        "a.xlsx",
        lambda: workbook(
            f"<row>{'<y:c><y:v>1</y:v></y:c>' * 100}</row>".replace("<row>", f'<row xmlns:y="{_MAIN[7:-1]}">') * 6_000
        ),
    ),
    "a million rows without cells": ("a.xlsx", lambda: workbook("<row/>" * 1_000_000)),
    "one cell at the last row and column": (
        "a.xlsx",
        lambda: workbook('<row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'),
    ),
    "a dimension that lies": (
        "a.xlsx",
        lambda: workbook(_row(2, ("A", "1")), before='<dimension ref="A1:XFD1048576"/>'),
    ),
    "a hundred thousand merged ranges": (
        "a.xlsx",
        lambda: workbook(
            _row(2, ("A", "1")),
            after="<mergeCells>"
            + "".join(f'<mergeCell ref="A{i}:B{i}"/>' for i in range(2, 100_002))
            + "</mergeCells>",
        ),
    ),
    "a merged range as large as a sheet": (
        "a.xlsx",
        lambda: workbook(_row(2, ("A", "1")), after='<mergeCells><mergeCell ref="A1:XFD1048576"/></mergeCells>'),
    ),
    "200,000 columns with a shape": (
        "a.xlsx",
        lambda: workbook(_row(2, ("A", "1")), before="<cols>" + _COLUMN * 200_000 + "</cols>"),
    ),
    "a hundred thousand defined names": (
        "a.xlsx",
        lambda: workbook(
            _row(2, ("A", "1")),
            names="<definedNames>"
            + "".join(f'<definedName name="n{i}">heads!$A$1</definedName>' for i in range(100_000))
            + "</definedNames>",
        ),
    ),
    "elements nested 100,000 deep": (
        "a.xlsx",
        lambda: workbook("<row>" + "<x>" * 100_000 + "</x>" * 100_000 + "</row>"),
    ),
    "a thousand million entities": ("a.xlsx", _entities),
    "an archive that lies about a size": ("a.xlsx", _lying_size),
    "an archive of 2,100 files": (
        "a.xlsx",
        lambda: zipped({**dict(_parts(workbook(""))), **{f"xl/{i}": b"" for i in range(2_100)}}),
    ),
    "one line of 9.9 MB": ("a.csv", lambda: ",".join(_HEADINGS).encode() + b"\n" + b"x" * 9_900_000),
    "one line of 50 MB": ("a.csv", lambda: b"x" * 50_000_000),
    "a million empty rows": ("a.csv", lambda: ",".join(_HEADINGS).encode() + b"\n,,,,,," * 1_000_000),
    "nine million line ends": ("a.csv", lambda: ",".join(_HEADINGS).encode() + b"\n" * 9_000_000),
    "a hundred thousand columns": (
        "a.csv",
        lambda: (",".join(_HEADINGS) + ",x" * 100_000 + "\n" + "1," * 99_000).encode(),
    ),
    "commas alone": ("a.csv", lambda: b"bucket,head" + b"," * 9_900_000),
    "quotation marks alone": ("a.csv", lambda: b"bucket,head\n" + b'"' * 9_900_001),
    "an open quotation mark before 9.9 MB": ("a.csv", lambda: b"bucket,head\n" + b'"a\n' + b"b,1\n" * 2_400_000),
    "19,900 labels that no garden has": (
        "a.csv",
        lambda: b"bucket,head,outcome\n" + b"".join(b"B%05dX,1,dead\n" % i for i in range(19_900)),
    ),
    "19,900 cells of 200 letters": (
        "a.csv",
        lambda: (
            b"bucket,head,outcome\n" + b"".join(b"%d%s,1,%s\n" % (i, b"y" * 230, b"z" * 230) for i in range(19_900))
        ),
    ),
    "19,900 rows that say the same": (
        "a.csv",
        lambda: good_return().csv().encode() + good_return().csv().encode().splitlines(keepends=True)[1] * 19_900,
    ),
    "19,900 labels in small letters": (
        "a.csv",
        lambda: b"bucket,head,outcome\n" + b"".join(b"334x,1,'dead' \n" for i in range(19_900)),
    ),
    "99,000 cells with formulas": (
        "a.xlsx",
        lambda: workbook(
            "".join(f'<row r="{i}">' + f"<c><f>A1</f><v>{i}</v></c>" * 9 + "</row>" for i in range(2, 11_002))
        ),
    ),
    "19,000 formats": (
        "a.xlsx",
        lambda: workbook(
            _row(2, ("A", "1")),
            after="".join(
                f'<conditionalFormatting sqref="A{i}"><cfRule type="expression" priority="{i}"><formula>A1</formula>'
                "</cfRule></conditionalFormatting>"
                for i in range(1, 6_200)
            ),
        ),
    ),
    "990 merged ranges of 100 cells": (
        "a.xlsx",
        lambda: workbook(
            _row(2, ("A", "1")),
            after="<mergeCells>" + "".join(f'<mergeCell ref="A{i}0:J{i}9"/>' for i in range(1, 991)) + "</mergeCells>",
        ),
    ),
    "braces nested 100,000 deep": ("a.json", lambda: _phone('{"heads": ' + "[" * 100_000 + "]" * 100_000 + "}")),
    "braces nested 900 deep": ("a.json", lambda: _phone('{"heads":' + "[" * 900 + "]" * 900 + "}")),
    "9.9 MB of open braces": ("a.json", lambda: b'{"format": "trialkit-phone-1", "tables": ' + b"[" * 9_900_000),
    "a number of a million figures": ("a.json", lambda: _phone('{"heads": [{"bucket": ' + "9" * 1_000_000 + "}]}")),
    "200,000 different headings": (
        "a.json",
        lambda: _phone('{"heads":[' + ",".join(f'{{"h{i}":"1"}}' for i in range(200_000)) + "]}"),
    ),
    "300 headings": (
        "a.json",
        lambda: _phone('{"heads":[' + ",".join(f'{{"h{i}":"1"}}' for i in range(300)) + "]}"),
    ),
}
"""Files that somebody sends back: what each is, its name and how it is made."""


PASSED: dict[str, Measure] = {
    "a shared text of 20 MB in 480 cells": "cell_characters",
    "a shared text of 30,000 letters in 99,000 cells": "characters",
    "a million cells without attributes": "cells",
    "a million cells with values and no places": "cells",
    "cells that are written with a prefix": "cells",
    "a million rows without cells": "rows",
    "one cell at the last row and column": "columns",
    "a hundred thousand merged ranges": "merged_ranges",
    "a merged range as large as a sheet": "cells",
    "200,000 columns with a shape": "markup",
    "a hundred thousand defined names": "markup",
    "elements nested 100,000 deep": "depth",
    "an archive of 2,100 files": "archive_files",
    "one line of 9.9 MB": "line_characters",
    "a million empty rows": "rows",
    "nine million line ends": "rows",
    "a hundred thousand columns": "columns",
    "commas alone": "line_characters",
    "quotation marks alone": "line_characters",
    "9.9 MB of open braces": "items",
    "200,000 different headings": "rows",
    "300 headings": "columns",
}
"""Of files that hold more than is read: the limit that each passes."""


def _protocol(more: str = "", before: str = "") -> Make:
    from good_trial import GOOD_PROTOCOL

    return lambda: f"{before}{GOOD_PROTOCOL}{more}".encode()


IN_THE_FOLDER: dict[str, tuple[str, Make]] = {
    "6,000 unknown keys": ("trial.toml", _protocol("\n[more]\n" + "".join(f"key{i} = {i}\n" for i in range(6_000)))),
    "6,000 unknown keys of a section": (
        "trial.toml",
        lambda: _protocol()().replace(
            b"[trial]", b"[trial]\n" + b"".join(b"key%d = %d\n" % (i, i) for i in range(6_000))
        ),
    ),
    "30,000 unknown keys of a section": (
        "trial.toml",
        lambda: _protocol()().replace(
            b"[trial]", b"[trial]\n" + b"".join(b"key%d = %d\n" % (i, i) for i in range(30_000))
        ),
    ),
    "30,000 sections": ("trial.toml", _protocol("\n" + "".join(f"[s{i}]\n" for i in range(30_000)))),
    "a key of 400,000 parts": ("trial.toml", _protocol("\n" + "a." * 400_000 + "b = 1\n")),
    "400 unknown keys": ("trial.toml", _protocol("\n[more]\n" + "".join(f"key{i} = {i}\n" for i in range(400)))),
    "400 unknown keys of a section": (
        "trial.toml",
        lambda: _protocol()().replace(
            b"[trial]", b"[trial]\n" + b"".join(b"key%d = %d\n" % (i, i) for i in range(400))
        ),
    ),
    "4,000 unknown keys of a section": (
        "trial.toml",
        lambda: _protocol()().replace(
            b"[trial]", b"[trial]\n" + b"".join(b"key%d=%d\n" % (i, i) for i in range(4_000))
        ),
    ),
    "a key of 31,000 parts": ("trial.toml", _protocol("\n" + "a." * 31_000 + "b = 1\n")),
    "lists nested 30,000 deep": ("trial.toml", _protocol("\nx = " + "[" * 30_000 + "]" * 30_000 + "\n")),
    "tables nested 300 deep": ("trial.toml", _protocol("\n" + "".join(f"[{'a.' * i}b]\n" for i in range(1, 240)))),
    "a number of 60,000 figures": ("trial.toml", _protocol("\nx = " + "9" * 60_000 + "\n")),
    "30,000 levels of a dose": (
        "trial.toml",
        lambda: _protocol()().replace(b"levels = [", b"levels = [" + b"0.5, " * 30_000, 1),
    ),
    "lists nested 400,000 deep": ("trial.toml", _protocol("\nx = " + "[" * 400_000 + "]" * 400_000 + "\n")),
    "tables nested 2,000 deep": ("trial.toml", _protocol("\n" + "".join(f"[{'a.' * i}b]\n" for i in range(1, 1000)))),
    "a number of 900,000 figures": ("trial.toml", _protocol("\nx = " + "9" * 900_000 + "\n")),
    "a question of 900,000 letters": (
        "trial.toml",
        lambda: _protocol()().replace(b'question = "', b'question = "' + b"x" * 900_000, 1),
    ),
    "a million empty rows of heads": ("heads.csv", lambda: b"bucket,head" + b"\n,,,,,," * 1_000_000),
    "ten million line ends of heads": ("heads.csv", lambda: b"bucket,head" + b"\n" * 10_000_000),
    "a hundred thousand columns of heads": ("heads.csv", lambda: b"bucket" + b",x" * 100_000),
    "commas alone in heads": ("heads.csv", lambda: b"bucket,head" + b"," * 19_000_000),
    "rows of another length in heads": ("heads.csv", lambda: b"bucket,head" + b"\na" * 9_000_000),
    "one line of 19 MB in heads": ("heads.csv", lambda: b"bucket,head\n" + b"x" * 19_000_000),
    "different rows in heads": (
        "heads.csv",
        lambda: (
            b"bucket,head,outcome,weight_g\n" + b"".join(b"b%d,%d,o%d,w%d\n" % (i, i, i, i) for i in range(600_000))
        ),
    ),
    "a site's name in 400,000 rows": (
        "sites.csv",
        lambda: b"site,name\n" + b"".join(b"S%d,N\n" % i for i in range(400_000)),
    ),
    "a layout of other gardens": (
        "layout.csv",
        lambda: (
            b"bucket,site,block,position,cultivar,dose_tsp,acidifier\n"
            + b"".join(b"B%d,S%d,%d,%d,c%d,%d,a%d\n" % (i, i, i, i, i, i, i) for i in range(300_000))
        ),
    ),
    "149,000 rows of heads at fault": (
        "heads.csv",
        lambda: b"bucket,head,outcome,weight_g\n" + b"".join(b"b%d,x,o%d,w\n" % (i, i) for i in range(149_000)),
    ),
    "149,000 rows of other lengths": ("heads.csv", lambda: b"bucket,head" + b"\na" * 149_000),
    "149,000 buckets that the layout has not": (
        "heads.csv",
        lambda: (
            b"bucket,head,transplanted_on,outcome,harvested_on,weight_g\n"
            + b"".join(b"B%d,1,2026-08-24,harvested,2026-09-24,%d\n" % (i, 100 + i % 90) for i in range(149_000))
        ),
    ),
    "a layout of 39,900 other gardens": (
        "layout.csv",
        lambda: (
            b"bucket,site,block,position,cultivar,dose_tsp,acidifier\n"
            + b"".join(b"B%d,S%d,%d,%d,c%d,%d,a%d\n" % (i, i, i, i, i, i % 50, i) for i in range(39_900))
        ),
    ),
    "39,900 gardens": ("sites.csv", lambda: b"site,name\n" + b"".join(b"S%d,N%d\n" % (i, i) for i in range(39_900))),
    "a journal of 900,000 of nothing": ("returned/returns.json", lambda: b'{"returns": [' + b"{}," * 440_000 + b"{}]}"),
    "corrections of 900,000 of nothing": (
        "returned/corrections.json",
        lambda: b'{"corrections": [' + b"{}," * 440_000 + b"{}]}",
    ),
    "corrections nested deep": ("returned/corrections.json", lambda: b'{"corrections": ' + b"[" * 1_000_000),
    "conflicts nested deep": ("returned/conflicts.json", lambda: b'{"conflicts": ' + b"[" * 900 + b"]" * 900 + b"}"),
    "a journal of 50 MB of nothing": (
        "returned/returns.json",
        lambda: b'{"returns": [' + b"{}," * 16_000_000 + b"{}]}",
    ),
    "a journal with 40 MB of text": (
        "returned/returns.json",
        lambda: json.dumps({"returns": ["x" * 40_000_000]}).encode(),
    ),
}
"""Files of a trial folder: what each is, its name and how it is made."""
