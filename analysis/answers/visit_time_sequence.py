"""What follows fine suction: the share that goes on to a hook, and the minutes of each path."""

from __future__ import annotations

import pandas as pd

from analysis.answers.drawn_patients import of_drawn_patients
from analysis.answers.visit_log import timed_visits, visit_basis
from analysis.answers.visit_time_words import CAUTIONS
from analysis.clinic import Clinic
from analysis.models.visit_sequence import ALONE, FEWEST_ON_PATH, Sequence, what_follows
from analysis.present import words
from analysis.present.answer import Answer, ResultRow, no_answer
from analysis.present.charts import Bar, range_chart
from analysis.present.theme import RECOMMENDED, TODAY
from analysis.problems import NotEnough
from analysis.stats.estimate import Estimate
from analysis.stats.mixed import METHOD

QUESTION = "What follows fine suction, and how long does each path take?"
FIRST, THEN = "fine_suction", "hook_or_loop"
HOW = (
    "Ears begun with fine suction, by what came second; minutes of each path on the same mix of grades, sparse paths drawn "
    "in (linear mixed model, the gamma model's variances)."
)
CONSEQUENCE = (
    "A second method comes because the first did not do: it is a sign of a harder ear, and its minutes are the whole path's, "
    "never the second method's. Nothing here says that beginning otherwise would be quicker or slower."
)


@of_drawn_patients
def what_follows_fine_suction(clinic: Clinic) -> Answer:
    """Say what share of ears begun with fine suction go on to a hook, and the minutes of each path.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    Answer
        Rows: ``path_share``, ``path_minutes`` and ``went_on_share`` by grade. Without a figure where
        the log lists no methods in order or fewer than 50 such ears.
    """
    try:
        timed = timed_visits(clinic)
        found = what_follows(timed.fitted, clinic.ears, FIRST, THEN)
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    level = timed.fitted.level
    return Answer(
        question=QUESTION,
        headline=_headline(found, level),
        how_sure=words.how_sure(level),
        table=_table(found),
        chart=range_chart(_bars(found), x_title=_minutes_are(found), from_zero=True),
        chart_title=_title(found),
        chart_text=_told(found),
        assumptions=(
            CONSEQUENCE,
            "Methods are listed in the order used; one not written down is not seen.",
            f"A path of fewer than {FEWEST_ON_PATH} ears shows no minutes; all paths are told for the same mix of grades.",
        ),
        cautions=CAUTIONS,
        basis=visit_basis(clinic, timed, HOW),
        rows=tuple(_rows(found, level)),
    )


def path_name(then: str) -> str:
    """Name a path by what came second."""
    first = words.code_label("method", FIRST)
    return f"{first} alone" if then == ALONE else f"{first}, then {words.code_label('method', then)}"


def _then(then: str) -> str:
    """Name what came second, where the first method is known from above."""
    return "nothing else" if then == ALONE else f"then {words.code_label('method', then)}"


def _path(found: Sequence, then: str) -> dict | None:
    """Give one path, where any ear took it."""
    return next((row for row in found.paths.to_dict("records") if row["then"] == then), None)


def _headline(found: Sequence, level: float) -> str:
    """Say the share that goes on to a hook and the minutes of both paths."""
    begun, hook, alone = int(found.paths["ears"].sum()), _path(found, THEN), _path(found, ALONE)
    start = f"Of {words.count(begun)} ears begun with {words.code_label('method', FIRST)}"
    second = words.code_label("method", THEN)
    if hook is None:
        return f"{start} none went on to a {second}."
    share = Estimate(hook["share"], hook["share_low"], hook["share_high"], level, begun, "")
    said = f"{start} {words.percent(share.value)} ({words.between_percent(share)}) went on to a {second}"
    if alone is None or pd.isna(hook["minutes"]) or pd.isna(alone["minutes"]):
        return f"{said}; too few did for their minutes to be told."
    adds = "added" if found.has_overhead else "took"
    return f"{said}; those harder ears {adds} {_minutes(hook, level)}, the ears that needed nothing else {_minutes(alone, level)}."


