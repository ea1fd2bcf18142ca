"""A clinic's settings: typed, frozen, unknown keys refused, each with its unit.

``clinic.toml`` is read into ``Settings``; every setting has a default, so an
empty file is a valid one. The commented template that ``earclinic start``
writes is made from the same fields.
"""

from __future__ import annotations

import datetime as dt
import difflib
import hashlib
import json
import re
import tomllib
from dataclasses import dataclass, field, fields, replace
from decimal import Decimal
from typing import Any

from analysis.problems import DataProblem
from analysis.schema import BOOKING_KINDS
from analysis.setting_parts import (
    ClinicPart,
    DemandPart,
    ExportPart,
    MonitoringPart,
    RecallCostPart,
    RecallPart,
    SlotsPart,
    SofteningPart,
    SofteningTestPart,
    SofteningWorthPart,
    VisitTimePart,
)


@dataclass(frozen=True)
class Settings:
    r"""All settings of one clinic.

    Examples
    --------
    >>> settings = settings_from_toml("[recall]\nshare = 0.5")
    >>> settings.recall.share, settings.slots.grid_minutes
    (0.5, 5)
    """

    clinic: ClinicPart = field(default_factory=ClinicPart)
    export: ExportPart = field(default_factory=ExportPart)
    visit_time: VisitTimePart = field(default_factory=VisitTimePart)
    slots: SlotsPart = field(default_factory=SlotsPart)
    softening: SofteningPart = field(default_factory=SofteningPart)
    softening_worth: SofteningWorthPart = field(default_factory=SofteningWorthPart)
    softening_test: SofteningTestPart = field(default_factory=SofteningTestPart)
    recall: RecallPart = field(default_factory=RecallPart)
    recall_cost: RecallCostPart = field(default_factory=RecallCostPart)
    demand: DemandPart = field(default_factory=DemandPart)
    monitoring: MonitoringPart = field(default_factory=MonitoringPart)
    columns: dict[str, str] = field(default_factory=dict)
    words: dict[str, dict[str, str]] = field(default_factory=dict)

    @property
    def level(self) -> float:
        """How sure every range should be."""
        return self.clinic.level


PARTS: dict[str, type] = {
    "clinic": ClinicPart,
    "export": ExportPart,
    "visit_time": VisitTimePart,
    "slots": SlotsPart,
    "softening": SofteningPart,
    "softening_worth": SofteningWorthPart,
    "softening_test": SofteningTestPart,
    "recall": RecallPart,
    "recall_cost": RecallCostPart,
    "demand": DemandPart,
    "monitoring": MonitoringPart,
}
FREE_PARTS = ("columns", "words")
DAYS = "tuple[dt.date, ...]"
NAMED_DAYS = "dict[dt.date, str]"
NAMES = "tuple[str, ...]"
OWN_CATEGORIES, MOST_CATEGORIES = "dict[str, str]", 4
AMOUNTS = "dict[str, float]"
KINDS: dict[str, type] = {
    "str": str,
    "float": float,
    "int": int,
    "bool": bool,
    "dt.date | None": dt.date,
    "dict[str, int]": dict,
    OWN_CATEGORIES: dict,
    AMOUNTS: dict,
    DAYS: tuple,
    NAMES: tuple,
    NAMED_DAYS: dict,
}
"""How a setting's type is written, and what its value must be."""


def intake_marks(settings: Settings) -> dict[str, str]:
    r"""Give twelve characters for each part that intake reads, which differ whenever the part says something else.

    The engine is left out: all engines give the same tables.

    Parameters
    ----------
    settings : Settings

    Returns
    -------
    dict of str to str

    Examples
    --------
    >>> before, after = intake_marks(Settings()), intake_marks(settings_from_toml('[words.grade]\n"bunged" = "clear"'))
    >>> [part for part in before if before[part] != after[part]]
    ['words']
    """
    bounds = (settings.visit_time.shortest_minutes, settings.visit_time.longest_minutes)
    read = {
        "export": str(replace(settings.export, engine="")),
        "columns": json.dumps(settings.columns, sort_keys=True),
        "words": json.dumps({name: words for name, words in settings.words.items() if words}, sort_keys=True),
        "visit_time": str(bounds),
    }
    return {part: hashlib.sha256(text.encode()).hexdigest()[:12] for part, text in read.items()}


