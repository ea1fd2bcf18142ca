"""What practitioners are called in anything that may leave the clinic."""

from __future__ import annotations

import pandas as pd

NOBODY = "practitioner not recorded"


def practitioner_labels(visits: pd.DataFrame, *, show_names: bool) -> pd.Series:
    """Label each booking's practitioner.

    Parameters
    ----------
    visits : pandas.DataFrame
        The table ``VISITS``: the whole log, so that a label stays the same
        from quarter to quarter.
    show_names : bool
        Show the names themselves.

    Returns
    -------
    pandas.Series of str
        With the bookings' index. Without names, practitioners are numbered by
        their first booking in the log, which tells less than the alphabet.

    Examples
    --------
    >>> visits = pd.DataFrame({
    ...     "practitioner": ["Zoe", "Ann", "Zoe", None],
    ...     "slot_start": pd.to_datetime(["2026-01-02", "2026-01-03", "2026-01-04", "2026-01-05"])})
    >>> practitioner_labels(visits, show_names=False).tolist()
    ['practitioner 1', 'practitioner 2', 'practitioner 1', 'practitioner not recorded']
    """
    whose, names = pd.factorize(visits["practitioner"].fillna(""))
    first = visits["slot_start"].groupby(whose).min()
    known = pd.DataFrame({"first": first, "name": names[first.index]}).query("name != ''")
    order = known.sort_values(["first", "name"])["name"].tolist()
    labels = {who: f"practitioner {who if show_names else place}" for place, who in enumerate(order, start=1)}
    called = pd.Series([labels.get(name, NOBODY) for name in names], dtype="str")
    return pd.Series(called.array.take(whose), index=visits.index)
