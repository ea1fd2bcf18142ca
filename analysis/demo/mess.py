"""What time, haste and two systems do to a clean log: clocks, slips, doubles and test patients."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

ROUNDER = "Cedar"  # rounds every time to five minutes
FILLED_SHARES = {"Ash": 0.03, "Birch": 0.03, "Cedar": 0.03, "Rowan": 0.15}
BLANK_END_SHARE, SWAPPED_SHARE, IMPOSSIBLE_SHARE = 0.03, 0.004, 0.002
BLANK_ARRIVAL_SHARE = 0.05
NOT_SEEN = 5
IMPOSSIBLE_CLOCKS = ("25:70", "10:75", "24:61")
SLIP_SHARE = 0.006
LONG_WORDS = r"[^\d/&>+]{7,}"  # a slip in a short word could make another word of it
TEST_NAMES = (("TEST", "Test"), ("ZZ test", "ZZ"))
TEST_NUMBER = "99999"
Counts = dict[str, Any]


def messy_clocks(rng: np.random.Generator, visits: pd.DataFrame) -> tuple[pd.DataFrame, Counts]:
    """Write arrivals, starts and ends as the staff did, and count each kind of mess.

    A visit has at most one of: end filled from the slot (start too), blank end,
    end before start, a time that no clock shows. Rounding is one practitioner's
    habit and counts where none of those overlays it. Some visits take exactly
    their slot without being filled in; nobody can tell them apart, so both
    counts are given.
    """
    came = (visits["attendance"] == "attended").to_numpy()
    kind = np.where(came, _draw_kinds(rng, visits), NOT_SEEN)
    filled, blank, swapped, impossible, timed = (kind == each for each in range(NOT_SEEN))
    rounded = timed & (visits["practitioner"] == ROUNDER).to_numpy()
    slot_start = visits["slot_start"]
    slot_end = slot_start + pd.to_timedelta(visits["slot_minutes"], unit="m")
    start, end = _rounded(visits["started_at"], visits["ended_at"], rounded)
    start, end = start.mask(filled, slot_start), end.mask(filled, slot_end)
    as_the_slot = ((start == slot_start) & (end == slot_end)).to_numpy() & (filled | timed)
    start, end = start.mask(swapped, end), end.mask(swapped, start)
    no_arrival = rng.random(len(visits)) < BLANK_ARRIVAL_SHARE
    wrong = rng.choice(IMPOSSIBLE_CLOCKS, len(visits))
    clocks = pd.DataFrame(
        {
            "arrived": _clock(visits["arrived_at"]).mask(no_arrival, ""),
            "start": _clock(start),
            "end": _clock(end).mask(blank, "").where(~impossible, wrong),
        }
    )
    counted = {
        "ends_filled_from_slot": filled,
        "start_and_end_those_of_the_slot": as_the_slot,
        "ends_blank": blank,
        "ends_before_start": swapped,
        "impossible_clocks": impossible,
        "rounded_to_five_minutes": rounded,
        "timed_and_untouched": timed & ~rounded,
    }
    return clocks, {name: int(which.sum()) for name, which in counted.items()}


def _draw_kinds(rng: np.random.Generator, visits: pd.DataFrame) -> np.ndarray:
    """Draw each visit's kind of mess: 0 filled, 1 blank, 2 swapped, 3 impossible, 4 none."""
    filled_share = visits["practitioner"].map(FILLED_SHARES).to_numpy(dtype=float)
    edges = filled_share + np.cumsum([0.0, BLANK_END_SHARE, SWAPPED_SHARE, IMPOSSIBLE_SHARE])[:, None]
    return (rng.random(len(visits)) > edges).sum(axis=0)


def _rounded(start: pd.Series, end: pd.Series, which: np.ndarray) -> tuple[pd.Series, pd.Series]:
    """Round both ends to five minutes; a visit keeps at least five."""
    rounded_start, rounded_end = start.dt.round("5min"), end.dt.round("5min")
    rounded_end = rounded_end.mask(rounded_end <= rounded_start, rounded_start + pd.Timedelta(minutes=5))
    return start.mask(which, rounded_start), end.mask(which, rounded_end)


def _clock(moment: pd.Series) -> pd.Series:
    """Write the time of day; empty where there is none."""
    return moment.dt.strftime("%H:%M").fillna("").astype("str")


def slip_words(rng: np.random.Generator, frame: pd.DataFrame, columns: list[str]) -> tuple[pd.DataFrame, int]:
    """Swap two letters in a few long words of some columns; gives a new frame and how many cells slipped."""
    slipped, made = 0, {}
    for column in columns:
        texts = frame[column].to_numpy(dtype=object, copy=True)
        long = frame[column].str.fullmatch(LONG_WORDS, na=False).to_numpy()
        for row in np.flatnonzero(long & (rng.random(len(frame)) < SLIP_SHARE)):
            before, texts[row] = texts[row], _swap_letters(texts[row], int(rng.integers(0, 1000)))
            slipped += texts[row] != before
        made[column] = texts
    return frame.assign(**made), int(slipped)


def _swap_letters(text: str, number: int) -> str:
    """Swap two neighbouring letters within a word, not its first."""
    places = [at for at in range(1, len(text) - 1) if text[at - 1 : at + 2].isalpha() and text[at] != text[at + 1]]
    if not places:
        return text
    at = places[number % len(places)]
    return text[:at] + text[at + 1] + text[at] + text[at + 2 :]


def put_into(
    rng: np.random.Generator, frame: pd.DataFrame, column: str, texts: tuple[str, ...], n: int
) -> tuple[pd.DataFrame, int]:
    """Overwrite some filled cells of a column; gives a new frame and how many."""
    cells = frame[column].to_numpy(dtype=object, copy=True)
    filled = np.flatnonzero(cells != "")
    rows = rng.choice(filled, min(n, len(filled)), replace=False)
    cells[rows] = rng.choice(texts, len(rows))
    return frame.assign(**{column: cells}), len(rows)


def doubled_rows(rng: np.random.Generator, frame: pd.DataFrame, n: int) -> pd.DataFrame:
    """Repeat some rows exactly, each somewhere below its first."""
    rows = np.sort(rng.choice(len(frame), n, replace=False))
    places = np.concatenate([np.arange(len(frame)), rows + rng.integers(1, 40, n) + 0.5])
    return pd.concat([frame, frame.iloc[rows]]).iloc[np.argsort(places, kind="stable")].reset_index(drop=True)
