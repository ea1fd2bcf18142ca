"""How recall groups are said and coloured: by hearing aid, or by the facts the owner named."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol, TypeVar

from analysis.models.recall_evidence import EVERYONE
from analysis.models.recall_group_names import NO, YES
from analysis.present import words
from analysis.present.theme import NAMED, RECOMMENDED

WITH_AID, WITHOUT_AID = "hearing_aid", "no_hearing_aid"
GROUPS = {WITH_AID: "with a hearing aid", WITHOUT_AID: "without a hearing aid", EVERYONE: "everyone"}
FACT_SIDES = {
    "hearing_aid": {YES: "with a hearing aid", NO: "without a hearing aid"},
    "cotton_bud": {YES: "using cotton buds", NO: "using no cotton buds"},
    "age_60": {YES: "aged 60 and over", NO: "aged under 60"},
    "canal": {YES: "with another canal than an ordinary one", NO: "with an ordinary canal"},
}
SHORT_SIDES = {
    "hearing_aid": {YES: "aid", NO: "no aid"},
    "cotton_bud": {YES: "buds", NO: "no buds"},
    "age_60": {YES: "60 and over", NO: "under 60"},
    "canal": {YES: "other canal", NO: "ordinary canal"},
}
"""For charts of more than two groups, so that their names keep apart."""
FACT_WORDS = {"hearing_aid": "hearing aid", "cotton_bud": "cotton buds", "age_60": "age", "canal": "canal"}
FEWEST_APART = 2


class Curved(Protocol):
    """A curve that is its group's own, or everyone's lent to it."""

    @property
    def own(self) -> bool:
        """Whether it is the group's own."""


Curve = TypeVar("Curve", bound=Curved)


def group_spoken(name: str) -> str:
    """Say a group.

    Examples
    --------
    >>> group_spoken("hearing_aid:yes age_60:no"), group_spoken("everyone"), group_spoken("no_hearing_aid")
    ('with a hearing aid, aged under 60', 'everyone', 'without a hearing aid')
    """
    return GROUPS.get(name) or _sides(name, FACT_SIDES)


def group_short(name: str, groups: int) -> str:
    """Name a group in a chart, the shorter the more groups there are.

    Examples
    --------
    >>> group_short("hearing_aid:yes age_60:no", 4), group_short("age_60:no", 2)
    ('aid, under 60', 'aged under 60')
    """
    return group_spoken(name) if groups <= FEWEST_APART or name in GROUPS else _sides(name, SHORT_SIDES)


def _sides(name: str, said: dict[str, dict[str, str]]) -> str:
    """Say each side of a group's facts."""
    return ", ".join(said[fact][holds] for fact, holds in (part.split(":") for part in name.split(" ")))


def of_people(name: str) -> str:
    """Say whose, behind a figure; nothing for everyone.

    Examples
    --------
    >>> of_people("hearing_aid"), of_people("everyone")
    (' for people with a hearing aid', '')
    """
    return "" if name == EVERYONE else f" for {people(name)}"


def people(name: str) -> str:
    """Say whom a group is of.

    Examples
    --------
    >>> people("hearing_aid"), people("everyone")
    ('people with a hearing aid', 'everyone')
    """
    return name if name == EVERYONE else f"people {group_spoken(name)}"


def listed(parts: list[str]) -> str:
    """Join parts as a person lists them, with semicolons where a part holds a comma of its own.

    Examples
    --------
    >>> listed(["6 months", "9 months"]), listed(["6 with an aid, under 60", "9 without", "8 for others"])
    ('6 months and 9 months', '6 with an aid, under 60; 9 without; and 8 for others')
    """
    if not any(", " in part for part in parts):
        return words.joined(parts)
    if len(parts) == 1:
        return parts[0]
    return "; ".join([*parts[:-1], f"and {parts[-1]}"])


def with_own(curves: Mapping[str, Curve]) -> dict[str, Curve]:
    """Keep the groups with a curve of their own; everyone where fewer than two have one."""
    own = {name: curve for name, curve in curves.items() if curve.own and name != EVERYONE}
    return own if len(own) >= FEWEST_APART else {EVERYONE: curves[EVERYONE]}


def lent(curves: Mapping[str, Curve]) -> list[str]:
    """List the groups to which everyone's curve is lent, having too few ears for one of their own."""
    return [name for name, curve in curves.items() if not curve.own]


def colours(names: list[str]) -> dict[str, str]:
    """Give each group its colour, everyone the recommended one."""
    return dict(zip([name for name in names if name != EVERYONE], NAMED, strict=False)) | {EVERYONE: RECOMMENDED}