def _minutes(path: dict, level: float) -> str:
    """Say a path's minutes with their range."""
    figure = Estimate(path["minutes"], path["low"], path["high"], level, int(path["ears"]), "")
    return f"about {words.minutes(figure.value, 1)} ({words.between(figure, 1)})"


def _title(found: Sequence) -> str:
    """Say the finding."""
    alone = _path(found, ALONE)
    share = 0.0 if alone is None else alone["share"]
    if share > 0.5:
        return "Most ears begun with fine suction need nothing else; those that do are the harder ones"
    return "Most ears begun with fine suction need something else as well"


def _minutes_are(found: Sequence) -> str:
    """Say what the axis shows."""
    return "minutes an ear of this path adds" if found.has_overhead else "minutes of the visit for an ear of this path"


def _bars(found: Sequence) -> list[Bar]:
    """Give one row a path with minutes, commonest first."""
    return [
        Bar(
            f"{_then(row['then'])} ({words.percent(row['share'])} of ears)",
            row["minutes"], row["low"], row["high"], RECOMMENDED if row["then"] == ALONE else TODAY,
        )
        for row in found.paths.to_dict("records")
        if not pd.isna(row["minutes"])
    ]  # fmt: skip


def _told(found: Sequence) -> str:
    """Tell the chart."""
    said = [
        f"{bar.label} {words.number(bar.value, 1)} ({words.number(bar.low, 1)} to {words.number(bar.high, 1)})"
        for bar in _bars(found)
    ]
    return f"Minutes of each path after {words.code_label('method', FIRST)}, with their ranges: {'; '.join(said) or 'no path has ears enough'}."


def _table(found: Sequence) -> pd.DataFrame:
    """List the paths, then the share that goes on to a hook by grade."""
    paths = found.paths.assign(what=[path_name(then) for then in found.paths["then"]])
    paths = paths.rename(
        columns={"share": "path_share", "share_low": "path_share_low", "share_high": "path_share_high"}
    )
    grades = found.by_grade.rename(columns={"share": "path_share", "low": "path_share_low", "high": "path_share_high"})
    second = words.code_label("method", THEN)
    grades["what"] = [
        f"{words.code_label('grade', grade)} ears that went on to a {second}" for grade in grades["grade"]
    ]
    columns = ["what", "ears", "path_share", "path_share_low", "path_share_high"]
    table = pd.concat([paths[[*columns, "minutes", "low", "high"]], grades[columns]], ignore_index=True)
    return table.rename(columns={"what": "measure", "minutes": "added_minutes"}).astype({"ears": "int64"})


def _rows(found: Sequence, level: float) -> list[ResultRow]:
    """Keep shares and minutes; a path too rare has no minutes."""
    make, rows, begun = ResultRow, [], int(found.paths["ears"].sum())
    for row in found.paths.to_dict("records"):
        group, many = {"first": found.first, "then": row["then"] or None}, int(row["ears"])
        ends = row["share"], row["share_low"], row["share_high"], level
        rows.append(make("visit_time", "path_share", group, *ends, "share", begun, "share of ears, patients clustered"))
        value, low, high = (None if pd.isna(row[name]) else float(row[name]) for name in ("minutes", "low", "high"))
        rows.append(make("visit_time", "path_minutes", group, value, low, high, level, "minutes", many, METHOD))
    for row in found.by_grade.to_dict("records"):
        group, ends = {"grade": row["grade"], "then": row["then"]}, (row["share"], row["low"], row["high"], level)
        rows.append(
            make(
                "visit_time",
                "went_on_share",
                group,
                *ends,
                "share",
                int(row["ears"]),
                "share with Wilson score interval",
            )
        )
    return rows
