"""Published trials as they are kept in ``shared/evidence``."""

from __future__ import annotations

import pandas as pd

from analysis.intake.vocabulary import shared_folder
from analysis.problems import DataProblem

TRIALS, COMPARISONS = "trials.csv", "comparisons.csv"
NEEDED = {
    TRIALS: ("study", "year", "comparison", "arm", "unit", "n", "events", "outcome_definition", "how_known"),
    COMPARISONS: ("question", "study", "year", "comparison", "treated", "control", "left_out"),
}
NUMBERS = ("year", "n", "events")


def published_trials() -> tuple[pd.DataFrame, pd.DataFrame]:
    """Read the published arms, and which of them answer which question.

    Returns
    -------
    trials, comparisons : pandas.DataFrame
        As ``models.softening_evidence.usable_studies`` wants them.

    Raises
    ------
    DataProblem
        If a file is missing or lacks a column.

    Examples
    --------
    >>> trials, comparisons = published_trials()
    >>> int(trials.set_index(["study", "arm"]).loc[("Piromchai", "A"), "events"])
    41
    """
    trials, comparisons = (_read(name) for name in NEEDED)
    return trials, comparisons


def _read(name: str) -> pd.DataFrame:
    """Read one table: words as text, counts as numbers, an empty word as none."""
    path = shared_folder() / "evidence" / name
    remedy = "Fetch the file again from the project, or install the package anew."
    if not path.exists():
        raise DataProblem("The table of published trials is missing.", remedy, file=name)
    table = pd.read_csv(path, dtype="str", keep_default_na=False)
    lacking = [column for column in NEEDED[name] if column not in table]
    if lacking:
        raise DataProblem(f"The table of published trials lacks {', '.join(lacking)}.", remedy, file=name)
    return table.assign(**{each: pd.to_numeric(table[each]) for each in NUMBERS if each in table})
