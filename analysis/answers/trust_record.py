"""What intake and the log's own parts say of its trustworthiness: columns dropped, words not known, habits of timing."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from analysis.clinic import Clinic
from analysis.derive.export_labels import export_labels
from analysis.derive.practitioner_labels import practitioner_labels
from analysis.models.completeness import minutes_by
from analysis.present import words
from analysis.present.answer import INFORMATION, Check, ResultRow
from analysis.schema import MINUTES_QUALITY
from analysis.stats.proportions import wilson_share

FEWEST_VISITS = 20
"""Attended visits from which a part's habits of timing are told (our own line, no source)."""


def record_checks(record: Mapping[str, Any]) -> list[Check]:
    """Say which columns were dropped because they identify people, and which words were not understood.

    Parameters
    ----------
    record : mapping
        What intake wrote; an empty one gives no check.

    Returns
    -------
    list of Check
    """
    checks = []
    dropped = sorted({heading for file in record.get("files", []) for heading in _identifying(file)})
    if dropped:
        told = f"{words.joined(dropped)}: dropped before anything was kept; of a patient's number a pseudonym stays."
        checks.append(Check("Columns that identify people", INFORMATION, told))
    unknown = {
        column: sum(each["count"] for each in found["unknown"].values())
        for column, found in record.get("words", {}).items()
        if found.get("unknown")
    }
    if unknown:
        told = "; ".join(f"{words.label(column)} in {words.plural(many, 'row')}" for column, many in unknown.items())
        remedy = "Each counts as not recorded until it stands under [words] in clinic.toml."
        checks.append(Check("Words not understood", INFORMATION, f"{told[:1].upper()}{told[1:]}. {remedy}"))
    return checks


def _identifying(file: Mapping[str, Any]) -> list[str]:
    """List the headings of one file that were dropped."""
    headings = file.get("headings", {})
    return [*headings.get("identifying", []), *headings.get("looked_identifying", {})]


def minutes_by_part_checks(clinic: Clinic) -> list[Check]:
    """Say where minutes are really timed least and most: by export, and by practitioner.

    Parameters
    ----------
    clinic : Clinic
        ``clinic.show_practitioner_names`` says whether practitioners are named.

    Returns
    -------
    list of Check
        None for a division with fewer than two parts of at least ``FEWEST_VISITS`` attended visits.
    """
    checks = []
    for name, parts in (("export", _exports(clinic)), ("practitioner", _practitioners(clinic))):
        table = minutes_by(clinic.visits, parts)
        table = table[table.sum(axis=1) >= FEWEST_VISITS]
        if len(table) < 2:
            continue
        shares = (table["timed"] / table.sum(axis=1)).sort_values(kind="stable")
        ends = [f"{words.percent(shares.iloc[place])} ({shares.index[place]})" for place in (0, -1)]
        told = f"Timed from {ends[0]} to {ends[1]}. These are habits of writing times, not of working."
        checks.append(Check(f"Minutes really timed, by {name}", INFORMATION, told))
    return checks


def minutes_by_part_rows(clinic: Clinic) -> list[ResultRow]:
    """Keep how minutes are known by export and by practitioner, parts of few visits left out."""
    rows = []
    for name, parts in (("export", _exports(clinic)), ("practitioner", _practitioners(clinic))):
        table = minutes_by(clinic.visits, parts)
        for part, counts in table[table.sum(axis=1) >= FEWEST_VISITS].iterrows():
            for quality in MINUTES_QUALITY:
                share = wilson_share(int(counts[quality]), int(counts.sum()), clinic.settings.level)
                group = {name: str(part), "quality": quality}
                rows.append(ResultRow.from_estimate("intake", f"minutes_quality_by_{name}", "share", share, **group))
    return rows


def _exports(clinic: Clinic) -> pd.Series:
    """Call each export by the days of its bookings."""
    return export_labels(clinic.visits)


def _practitioners(clinic: Clinic) -> pd.Series:
    """Call each practitioner as the clinic's settings say."""
    return practitioner_labels(clinic.visits, show_names=clinic.settings.clinic.show_practitioner_names)
