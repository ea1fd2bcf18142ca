"""What the log says of the bookings a session is made of, and drawing such bookings."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from analysis.derive.sessions import HELD_SLOT
from analysis.models.booking_categories import means_as_logged
from analysis.models.booking_facts import ANY_KIND
from analysis.models.booking_minutes import BookingMinutes
from analysis.models.fitted_visit_time import FittedVisitTime
from analysis.planning.session import Bookings
from analysis.stats.cells import Cells, cells_of
from analysis.stats.gamma import gamma_multipliers
from analysis.stats.quantiles import quantiles

LUCK_EACH = 5
"""Draws a booking takes: category, visit, minutes, attendance, arrival."""
LUCK_STEPS = 2048
"""Equally likely steps a draw is made of: coarse enough to be looked up, fine enough for 1 in 2,000."""
LUCK_SHARES = (np.arange(LUCK_STEPS) + 0.5) / LUCK_STEPS
RECENT_DAYS = 365


@dataclass(frozen=True, slots=True, eq=False)
class BookingModel:
    """Everything needed to draw a session's bookings.

    Attributes
    ----------
    mix, absent : numpy.ndarray, shape (categories,)
        Share of bookings, and of those the share that does not come.
    means, weights, category : numpy.ndarray, shape (kinds of visit,)
        Fitted mean minutes of the log's visits, alike ones together, how often
        each counts, and which category it is of.
    shape : float
        Gamma shape of a visit's minutes around its mean.
    arrivals : numpy.ndarray, shape (2048,)
        Minutes after the slot at which people arrive, at each step of luck.
    """

    mix: np.ndarray
    absent: np.ndarray
    means: np.ndarray
    weights: np.ndarray
    category: np.ndarray
    shape: float
    arrivals: np.ndarray


@dataclass(frozen=True, eq=False)
class SlotEvidence:
    """The log's bookings by category, ready to be counted again with other weights.

    Attributes
    ----------
    names : list of str
        The booking categories.
    kinds : list of str
        The kinds of booking they are of; kinds too rare for a slot of their own are ``other``.
    kind_of : numpy.ndarray of int, shape (categories,)
        Which of ``kinds`` each category is of.
    held_kind, held_absent, held_patient : numpy.ndarray, shape (bookings,)
        Kind, whether the patient did not come, and whose booking it was.
    visit_place, visit_category : numpy.ndarray of int, shape (visits,)
        Where each fitted visit stands among the bookings; its category.
    slot_minutes : dict of str to int
        The commonest slot of each kind over the last year of the log.
    no_slot : dict of str to int
        Kinds too rare for a slot, and their bookings.
    """

    names: list[str]
    kinds: list[str]
    kind_of: np.ndarray
    held_kind: np.ndarray
    held_absent: np.ndarray
    held_patient: np.ndarray
    visit_place: np.ndarray
    visit_category: np.ndarray
    slot_minutes: dict[str, int]
    no_slot: dict[str, int]
    fitted: FittedVisitTime
    arrivals: np.ndarray

    @property
    def bookings(self) -> np.ndarray:
        """How many bookings of each category the log holds, rounded."""
        return np.rint(self.model().mix * len(self.held_kind)).astype(int)

    def model(self, weights: np.ndarray | None = None) -> BookingModel:
        """Give the model of bookings, each booking of the log counted so often; once without weights."""
        counts = np.ones(len(self.held_kind)) if weights is None else weights
        means, shape = self.fitted.means, self.fitted.shape
        if weights is not None:
            means, shape = self.fitted.redrawn(np.where(self.visit_place < 0, 0.0, counts[self.visit_place]))
        alike, category = self._alike, self.visit_category[self._alike.first]
        mine = np.where(self.visit_category >= 0, counts[self.visit_place], 0.0)
        often, took = alike.sums(mine), alike.sums(mine * self.fitted.minutes)
        means = means_as_logged(means[alike.first], category + 1, often, took)  # visits of no category come first
        known = category >= 0
        in_category = np.bincount(category[known], often[known], len(self.names))
        in_kind = np.bincount(self.kind_of, in_category, len(self.kinds))
        held = np.bincount(self.held_kind, counts, len(self.kinds))
        absent = np.bincount(self.held_kind, counts * self.held_absent, len(self.kinds)) / np.maximum(held, 1e-9)
        mix = held[self.kind_of] * in_category / np.maximum(in_kind[self.kind_of], 1e-9)
        return BookingModel(
            mix=mix / mix.sum(),
            absent=absent[self.kind_of],
            means=means[known],
            weights=often[known],
            category=category[known],
            shape=shape,
            arrivals=self.arrivals,
        )

    @cached_property
    def _alike(self) -> Cells:
        """Visits of one category and one fitted mean."""
        return cells_of(self.fitted.alike_visits.of_row, self.visit_category)


def slot_evidence(
    visits: pd.DataFrame, fitted: FittedVisitTime, expected: BookingMinutes, *, lateness: np.ndarray
) -> SlotEvidence:
    """Gather what the log says of bookings by category.

    Parameters
    ----------
    visits : pandas.DataFrame
        The table ``VISITS``.
    fitted : FittedVisitTime
        Minutes of visits.
    expected : BookingMinutes
        Booking categories.
    lateness : numpy.ndarray
        Arrivals after the slot in minutes; without any, everyone is punctual.

    Returns
    -------
    SlotEvidence
    """
    held = visits[visits["attendance"].isin(HELD_SLOT)].drop_duplicates("visit_id")
    kinds = list(dict.fromkeys(expected.categories["booking_kind"]))
    kind = held["booking_kind"].astype("object").fillna(ANY_KIND).astype("str")
    mapped = kind.where(kind.isin(kinds), ANY_KIND)
    without = mapped[~mapped.isin(kinds)].index
    no_slot = kind.loc[without].value_counts().to_dict()
    held, mapped = held.drop(without).reset_index(drop=True), mapped.drop(without).reset_index(drop=True)
    place = pd.Series(held.index, index=held["visit_id"])
    names = list(expected.categories.index)
    key = held["patient_key"]
    return SlotEvidence(
        names=names,
        kinds=kinds,
        kind_of=expected.categories["booking_kind"].map(kinds.index).to_numpy(dtype=int),
        held_kind=mapped.map(kinds.index).to_numpy(dtype=int),
        held_absent=(held["attendance"] != "attended").to_numpy(dtype=float),
        held_patient=("patient " + key).where(key.notna(), "visit " + held["visit_id"]).to_numpy(dtype=str),
        visit_place=fitted.sample.visits["visit_id"].map(place).fillna(-1).to_numpy(dtype=int),
        visit_category=np.array([-1 if each is None else names.index(each) for each in expected.of_visit], dtype=int),
        slot_minutes=_commonest(held, mapped),
        no_slot={str(name): int(many) for name, many in no_slot.items()},
        fitted=fitted,
        arrivals=quantiles(lateness, LUCK_SHARES) if len(lateness) else np.zeros(LUCK_STEPS),
    )


def _commonest(held: pd.DataFrame, kind: pd.Series) -> dict[str, int]:
    """Find each kind's commonest slot over the last year; of equally common ones the longer."""
    recent = held["slot_start"] > held["slot_start"].max() - pd.Timedelta(days=RECENT_DAYS)
    slots = held["slot_minutes"].where(recent & (held["slot_minutes"] > 0)).dropna().round().astype(int)
    return {str(name): int(each.mode().max()) for name, each in slots.groupby(kind.loc[slots.index])}


