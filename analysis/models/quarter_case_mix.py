"""What a quarter's first attempts were: grades, impaction, what was found, methods and the order they came in."""

from __future__ import annotations

import pandas as pd

from analysis.models.case_mix_names import (
    BEGUN,
    CASE_MIX_SUMS,
    DRUM_INTACT,
    DRUM_UNSEEN,
    DRUM_UNUSUAL,
    FOUND,
    IMPACTED,
    MIDDLE,
    MORE_METHODS,
    NOT_IMPACTED,
    ONE_METHOD,
    THEN,
)
from analysis.models.quarter_counts import counted
from analysis.models.quarter_measures import ALL, Counts
from analysis.models.quarter_periods import THIS, Periods
from analysis.problems import NotEnough
from analysis.schema import GRADES, METHOD_JOIN
from analysis.stats.places import place_of

Flags = dict[str, pd.Series]


def case_mix_counts(attempts: pd.DataFrame, ears: pd.DataFrame, found: Periods) -> tuple[Counts, pd.DataFrame]:
    """Count what a quarter's first attempts were.

    Parameters
    ----------
    attempts, ears : pandas.DataFrame
        The tables ``ATTEMPTS`` and ``EAR_ROWS``.
    found : Periods

    Returns
    -------
    (Counts, pandas.DataFrame)
        The counts, and for each first attempt of the periods its day, patient (as ``group``) and marks.

    Raises
    ------
    NotEnough
        If the quarter has no first attempt.
    """
    first = attempts[found.within(attempts["day"]) & (attempts["attempt_number"] == 1)]
    facts = ears[place_of(ears["visit_id"], first["visit_id"]) >= 0]
    facts = facts[["visit_id", "ear", "methods", "eardrum", "middle_ear"]].drop_duplicates(["visit_id", "ear"])
    first = first.merge(facts, on=["visit_id", "ear"], how="left", validate="many_to_one")
    flags = {name: marks.fillna(False).astype(bool) for name, marks in _flags(first).items()}
    sums = {"graded": (tuple(GRADES),)} | CASE_MIX_SUMS
    counts = counted(first["day"], flags, sums, found)
    if not counts.by_period[THIS]["first", ALL]:
        raise NotEnough(
            f"The log has no first attempt at an ear in {found.quarter.label}.",
            "Record of every ear its grade, the method used and the outcome.",
        )
    patient = first["patient_key"].fillna("visit " + first["visit_id"])
    return counts, pd.DataFrame({"day": first["day"], "group": patient, **flags})


def _flags(first: pd.DataFrame) -> Flags:
    """Mark each first attempt by grade, impaction, wax, methods and findings."""
    grade, impacted = first["grade"], first["impacted"]
    flags: Flags = {
        "first": pd.Series(data=True, index=first.index),
        "graded": grade.notna(),
        **{each: grade == each for each in GRADES},
        "with_impaction": impacted.notna(),
        IMPACTED: impacted == True,  # noqa: E712  (a blank is neither)
        NOT_IMPACTED: impacted == False,  # noqa: E712
        "with_debris": first["debris"].notna(),
        **{name: first["debris"] == debris for debris, name in FOUND.items()},
    }
    return flags | _method_flags(first) | _finding_flags(first)


def _method_flags(first: pd.DataFrame) -> Flags:
    """Mark what an ear was begun with, and what came second."""
    order = first["methods"].astype("object").fillna("").astype("str").str.split(METHOD_JOIN)
    begun, then = order.str[0], order.str[1]
    more = then.notna() & (then != begun)
    return {
        "with_method": begun != "",
        **{name: begun == method for method, name in BEGUN.items()},
        ONE_METHOD: (begun != "") & ~more,
        MORE_METHODS: more,
        **{name: more & (begun == one) & (then == two) for (one, two), name in THEN.items()},
    }


def _finding_flags(first: pd.DataFrame) -> Flags:
    """Mark what was seen of the drum and the middle ear."""
    drum, middle = first["eardrum"], first["middle_ear"]
    return {
        "with_drum": drum.notna(),
        DRUM_INTACT: drum == "seen_intact",
        DRUM_UNUSUAL: drum == "seen_abnormal",
        DRUM_UNSEEN: drum == "not_seen",
        "with_middle_ear": middle.notna(),
        **{name: middle == finding for finding, name in MIDDLE.items()},
    }
