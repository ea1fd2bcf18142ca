"""The worked ears of visits whose minutes count, with what was found in them and how it ended."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.models.visit_sample import VisitSample
from analysis.schema import METHOD_JOIN, SUCCESSES
from analysis.stats.places import place_of

NARROW_OR_TORTUOUS = ("narrow", "tortuous", "narrow_and_tortuous")
FOUND = ("impacted", "debris", "canal", "methods", "outcome")


def sample_ears(sample: VisitSample, ears: pd.DataFrame) -> pd.DataFrame:
    """Set beside each worked ear of a sample what the log says of it.

    Parameters
    ----------
    sample : VisitSample
    ears : pandas.DataFrame
        The table ``EAR_ROWS``.

    Returns
    -------
    pandas.DataFrame
        The rows of ``sample.ears`` in their order, with ``impacted``,
        ``debris``, ``canal``, ``methods`` and ``outcome``; blank where not recorded.
    """
    mine = ears[["ear", *FOUND]].assign(visit=place_of(ears["visit_id"], sample.visits["visit_id"]))
    mine = mine[mine["visit"] >= 0].drop_duplicates(["visit", "ear"])
    side = sample.ears["ear"].astype("object").fillna("")
    mine["ear"] = mine["ear"].astype("object").fillna("")
    return sample.ears.assign(ear=side).merge(mine, on=["visit", "ear"], how="left")


def found_facts(ears: pd.DataFrame) -> dict[str, np.ndarray]:
    """Say of each worked ear which facts make it harder; shape (ears,) each, true or false.

    A fact the log never records is not listed.

    Examples
    --------
    >>> ears = pd.DataFrame({"impacted": [True, None], "debris": ["dead_skin", "soft_wax"], "canal": [None, None]})
    >>> {name: found.tolist() for name, found in found_facts(ears).items()}
    {'impacted': [True, False], 'dead_skin': [True, False]}
    """
    facts = {}
    if ears["impacted"].notna().any():
        facts["impacted"] = ears["impacted"].eq(True).fillna(False).to_numpy(dtype=bool)
    if ears["debris"].notna().any():
        facts["dead_skin"] = ears["debris"].isin(["dead_skin", "mixed"]).to_numpy()
    if ears["canal"].notna().any():
        facts["narrow_or_tortuous"] = ears["canal"].isin(NARROW_OR_TORTUOUS).to_numpy()
    return facts


def cleared(ears: pd.DataFrame) -> np.ndarray:
    """Say of each worked ear whether it ended clear or with a non-occluding remnant; blank outcomes are not."""
    return ears["outcome"].isin(SUCCESSES).to_numpy()


def later_methods(ears: pd.DataFrame) -> pd.Series:
    """Say of each worked ear which method came second; empty where none did or methods are not recorded.

    Examples
    --------
    >>> later_methods(pd.DataFrame({"methods": ["fine_suction>hook_or_loop", "forceps", None]})).tolist()
    ['hook_or_loop', '', '']
    """
    in_order = ears["methods"].astype("object").fillna("").astype(str).str.split(METHOD_JOIN)
    return in_order.map(lambda each: each[1] if len(each) > 1 else "").astype("object")
