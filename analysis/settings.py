"""A clinic's settings: typed, frozen, unknown keys refused, each with its unit.

``clinic.toml`` is read into ``Settings``; every setting has a default, so an
empty file is a valid one. The commented template that ``earclinic start``
writes is made from the same fields.
"""

from __future__ import annotations

import datetime as dt
import difflib
import tomllib
from dataclasses import dataclass, field, fields
from typing import Any

from analysis.problems import DataProblem
from analysis.schema import BOOKING_KINDS


def _setting(
    default: Any, about: str, *, low: float | None = None, high: float | None = None, choices: tuple = ()
) -> Any:
    """Make a field that carries its own explanation and bounds."""
    metadata = {"about": about, "low": low, "high": high, "choices": choices}
    if isinstance(default, dict):
        return field(default_factory=lambda: dict(default), metadata=metadata)
    return field(default=default, metadata=metadata)


@dataclass(frozen=True)
class ClinicPart:
    """Who the clinic is and how sure its ranges should be."""

    name: str = _setting("My ear clinic", "name shown on the report")
    level: float = _setting(0.95, "how sure every range should be, a share between 0.5 and 0.99", low=0.5, high=0.99)
    last_day: dt.date | None = _setting(
        None, "last day the log covers, e.g. 2026-09-30; without it, the last visit in the log"
    )
    show_practitioner_names: bool = _setting(False, "true shows practitioners' names in the report")
    hide_below: int = _setting(5, "counts under this are hidden in anything meant to leave the clinic", low=1, high=50)


@dataclass(frozen=True)
class ExportPart:
    """How the exported files are written."""

    day_first: bool = _setting(True, "true reads 03/04/2026 as 3 April, false as 4 March")
    decimal_comma: bool = _setting(False, "true reads 12,5 as twelve and a half")
    sheet: str = _setting("", "name of the sheet to read where an XLSX has several; empty reads the first and says so")


@dataclass(frozen=True)
class VisitTimePart:
    """Which minutes count."""

    shortest_minutes: float = _setting(2.0, "minutes; a shorter visit is taken for a slip", low=0.0, high=60.0)
    longest_minutes: float = _setting(120.0, "minutes; a longer visit is taken for a slip", low=10.0, high=600.0)
    fewest_visits: int = _setting(5, "visits; a grade and method with fewer shows no figure", low=2, high=100)


@dataclass(frozen=True)
class SlotsPart:
    """The booking template and what waiting, idling and overtime are worth."""

    grid_minutes: int = _setting(5, "minutes; slots are multiples of this (5 or 10)", choices=(5, 10))
    protected_minutes: float = _setting(
        10.0, "minutes no slot may cut: consent, history, otoscopy, aftercare, cleaning", low=0.0, high=60.0
    )
    session_minutes: float = _setting(210.0, "minutes in a half-day session", low=30.0, high=600.0)
    turnaround_minutes: float = _setting(2.0, "minutes between patients for cleaning and notes", low=0.0, high=30.0)
    price_wait: float = _setting(1.0, "worth of a minute of a patient's waiting", low=0.0)
    price_idle: float = _setting(1.0, "worth of a minute of an idle room", low=0.0)
    price_overtime: float = _setting(2.0, "worth of a minute of overtime", low=0.0)
    today: dict[str, int] = _setting(
        {}, "today's slot in minutes by kind of booking, e.g. { new = 30 }; without it, the commonest slot in the log"
    )


@dataclass(frozen=True)
class SofteningPart:
    """What counts as a first attempt's success, and how many ears are enough."""

    second_attempt_days: int = _setting(
        28, "days; another attempt on the ear within these undoes a success", low=1, high=180
    )
    fewest_ears: int = _setting(50, "ears in the smaller arm before any effect is shown", low=10, high=10000)


@dataclass(frozen=True)
class RecallPart:
    """When ears are called back."""

    share: float = _setting(0.30, "share of ears occluding again at which to call back", low=0.05, high=0.9)
    fewest_ears: int = _setting(50, "ears a group needs before it has a figure of its own", low=10, high=10000)
    symptom_window_days: int = _setting(
        60, "days before a return with symptoms within which the ear is taken to have occluded", low=7, high=365
    )
    today_months: int = _setting(12, "months after which the clinic recalls today", low=1, high=60)


@dataclass(frozen=True)
class DemandPart:
    """How far ahead to look, and what a session holds."""

    months_ahead: int = _setting(6, "months to look ahead", low=1, high=24)
    recall_uptake: float = _setting(
        -1.0, "share of recalled patients who come, 0 to 1; -1 takes it from the log", low=-1.0, high=1.0
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
    recall: RecallPart = field(default_factory=RecallPart)
    demand: DemandPart = field(default_factory=DemandPart)
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
    "recall": RecallPart,
    "demand": DemandPart,
}
FREE_PARTS = ("columns", "words")


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
        If the text is not TOML, a part or setting is unknown, or a value has
        the wrong type or lies outside its bounds.
    """
    try:
        read = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        twice = "Cannot declare" in str(error)
        remedy = (
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
    return Settings(**made)


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
        "This setting cannot be used.", f"It should be: {about}.", file=file, setting=where, value=str(value)
    )
    if kind == "float" and isinstance(value, int) and not isinstance(value, bool):
        value = float(value)
    wanted = {"str": str, "float": float, "int": int, "bool": bool, "dt.date | None": dt.date, "dict[str, int]": dict}[
        kind
    ]
    if not isinstance(value, wanted) or (wanted is int and isinstance(value, bool)):
        raise wrong
    low, high, choices = (setting.metadata[key] for key in ("low", "high", "choices"))
    if (choices and value not in choices) or (low is not None and value < low) or (high is not None and value > high):
        raise wrong
    if isinstance(value, dict):
        for kind_of_booking, minutes in value.items():
            if kind_of_booking not in BOOKING_KINDS:
                raise _unknown(f"{where}.{kind_of_booking}", [f"{where}.{each}" for each in BOOKING_KINDS], file)
            if not isinstance(minutes, int) or isinstance(minutes, bool) or minutes <= 0:
                raise wrong
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
    if value is None or value == {}:
        return f"# {name} ="
    if isinstance(value, bool):
        return f"{name} = {str(value).lower()}"
    return f'{name} = "{value}"' if isinstance(value, str) else f"{name} = {value}"
