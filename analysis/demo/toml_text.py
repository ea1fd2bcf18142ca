"""Nested dictionaries written as TOML."""

from __future__ import annotations

import json
import re
from typing import Any

BARE = re.compile(r"[A-Za-z0-9_-]+")


def toml_text(values: dict[str, Any], at: tuple[str, ...] = ()) -> str:
    """Write a nested dictionary as TOML, plain settings before parts.

    Parameters
    ----------
    values : dict
        Texts, numbers, yes or no, lists of these, and dictionaries.
    at : tuple of str, optional
        The part this dictionary stands in.

    Returns
    -------
    str

    Examples
    --------
    >>> print(toml_text({"a": {"b": 1.5, "c": {"d e": ["x"]}}}))
    [a]
    b = 1.5
    <BLANKLINE>
    [a.c]
    "d e" = ["x"]
    <BLANKLINE>
    """
    lines = [f"{_key(name)} = {_value(value)}" for name, value in values.items() if not isinstance(value, dict)]
    text = ""
    if lines:
        head = f"[{'.'.join(_key(part) for part in at)}]\n" if at else ""
        text = head + "\n".join(lines) + "\n\n"
    deeper = (toml_text(value, (*at, name)) for name, value in values.items() if isinstance(value, dict))
    text += "".join(deeper)
    return text if at else text.rstrip("\n") + "\n"


def _key(name: str) -> str:
    """Quote a key where it must be."""
    return name if BARE.fullmatch(name) else json.dumps(name, ensure_ascii=False)


def _value(value: Any) -> str:
    """Write one value; JSON's form of these is TOML's."""
    return json.dumps(value, ensure_ascii=False)