def settings_from_toml(text: str, *, file: str = "clinic.toml") -> Settings:
    """Read the text of a ``clinic.toml``.

    Parameters
    ----------
    text : str
        The file's text; empty text gives every default.
    file : str, optional
        The name used in messages.

    Returns
    -------
    Settings

    Raises
    ------
    DataProblem
        If the text is not TOML, a part or setting is unknown, a value has the
        wrong type or lies outside its bounds, or recall_uptake is set and no recall rule is.
    """
    try:
        read = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        twice = "Cannot declare" in str(error)
        remedy = _without_a_point(text, str(error)) or (
            "A part stands there twice: put its lines below the first one, and take the second heading out."
            if twice
            else "Look at that line: a number stands without quotation marks, a word within them, a remark behind a #."
        )
        raise DataProblem(f"These settings cannot be read: {error}.", remedy, file=file) from None
    made: dict[str, Any] = {}
    for part, values in read.items():
        if part not in PARTS and part not in FREE_PARTS:
            raise _unknown(f"[{part}]", [f"[{known}]" for known in (*PARTS, *FREE_PARTS)], file)
        if not isinstance(values, dict):
            raise DataProblem(
                f'"{part}" is a part, not a setting.', f"Write it as [{part}] on a line of its own.", file=file
            )
        made[part] = _read_free(part, values, file) if part in FREE_PARTS else _read_part(part, values, file)
    settings = Settings(**made)
    if settings.demand.recall_uptake >= 0 and settings.recall.today_months == 0:
        raise DataProblem(
            "recall_uptake says how many come when called back, but no recall rule says when.",
            "Set today_months under [recall], e.g. 12, or leave recall_uptake at -1.",
            file=file,
            setting="demand.recall_uptake",
            value=str(settings.demand.recall_uptake),
        )
    return settings


def _without_a_point(text: str, error: str) -> str:
    """Say how to write a number that stands with a comma or a per cent sign on the line that cannot be read."""
    place = re.search(r"at line (\d+)", error)
    line = text.splitlines()[int(place[1]) - 1] if place else ""
    found = re.fullmatch(r"\s*([\w.-]+)\s*=\s*(-?\d+)(?:([.,])(\d+))?\s*(%?)\s*(?:#.*)?", line)
    if not found or (found[3] != "," and not found[5]):
        return ""
    number = Decimal(f"{found[2]}.{found[4] or 0}") / (100 if found[5] else 1)
    return f"For {line.split('#')[0].strip()} write {found[1]} = {number.normalize():f}, with a point{' and no per cent sign' if found[5] else ''}."


def _read_part(part: str, values: dict[str, Any], file: str) -> Any:
    """Read one part, setting by setting."""
    known = {each.name: each for each in fields(PARTS[part])}
    checked = {}
    for name, value in values.items():
        where = f"{part}.{name}"
        if name not in known:
            raise _unknown(where, [f"{part}.{each}" for each in known], file)
        checked[name] = _check_value(where, value, known[name], file)
    return PARTS[part](**checked)


def _check_value(where: str, value: Any, setting: Any, file: str) -> Any:
    """Check one value's type and bounds."""
    about = setting.metadata["about"]
    kind = str(setting.type)
    wrong = DataProblem(
        "This setting cannot be used.",
        f"It should be: {about}.{_allowed(setting)}",
        file=file,
        setting=where,
        value=str(value),
    )
    if kind == "float" and isinstance(value, int) and not isinstance(value, bool):
        value = float(value)
    if kind == DAYS and isinstance(value, list) and all(type(day) is dt.date for day in value):
        value = tuple(value)
    if kind == NAMES and isinstance(value, list):
        return _names(value, setting, wrong)
    wanted = KINDS[kind]
    if not isinstance(value, wanted) or (wanted is int and isinstance(value, bool)):
        raise wrong
    if isinstance(value, dict):
        return _check_entries(where, value, setting, wrong, file)
    low, high, choices = (setting.metadata[key] for key in ("low", "high", "choices"))
    if (choices and value not in choices) or (low is not None and value < low) or (high is not None and value > high):
        raise wrong
    return value


def _allowed(setting: Any) -> str:
    """Say which values a setting can have, where its bounds or choices say so."""
    kind, low, high = str(setting.type), setting.metadata["low"], setting.metadata["high"]
    if kind == "bool":
        return " Write true or false."
    if kind == "str" and setting.metadata["choices"]:
        return f" Write one of: {', '.join(repr(each) for each in setting.metadata['choices'])}."
    if kind in ("int", "float") and low is not None and high is not None:
        return f" Write a {'whole ' if kind == 'int' else ''}number from {low:g} to {high:g}."
    return ""


def _names(value: list[Any], setting: Any, wrong: DataProblem) -> tuple[str, ...]:
    """Check a list of known names, each once and no more than allowed."""
    known = all(each in setting.metadata["choices"] for each in value)
    if not known or len(set(value)) < len(value) or len(value) > setting.metadata["high"]:
        raise wrong
    return tuple(value)


