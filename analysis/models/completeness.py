"""How complete a log is: which facts are recorded, how minutes are known, and whether ends are rounded."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from analysis.schema import MINUTES_QUALITY

OF_BOOKINGS = ("slot_minutes", "attendance", "booking_kind", "patient_key", "practitioner")
OF_ATTENDED = (
    *("minutes", "started_at", "arrived_at", "age_band", "hearing_aid"),
    *("softening_advised", "softener", "adverse_event", "onward_referral"),
)
OF_EARS = ("grade", "outcome", "canal", "eardrum", "middle_ear")
OF_WORKED = ("methods", "debris", "impacted")
MEASURED = ("timed", "rounded")
"""How minutes are known where they are the visit's own."""
ROUND_TO, BY_CHANCE = 5, 1 / 5
MUCH_MORE = 1.5
"""Ends on multiples of 5 this many times as often as by chance are called rounded (no source)."""


@dataclass(frozen=True, slots=True)
class Recorded:
    """How often one fact is recorded: ``recorded`` of ``of`` rows, each of which is one of ``of_what``."""

    fact: str
    recorded: int
    of: int
    of_what: str

    @property
    def share(self) -> float:
        """Share of the rows that have the fact; 0 where there is no row."""
        return self.recorded / self.of if self.of else 0.0


def facts_recorded(visits: pd.DataFrame, ears: pd.DataFrame) -> dict[str, Recorded]:
    """Count, for each fact the answers need, the rows that have it.

    Minutes count as recorded where they are the visit's own: timed, or
    rounded to five minutes, not copied from the slot and not implausible.

    Parameters
    ----------
    visits, ears : pandas.DataFrame
        The tables ``VISITS`` and ``EAR_ROWS``.

    Returns
    -------
    dict of str to Recorded
        By column name: of all bookings, of attended visits, of the ears, or
        of the ears on which there was something to do.

    Examples
    --------
    >>> from analysis.schema import EAR_ROWS, VISITS, typed_frame
    >>> visits = typed_frame(VISITS, pd.DataFrame({"attendance": ["attended"] * 2, "softener": ["none", None]}))
    >>> ears = typed_frame(EAR_ROWS, pd.DataFrame({"visit_id": ["v1"], "grade": ["clear"]}))
    >>> facts = facts_recorded(visits, ears)
    >>> facts["softener"].share, facts["grade"].share, facts["outcome"].share
    (0.5, 1.0, 0.0)
    """
    return {
        fact: Recorded(fact, int(_is_recorded(frame, fact).sum()), len(frame), of_what)
        for frame, of_what, facts in _divisions(visits, ears)
        for fact in facts
    }


def _divisions(visits: pd.DataFrame, ears: pd.DataFrame) -> tuple[tuple[pd.DataFrame, str, tuple[str, ...]], ...]:
    """Give the rows each fact is looked for in, what they are, and the facts."""
    worked = ears.loc[(ears["outcome"] != "nothing_to_remove").fillna(True), list(OF_WORKED)]
    return (
        (visits, "bookings", OF_BOOKINGS),
        (visits.loc[_attended(visits), [*OF_ATTENDED, "minutes_quality"]], "attended visits", OF_ATTENDED),
        (ears, "ears seen", OF_EARS),
        (worked, "ears with something to do", OF_WORKED),
    )


def _attended(visits: pd.DataFrame) -> pd.Series:
    """Mark the visits that were kept."""
    return (visits["attendance"] == "attended").fillna(False).astype("bool")


def _is_recorded(frame: pd.DataFrame, fact: str) -> pd.Series:
    """Mark the rows that have a fact; an empty text is none."""
    if fact == "minutes":
        return frame["minutes"].notna() & frame["minutes_quality"].isin(MEASURED)
    if fact in ("methods", "patient_key", "practitioner"):
        return frame[fact].notna() & (frame[fact] != "")
    return frame[fact].notna()


def minutes_known(visits: pd.DataFrame) -> dict[str, int]:
    """Count the attended visits by how their minutes are known.

    Parameters
    ----------
    visits : pandas.DataFrame
        The table ``VISITS``.

    Returns
    -------
    dict of str to int
        Every code of ``MINUTES_QUALITY``, in its order; they add up to the
        attended visits. A visit without minutes, or of which nothing says
        how they are known, counts as missing.
    """
    counts = _quality(visits).value_counts()
    return {code: int(counts[code]) for code in MINUTES_QUALITY}