def draw_luck(rng: np.random.Generator, *, bookings: int, sessions: int) -> np.ndarray:
    """Draw the luck of sessions: which of 2,048 equally likely steps each thing falls on.

    Parameters
    ----------
    rng : numpy.random.Generator
    bookings, sessions : int

    Returns
    -------
    numpy.ndarray of int, shape (5, bookings, sessions)
        For category, visit, minutes, attendance and arrival.
    """
    return rng.integers(0, LUCK_STEPS, (LUCK_EACH, bookings, sessions), dtype=np.int16)


def draw_bookings(model: BookingModel, luck: np.ndarray) -> Bookings:
    """Give sessions their bookings; the same luck meets any model and any template.

    Parameters
    ----------
    model : BookingModel
    luck : numpy.ndarray of int, shape (5, bookings, sessions)
        As ``draw_luck`` gives it.

    Returns
    -------
    Bookings
        Categories in the log's mix, in no particular order. Minutes, and
        arrivals where the log has them, rise with their luck.
    """
    of_category, of_visit, of_minutes, of_coming, of_arrival = luck
    category = _places(np.cumsum(model.mix), LUCK_SHARES)[of_category]
    means = np.stack([_means(model, each, LUCK_SHARES) for each in range(len(model.mix))])
    return Bookings(
        category=category,
        minutes=means[category, of_visit] * gamma_multipliers(LUCK_SHARES, model.shape)[of_minutes],
        attends=LUCK_SHARES[of_coming] >= model.absent[category],
        late_minutes=model.arrivals[of_arrival],
    )


def _places(so_far: np.ndarray, shares: np.ndarray) -> np.ndarray:
    """Find where each share falls among running totals."""
    return np.minimum(np.searchsorted(so_far, shares * so_far[-1], side="right"), len(so_far) - 1)


def _means(model: BookingModel, category: int, shares: np.ndarray) -> np.ndarray:
    """Give the fitted mean of a category's visit at each share, in order of size."""
    mine = (model.category == category) & (model.weights > 0)
    if not mine.any():
        return np.full(len(shares), np.average(model.means, weights=model.weights))
    order = np.argsort(model.means[mine], kind="stable")
    return model.means[mine][order][_places(np.cumsum(model.weights[mine][order]), shares)]