def _check_entries(where: str, value: dict[str, Any], setting: Any, wrong: DataProblem, file: str) -> dict[Any, Any]:
    """Check a setting that is itself a list of names: days, booking categories, or minutes by kind of booking."""
    kind = str(setting.type)
    if kind == NAMED_DAYS:
        return _named_days(value, wrong)
    if kind == AMOUNTS:
        return _amounts(value, setting.metadata["low"], wrong)
    if kind == OWN_CATEGORIES:
        return _own_categories(where, value, setting.metadata["choices"], wrong, file)
    for kind_of_booking, minutes in value.items():
        if kind_of_booking not in BOOKING_KINDS:
            raise _unknown(f"{where}.{kind_of_booking}", [f"{where}.{each}" for each in BOOKING_KINDS], file)
        if not isinstance(minutes, int) or isinstance(minutes, bool) or minutes <= 0:
            raise wrong
    return value


def _amounts(value: dict[str, Any], low: float, wrong: DataProblem) -> dict[str, float]:
    """Read names of the owner's own, each with an amount: specula = 2."""
    for amount in value.values():
        if isinstance(amount, bool) or not isinstance(amount, int | float) or not low <= amount < float("inf"):
            raise wrong
    return {name: float(amount) for name, amount in value.items()}


def _named_days(value: dict[str, Any], wrong: DataProblem) -> dict[dt.date, str]:
    """Read days, each with a few words: 2026-01-05 = "second chair"."""
    named = {}
    for day, words in value.items():
        if not isinstance(words, str) or not words.strip():
            raise wrong
        try:
            named[dt.date.fromisoformat(day)] = words.strip()
        except ValueError:
            raise wrong from None
    return dict(sorted(named.items()))


def _own_categories(
    where: str, value: dict[str, Any], facts: tuple[str, ...], wrong: DataProblem, file: str
) -> dict[str, str]:
    """Check the owner's booking categories: known kinds, known facts, four at most."""
    for kind, fact in value.items():
        if kind not in BOOKING_KINDS:
            raise _unknown(f"{where}.{kind}", [f"{where}.{each}" for each in BOOKING_KINDS], file)
        if fact not in facts:
            raise wrong
    if sum(1 + bool(fact) for fact in value.values()) > MOST_CATEGORIES:
        raise DataProblem(
            "These are more than four booking categories.",
            "Leave a kind out, so that it goes with the others, or split fewer of them.",
            file=file,
            setting=where,
        )
    return value


def _read_free(part: str, values: dict[str, Any], file: str) -> dict[str, Any]:
    """Read [columns] (header = our column) or [words.COLUMN] (word = our code); intake checks the names."""
    flat = [values] if part == "columns" else list(values.values())
    for entries in flat:
        texts = isinstance(entries, dict) and all(isinstance(each, str) for each in entries.values())
        if not texts:
            shape = (
                '"Header in your file" = "our_column"'
                if part == "columns"
                else '[words.grade] and below it "your word" = "our_code"'
            )
            raise DataProblem(f"[{part}] is not written as expected.", f"Write {shape}.", file=file)
    return values


def _unknown(name: str, known: list[str], file: str) -> DataProblem:
    """Say that a setting is unknown, and which was probably meant."""
    close = difflib.get_close_matches(name, known, n=1, cutoff=0.5)
    remedy = f"Did you mean {close[0]}?" if close else f"Known are: {', '.join(known)}."
    return DataProblem("There is no such setting.", remedy, file=file, setting=name)


def settings_template() -> str:
    """Give the text of a commented ``clinic.toml`` with every setting at its default."""
    lines = ["# Settings of this clinic. Every line may be left out; what stands here is the default.", ""]
    for part, holder in PARTS.items():
        lines += [f"# {holder.__doc__}", f"[{part}]"]
        defaults = holder()
        for each in fields(holder):
            lines.append(f"{_toml_line(each.name, getattr(defaults, each.name))}  # {each.metadata['about']}")
        lines.append("")
    lines += [
        '# Headings of your export that were not understood: "heading in your file" = "our column".',
        "# [columns]",
        '# "Drops used" = "softener"',
        "",
        "# Words of your export that were not understood, one part a column:",
        "# [words.grade]",
        '# "two thirds blocked" = "partly_occluding"',
        "",
    ]
    return "\n".join(lines)


def _toml_line(name: str, value: Any) -> str:
    """Write one setting as TOML; one without a default is commented out."""
    if value is None or value in ({}, ()):
        return f"# {name} ="
    if isinstance(value, bool):
        return f"{name} = {str(value).lower()}"
    return f'{name} = "{value}"' if isinstance(value, str) else f"{name} = {value}"
