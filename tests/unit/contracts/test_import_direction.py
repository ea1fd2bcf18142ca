"""Imports run one way: the contracts of pyproject.toml hold."""

from pathlib import Path

import pytest
from importlinter.cli import lint_imports

ROOT = Path(__file__).parents[3]


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_every_import_contract_is_kept(monkeypatch):
    monkeypatch.chdir(ROOT)
    assert lint_imports(config_filename=str(ROOT / "pyproject.toml"), cache_dir=None) == 0
