"""Who comes, and when: missed and late-cancelled bookings, and how early or late people arrive."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.derive.sessions import HELD_SLOT
from analysis.models.booking_facts import ANY_KIND
from analysis.problems import NotEnough
from analysis.schema import BOOKING_KINDS
from analysis.stats.estimate import Estimate
from analysis.stats.proportions import wilson_share

SLIP_MINUTES = 60.0
"""Arrivals further from their slot than this are taken for slips of the pen (a rule of caution, no source)."""
FEWEST_ARRIVALS = 30


@dataclass(frozen=True, eq=False)
class Attendance:
    """How bookings that kept their slot turned out.

    Attributes
    ----------
    missed, cancelled_late : dict of str to Estimate
        By kind of booking (``other`` where not recorded): the share of
        bookings whose slot was still theirs on the day.
    lateness : numpy.ndarray
        Minutes after the slot's start at which people arrived, in order;
        negative is early. Empty where too few arrivals are logged.
    slips : int
        Arrivals left out as further than an hour from their slot.
    """

    missed: dict[str, Estimate]
    cancelled_late: dict[str, Estimate]
    lateness: np.ndarray
    slips: int


def attendance(visits: pd.DataFrame, *, level: float = 0.95) -> Attendance:
    """Count missed and late-cancelled bookings by kind, and how late people arrive.

    Parameters
    ----------
    visits : pandas.DataFrame
        The table ``VISITS``. Bookings cancelled in time or moved count
        neither as kept nor as missed: their slot was free again.
    level : float, optional
        How sure ranges should be.

    Returns
    -------
    Attendance

    Raises
    ------
    NotEnough
        If no booking was attended, missed or cancelled late.

    Notes
    -----
    Ranges are Wilson's [1]_. Fewer than 30 arrivals tell nothing of lateness.

    References
    ----------
    .. [1] Brown, Cai and DasGupta (2001), Statistical Science 16(2), 101-133.

    Examples
    --------
    >>> from analysis.schema import VISITS, typed_frame
    >>> visits = typed_frame(VISITS, pd.DataFrame({
    ...     "attendance": ["attended"] * 22 + ["missed"] * 3 + ["moved"] * 5, "booking_kind": ["new"] * 30}))
    >>> share = attendance(visits).missed["new"]
    >>> share.value, share.n
    (0.12, 25)
    """
    held = visits[visits["attendance"].isin(HELD_SLOT)]
    if held.empty:
        raise NotEnough("The log holds no booking that was kept or missed.", "Record how each booking turned out.")
    kind = held["booking_kind"].astype("object").fillna(ANY_KIND).astype("str")
    shares = {outcome: _shares(kind, held["attendance"] == outcome, level) for outcome in ("missed", "cancelled_late")}
    late = (visits["arrived_at"] - visits["slot_start"]).dt.total_seconds() / 60
    known = late[visits["attendance"].eq("attended").fillna(False) & late.notna()].to_numpy(dtype=float)
    kept = np.sort(known[np.abs(known) <= SLIP_MINUTES])
    return Attendance(
        missed=shares["missed"],
        cancelled_late=shares["cancelled_late"],
        lateness=kept if len(kept) >= FEWEST_ARRIVALS else np.array([]),
        slips=len(known) - len(kept),
    )


def _shares(kind: pd.Series, happened: pd.Series, level: float) -> dict[str, Estimate]:
    """Share of each kind's bookings to which something happened."""
    known = [name for name in BOOKING_KINDS if (kind == name).any()]
    return {name: wilson_share(int(happened[kind == name].sum()), int((kind == name).sum()), level) for name in known}
