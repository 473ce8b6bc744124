"""The files that ship beside the code are found in a source tree and in an installed package."""

from pathlib import Path

import pytest

from trialkit import _resources


def test_installed_files_come_before_those_of_a_source_tree(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A package takes its own files; in a source tree they stand beside it; a broken installation says so."""
    package = tmp_path / "trialkit"
    monkeypatch.setattr(_resources, "PACKAGE", package)
    with pytest.raises(FileNotFoundError, match="install trialkit again"):
        _resources.resource_folder("schemas")
    (tmp_path / "schemas").mkdir()
    assert _resources.resource_folder("schemas") == tmp_path / "schemas"
    (package / "schemas").mkdir(parents=True)
    assert _resources.resource_folder("schemas") == package / "schemas"
