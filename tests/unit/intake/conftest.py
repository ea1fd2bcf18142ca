"""Small exports, written and taken in."""

from __future__ import annotations

from pathlib import Path

import pytest

from analysis.intake import Intake, take_in
from analysis.settings import settings_from_toml

KEY = b"a clinic's secret, thirty-two by"


@pytest.fixture
def take(tmp_path: Path):
    """Write exports (name to text or bytes) and take them in."""

    def taken(files: dict[str, str | bytes], settings: str = "") -> Intake:
        paths = []
        for name, content in files.items():
            path = tmp_path / name
            path.write_bytes(content.encode("utf-8") if isinstance(content, str) else content)
            paths.append(path)
        return take_in(paths, settings_from_toml(settings), KEY)

    return taken
