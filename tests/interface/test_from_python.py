"""The page of the documentation about Python, run as a notebook is: cell by cell, in one namespace."""

import ast
import re
from pathlib import Path
from typing import Any

import matplotlib as mpl
import pytest

PAGE = Path(__file__).parents[2] / "reports" / "from_python.md"
CELL = re.compile(r"^```python\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def test_every_cell_runs(capsys: pytest.CaptureFixture[str]) -> None:
    """The last line of a cell has a short `repr`, as a notebook shows it."""
    mpl.use("agg")
    names: dict[str, Any] = {}
    cells = CELL.findall(PAGE.read_text("utf-8"))
    assert len(cells) > 10
    for cell in cells:
        *lines, last = ast.parse(cell).body
        exec(compile(ast.Module(lines, []), str(PAGE), "exec"), names)
        if isinstance(last, ast.Expr):
            shown = eval(compile(ast.Expression(last.value), str(PAGE), "eval"), names)
            assert len(repr(shown)) < 4000
        else:
            exec(compile(ast.Module([last], []), str(PAGE), "exec"), names)
    assert "There is no table 'nothing'" in capsys.readouterr().out
    assert names["document"].decision.recommended.cultivar == "Fenleaf"
