"""What is known when a visit is booked."""

from __future__ import annotations

import pandas as pd

FACTS: dict[str, dict[str, str]] = {
    "hearing_aid": {"yes": "wears a hearing aid", "no": "no hearing aid"},
    "softened": {"yes": "softened first", "no": "not softened"},
    "last_ears": {"two": "both ears worked on last time", "one": "one ear worked on last time"},
    "last_grade": {"full": "fully occluding last time", "less": "less occluded last time"},
}
"""The facts a booking category may hang on besides the kind, and how they are said."""

ANY_KIND = "other"
"""Kind of a booking whose kind is not recorded."""


def booking_facts(visits: pd.DataFrame, ears: pd.DataFrame) -> pd.DataFrame:
    """List what was known of each visit when it was booked.

    Parameters
    ----------
    visits, ears : pandas.DataFrame
        The tables ``VISITS`` and ``EAR_ROWS``.

    Returns
    -------
    pandas.DataFrame, indexed by ``visit_id``
        ``booking_kind`` (``other`` where not recorded), ``hearing_aid`` and
        ``softened`` (``yes``, ``no`` or blank), ``last_grade`` (``full`` where
        either ear was fully occluding at the patient's last attended visit,
        ``less`` where none was, blank without one), ``last_ears`` (``two`` or
        ``one`` ear noted at that visit), ``practitioner``.

    Notes
    -----
    *Softened* is what was done before the visit: an agent named, or not advised
    and none named. At booking it is known as what the patient is asked to do.
    """
    facts = pd.DataFrame({"visit_id": visits["visit_id"]})
    facts["booking_kind"] = visits["booking_kind"].astype("object").fillna(ANY_KIND).astype("str")
    facts["hearing_aid"] = visits["hearing_aid"].map({True: "yes", False: "no"}).astype("object")
    facts["softened"] = _softened(visits)
    facts["last_grade"] = _last_grade(visits, ears)
    facts["last_ears"] = _last_ears(visits, ears)
    facts["practitioner"] = visits["practitioner"].astype("object")
    return facts.drop_duplicates("visit_id").set_index("visit_id")


def _softened(visits: pd.DataFrame) -> pd.Series:
    """Say whether the ears were softened before the visit."""
    agent = visits["softener"].astype("object")
    softened = agent.notna().map({True: "yes", False: None}).astype("object").mask(agent == "none", "no")
    not_asked = (visits["softening_advised"] == False).fillna(False)  # noqa: E712 - the column holds blanks
    return softened.mask(softened.isna() & not_asked, "no")


def _last_grade(visits: pd.DataFrame, ears: pd.DataFrame) -> pd.Series:
    """Say how full the patient's fuller ear was at the attended visit before."""
    order = {grade: place for place, grade in enumerate(ears["grade"].cat.categories)}
    before = _last_time(visits, ears["grade"].astype("object").map(order).groupby(ears["visit_id"]).max())
    said = (before == order["fully_occluding"]).map({True: "full", False: "less"}).astype("object")
    return said.where(before.notna())


def _last_ears(visits: pd.DataFrame, ears: pd.DataFrame) -> pd.Series:
    """Say how many of the patient's ears were worked on at the attended visit before."""
    worked = ears[ears["methods"].notna()]
    before = _last_time(visits, worked.groupby("visit_id")["ear"].nunique().astype(float))
    return (before >= 2).map({True: "two", False: "one"}).astype("object").where(before.notna())


def _last_time(visits: pd.DataFrame, by_visit: pd.Series) -> pd.Series:
    """Give each booking what was found at the patient's last attended visit before it; blank without one."""
    seen = pd.DataFrame(
        {"patient": visits["patient_key"], "slot": visits["slot_start"], "visit_id": visits["visit_id"]}
    )
    came = visits["attendance"].eq("attended").fillna(False)
    seen["found"] = visits["visit_id"].map(by_visit).where(came)
    seen = seen[seen["patient"].notna()].sort_values(["patient", "slot", "visit_id"])
    so_far = seen.groupby("patient")["found"].ffill()
    return so_far.groupby(seen["patient"]).shift().reindex(visits.index)
