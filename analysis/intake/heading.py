"""What a heading was taken for."""

from __future__ import annotations

from dataclasses import dataclass, field

from analysis.intake.vocabulary import heading_entries

SIDES = ("left", "right")
IGNORE = "ignore"
TO_BE_NAMED = "?"
"""Stands in an open question where nothing suggests a column: refused until the owner names one."""
SURE, GUESSED, CLINIC = "sure", "guessed", "clinic.toml"


@dataclass(frozen=True, slots=True)
class Heading:
    """What one heading was taken for.

    Attributes
    ----------
    text : str
        The heading as it stands in the file.
    column : str
        The column it is taken for, with ``_left`` or ``_right`` where it
        concerns one ear; empty where it is not known, ``ignore`` where the clinic says so.
    certainty : str
        ``sure``, ``guessed`` (a typing error was forgiven), ``clinic.toml``, or empty.
    nearest : str
        For an unknown heading the column that its content suggests, else that with the closest name, or empty.
    why : str
        Where the content decided otherwise than the name, what stands there.
    suggests : str
        What of the content suggests ``nearest``; empty where its name does.
    """

    text: str
    column: str
    certainty: str
    nearest: str = ""
    why: str = ""
    suggests: str = ""

    @property
    def base(self) -> str:
        """The column without its ear."""
        return without_side(self.column)

    @property
    def side(self) -> str:
        """``left``, ``right`` or empty."""
        return next((side for side in SIDES if self.column.endswith(f"_{side}")), "")

    @property
    def identifying(self) -> bool:
        """Whether the column tells who a patient is."""
        return bool(heading_entries().get(self.base, {}).get("identifying", False))


@dataclass(frozen=True)
class Headings:
    """All headings of one table.

    ``used`` are the positions that are taken in, ``doubled`` those whose column
    an earlier heading already fills.
    """

    all: tuple[Heading, ...]
    used: tuple[int, ...] = field(default=())
    doubled: tuple[int, ...] = field(default=())

    @property
    def columns(self) -> list[str]:
        """The columns taken in, in the order of the file."""
        return [self.all[position].column for position in self.used]


def without_side(column: str) -> str:
    """Take ``_left`` or ``_right`` off a column's name.

    Examples
    --------
    >>> without_side("grade_left"), without_side("site")
    ('grade', 'site')
    """
    for side in SIDES:
        if column.endswith(f"_{side}"):
            return column.removesuffix(f"_{side}")
    return column
