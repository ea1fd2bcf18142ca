"""The settings a report was made with: as a file beside it, and as one short mark."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from dataclasses import fields
from typing import Any

from analysis.settings import FREE_PARTS, PARTS, Settings


def settings_text(settings: Settings) -> str:
    r"""Write settings as the text of a ``clinic.toml`` that reads back as the same.

    Parameters
    ----------
    settings : Settings

    Returns
    -------
    str
        Every setting at the value used, defaults included.

    Examples
    --------
    >>> from analysis.settings import settings_from_toml
    >>> used = settings_from_toml('[recall]\nshare = 0.5\n[words.grade]\n"semi occ" = "partly_occluding"')
    >>> settings_from_toml(settings_text(used)) == used
    True
    """
    lines = ["# The settings this report was made with."]
    for part in PARTS:
        holder = getattr(settings, part)
        lines += ["", f"[{part}]"]
        values = {each.name: getattr(holder, each.name) for each in fields(holder)}
        lines += [f"{name} = {_toml(value)}" for name, value in values.items() if value is not None]
    for part in FREE_PARTS:
        lines += _free_part(part, getattr(settings, part))
    return "\n".join([*lines, ""])


def _free_part(part: str, entries: dict[str, Any]) -> list[str]:
    """Write [columns], or a [words.COLUMN] a column."""
    lines = []
    flat = {name: value for name, value in entries.items() if not isinstance(value, dict)}
    if flat:
        lines += ["", f"[{part}]", *(f"{_toml(name)} = {_toml(value)}" for name, value in flat.items())]
    for name, value in entries.items():
        if isinstance(value, dict):
            lines += [
                "",
                f"[{part}.{_toml(name)}]",
                *(f"{_toml(word)} = {_toml(code)}" for word, code in value.items()),
            ]
    return lines


def _toml(value: Any) -> str:
    """Write one value as TOML; JSON's quoting of text is also TOML's."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{name} = {_toml(each)}" for name, each in value.items()) + " }"
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, tuple):
        return "[" + ", ".join(_toml(each) for each in value) + "]"
    if isinstance(value, str | bool):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return str(value)


def settings_mark(settings: Settings) -> str:
    r"""Give twelve characters that differ whenever a setting differs.

    Parameters
    ----------
    settings : Settings

    Returns
    -------
    str
        The beginning of the SHA-256 sum of ``settings_text``.

    Examples
    --------
    >>> from analysis.settings import settings_from_toml
    >>> settings_mark(Settings()) == settings_mark(settings_from_toml("[recall]\nshare = 0.5"))
    False
    """
    return hashlib.sha256(settings_text(settings).encode()).hexdigest()[:12]