def _quality(visits: pd.DataFrame) -> pd.Series:
    """Say of each attended visit how its minutes are known."""
    came = visits.loc[_attended(visits), ["minutes", "minutes_quality"]]
    quality = came["minutes_quality"]
    emptied = quality.isna() | (quality.isin([*MEASURED, "filled_from_slot"]) & came["minutes"].isna())
    return quality.mask(emptied, "missing")


def minutes_by(visits: pd.DataFrame, parts: pd.Series) -> pd.DataFrame:
    """Count by part of the log how the minutes of attended visits are known.

    Parameters
    ----------
    visits : pandas.DataFrame
        The table ``VISITS``.
    parts : pandas.Series of str
        Which part each booking belongs to: an export, a practitioner.

    Returns
    -------
    pandas.DataFrame, indexed by part
        A column for each code of ``MINUTES_QUALITY``; they add up to the
        part's attended visits. Parts without one are left out.

    Examples
    --------
    >>> from analysis.schema import VISITS, typed_frame
    >>> visits = typed_frame(VISITS, pd.DataFrame({
    ...     "attendance": ["attended"] * 3, "minutes": [18.0, 20.0, None], "minutes_quality": ["timed", "rounded", None]}))
    >>> minutes_by(visits, pd.Series(["old", "old", "new"]))[["timed", "rounded", "missing"]].to_dict("index")
    {'new': {'timed': 0, 'rounded': 0, 'missing': 1}, 'old': {'timed': 1, 'rounded': 1, 'missing': 0}}
    """
    quality = _quality(visits)
    return pd.crosstab(parts[quality.index].rename("part"), quality, dropna=False)


def ends_on_fives(visits: pd.DataFrame) -> tuple[int, int]:
    """Count the ends of attended visits that fall on a whole multiple of five minutes of the clock.

    Of true ends about one in five does; many more say that ends were rounded
    or copied from the diary.

    Parameters
    ----------
    visits : pandas.DataFrame
        The table ``VISITS``.

    Returns
    -------
    (int, int)
        Ends on a multiple of five, and all ends recorded.
    """
    ends = visits.loc[_attended(visits), "ended_at"].dropna()
    on_five = (ends.dt.minute % ROUND_TO == 0) & (ends.dt.second == 0)
    return int(on_five.sum()), len(ends)


def facts_by_month(visits: pd.DataFrame, ears: pd.DataFrame) -> pd.DataFrame:
    """Count, for each fact and month, the rows that have the fact.

    Parameters
    ----------
    visits, ears : pandas.DataFrame
        The tables ``VISITS`` and ``EAR_ROWS``; a booking without a slot has its start for one.

    Returns
    -------
    pandas.DataFrame
        ``fact``, ``month`` (its first day), ``recorded``, ``of``: the facts in
        the order of ``facts_recorded``, within each every month in which it
        could be recorded. Empty for a log without dates.

    Examples
    --------
    >>> from analysis.schema import EAR_ROWS, VISITS, typed_frame
    >>> visits = typed_frame(VISITS, pd.DataFrame({
    ...     "slot_start": pd.to_datetime(["2026-01-05", "2026-01-06", "2026-02-02"]), "slot_minutes": [30.0, None, 20.0]}))
    >>> table = facts_by_month(visits, typed_frame(EAR_ROWS, pd.DataFrame()))
    >>> table.loc[table["fact"] == "slot_minutes", ["recorded", "of"]].values.tolist()
    [[1, 2], [1, 1]]
    """
    day = visits["slot_start"].fillna(visits["started_at"])
    month = day.dt.to_period("M").dt.to_timestamp()
    of_visit = dict(zip(visits["visit_id"], month, strict=True))
    of_ear = pd.to_datetime(ears["visit_id"].map(of_visit.get))
    tables = []
    for frame, _, facts in _divisions(visits, ears):
        months = month.loc[frame.index] if frame is visits or facts is OF_ATTENDED else of_ear.loc[frame.index]
        for fact in facts:
            counted = _is_recorded(frame, fact).groupby(months).agg(recorded="sum", of="size")
            tables.append(counted.rename_axis("month").reset_index().assign(fact=fact))
    table = pd.concat(tables, ignore_index=True)
    return table.astype({"recorded": "int64", "of": "int64"})[["fact", "month", "recorded", "of"]]
