"""What is known when a visit is booked."""

from __future__ import annotations

import pandas as pd

from analysis.schema import GRADES
from analysis.stats.places import place_of

FACTS: dict[str, dict[str, str]] = {
    "hearing_aid": {"yes": "wears a hearing aid", "no": "no hearing aid"},
    "softened": {"yes": "softened first", "no": "not softened"},
    "last_ears": {"two": "both ears worked on last time", "one": "one ear worked on last time"},
    "last_grade": {"full": "fully occluding last time", "less": "less occluded last time"},
}
"""The facts a booking category may hang on besides the kind, and how they are said."""

FULLEST = list(GRADES).index("fully_occluding")
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
    before = _last_time(visits, _found(visits, ears))
    facts["last_grade"] = _said(before["grade"], before["grade"] == FULLEST, "full", "less")
    facts["last_ears"] = _said(before["ears"], before["ears"] >= 2, "two", "one")
    facts["practitioner"] = visits["practitioner"].astype("object")
    return facts.drop_duplicates("visit_id").set_index("visit_id")


def _softened(visits: pd.DataFrame) -> pd.Series:
    """Say whether the ears were softened before the visit."""
    agent = visits["softener"].astype("object")
    softened = agent.notna().map({True: "yes", False: None}).astype("object").mask(agent == "none", "no")
    not_asked = (visits["softening_advised"] == False).fillna(False)  # noqa: E712 - the column holds blanks
    return softened.mask(softened.isna() & not_asked, "no")


def _said(before: pd.Series, yes: pd.Series, if_yes: str, if_no: str) -> pd.Series:
    """Put a fact in words where something was found before."""
    return yes.map({True: if_yes, False: if_no}).astype("object").where(before.notna())


def _found(visits: pd.DataFrame, ears: pd.DataFrame) -> pd.DataFrame:
    """Give each attended visit the grade of its fuller ear, by its place among the grades, and how many ears were worked on."""
    ears = pd.DataFrame(
        {
            "visit": place_of(ears["visit_id"], visits["visit_id"]),
            "grade": ears["grade"].astype("object").map({grade: place for place, grade in enumerate(GRADES)}),
            "ear": ears["ear"].where(ears["methods"].notna()),
        }
    )
    by_visit = ears.groupby("visit")
    worked = ears.dropna(subset="ear").drop_duplicates(["visit", "ear"]).groupby("visit").size()
    found = pd.DataFrame({"grade": by_visit["grade"].max(), "ears": worked}, index=range(len(visits)), dtype=float)
    came = visits["attendance"].eq("attended").fillna(False).astype(bool)
    found = found.set_axis(visits.index)
    found.loc[~came] = float("nan")
    return found


def _last_time(visits: pd.DataFrame, found: pd.DataFrame) -> pd.DataFrame:
    """Give each booking what was found at the patient's last attended visit before it; blank without one."""
    order = visits[["patient_key", "slot_start", "visit_id"]].dropna(subset="patient_key")
    order = order.sort_values(["patient_key", "slot_start", "visit_id"])
    so_far = found.loc[order.index].groupby(order["patient_key"]).ffill()
    return so_far.groupby(order["patient_key"]).shift().reindex(visits.index)
