"""Can the log be trusted: how complete it is, and which rows could not be used."""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go

from analysis.answers import trust_words as say
from analysis.answers.trust_record import minutes_by_part_checks, minutes_by_part_rows, record_checks
from analysis.clinic import Clinic
from analysis.models.completeness import Recorded, ends_on_fives, facts_recorded, minutes_known
from analysis.present import words
from analysis.present.answer import FAILED, INFORMATION, PASSED, Answer, Basis, Check, ResultRow, no_answer
from analysis.present.charts import Bar, range_chart
from analysis.present.theme import RECOMMENDED, TODAY
from analysis.problems import NotEnough
from analysis.schema import MINUTES_QUALITY
from analysis.stats.proportions import wilson_share
from analysis.stats.small_counts import hidden_counts

TRUST = "Can I trust my log?"
ASIDE = "What was set aside, and why?"
SECTION = "intake"
METHOD = "Counts; ranges of shares are Wilson score intervals."


def can_i_trust_my_log(clinic: Clinic) -> Answer:
    """Say how complete the log is, what its gaps do to the answers, and what to record.

    Parameters
    ----------
    clinic : Clinic
        Its record may be empty; then rows of the exports are not spoken of.

    Returns
    -------
    Answer
        One row of the table a fact, the thinnest first. Rows: ``rows_in``,
        ``rows_kept``, ``rows_set_aside``, ``fact_recorded``, ``minutes_quality``,
        ``minutes_quality_by_export``, ``minutes_quality_by_practitioner``.
    """
    try:
        _refuse_if_empty(clinic)
    except NotEnough as reason:
        return no_answer(TRUST, reason)
    level = clinic.settings.level
    facts, known = facts_recorded(clinic.visits, clinic.ears), minutes_known(clinic.visits)
    lacking = say.standing(facts)
    return Answer(
        TRUST,
        _headline(clinic, lacking, known),
        how_sure="Counts of this log are exact. Ranges show what the same habits of recording would give again. "
        + words.how_sure(level),
        table=_facts_table(facts),
        chart=_facts_chart(facts, level),
        chart_title=say.title(facts),
        chart_text=say.chart_text(facts),
        assumptions=(
            "Whether a fact was written down can be seen; whether it is true cannot.",
            f"What a question needs counts as recorded where each fact it stands on is recorded at least {words.percent(say.ENOUGH_SHARE)} "
            "of the time (our own line, no source). Whether visits are enough for a figure, each answer says itself.",
            "What is missing is taken to be missing by chance; where blanks come with hard or hurried visits, the answers lean.",
        ),
        checks=(
            *say.question_checks(lacking),
            _minutes_check(known),
            *minutes_by_part_checks(clinic),
            say.fives_check(*ends_on_fives(clinic.visits)),
            *record_checks(clinic.record),
            *say.contradiction_checks(clinic.record.get("contradictions", {})),
        ),
        basis=Basis(len(clinic.visits), "bookings", _left_out(clinic), clinic.first_day, clinic.last_day, METHOD),
        rows=(
            *_row_counts(clinic),
            *_fact_rows(facts, level),
            *_minutes_rows(known, level),
            *minutes_by_part_rows(clinic),
        ),
    )


def what_was_set_aside(clinic: Clinic) -> Answer:
    """Say which rows of the exports could not be used, why, and what to do.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    Answer
        One row of the table a reason, the commonest first. Nothing set aside
        is said in the headline, with an empty table. Rows: ``rows_set_aside_by_reason``.
    """
    if clinic.visits.empty and clinic.set_aside.empty:
        return no_answer(ASIDE, NotEnough("The log holds no row.", "Put at least one export with rows into exports."))
    total, rows_in = len(clinic.set_aside), clinic.rows_shown["rows_in"]
    reasons = _without_small(_reasons(clinic.set_aside), _bound(clinic))
    return Answer(
        ASIDE,
        _aside_headline(clinic, reasons, total, rows_in),
        how_sure="A count, so it has no range. Every row was either kept or set aside; none was changed in the exports.",
        table=reasons,
        assumptions=("A row that says the same as another tells of the same visit, and not of a second one.",),
        checks=(*_nothing_lost_check(clinic), *_hidden_check(reasons, _bound(clinic))),
        basis=None if pd.isna(clinic.first_day) else Basis(
            rows_in if rows_in is not None else len(clinic.visits),
            "rows of the exports" if rows_in is not None else "bookings",
            {},
            clinic.first_day,
            clinic.last_day,
            "Each row of the exports is judged by itself, then beside those that tell of the same visit.",
        ),
        rows=(
            *_aside_rows(total, rows_in),
            *(
                _count_row("rows_set_aside_by_reason", many, reason=reason)
                for reason, many in zip(reasons["reason"], reasons["rows"].tolist(), strict=True)
            ),
        ),
    )  # fmt: skip


def _refuse_if_empty(clinic: Clinic) -> None:
    """Refuse a log without an attended visit: there is nothing to be complete."""
    if not (clinic.visits["attendance"] == "attended").any():
        raise NotEnough("The log shows no attended visit.", "Record of every booking whether the patient came.")
    if pd.isna(clinic.first_day):
        raise say.NO_DATES


def _headline(clinic: Clinic, lacking: dict[str, list[str]], known: dict[str, int]) -> str:
    """Give the verdict with the rows used, the share of real minutes, its range and the period."""
    timed = wilson_share(known["timed"], sum(known.values()), clinic.settings.level)
    rows_in = clinic.record.get("rows_in")
    used = say.rows_used(rows_in, clinic.record.get("rows_kept", 0), len(clinic.visits), _bound(clinic))
    return (
        f"{say.verdict(lacking)}: {used}, and minutes are really timed for {words.percent(timed.value)} of attended visits "
        f"({words.between_percent(timed)}), {words.months(clinic.first_day, clinic.last_day)}."
    )


def _left_out(clinic: Clinic) -> dict[str, int]:
    """Say how many rows were set aside."""
    return {"rows of the exports, which were set aside": clinic.record.get("rows_set_aside", len(clinic.set_aside))}


def _facts_table(facts: dict[str, Recorded]) -> pd.DataFrame:
    """Lay out every fact, the thinnest first: how often recorded, what it feeds, what to record."""
    rows = [
        {
            "fact": words.label(fact.fact),
            "recorded_share": fact.share,
            "n": fact.of,
            "of_what": fact.of_what,
            "feeds": say.NEEDS[fact.fact].feeds,
            "gap_means": say.effect(fact),
            "to_record": say.what_to_record(fact),
        }
        for fact in say.thinnest_first(facts)
    ]
    return pd.DataFrame(rows)


def _facts_chart(facts: dict[str, Recorded], level: float) -> go.Figure:
    """Draw how often the thinnest facts are recorded, with ranges; well recorded ones in grey."""
    bars = []
    for fact in say.thinnest_first(facts)[: say.MOST_DRAWN]:
        share = wilson_share(fact.recorded, fact.of, level)
        colour = TODAY if fact.share >= say.WELL_RECORDED else RECOMMENDED
        bars.append(Bar(f"{words.label(fact.fact)}, of {fact.of_what}", fact.share, share.low, share.high, colour))
    return range_chart(bars, x_title="share recorded", from_zero=True, percent=True)


def _minutes_check(known: dict[str, int]) -> Check:
    """Say how the minutes of attended visits are known."""
    total = sum(known.values())
    told = [
        f"{MINUTES_QUALITY[code]} {words.percent(many / total)} ({words.count(many)})"
        for code, many in known.items()
        if many
    ]
    return Check(
        "How minutes are known", INFORMATION, f"Of {words.plural(total, 'attended visit')}: {', '.join(told)}."
    )


def _count_row(quantity: str, many: int | None, **group: str) -> ResultRow:
    """Keep a count of rows; a hidden one has no figure."""
    value = None if pd.isna(many) else float(many)
    return ResultRow(SECTION, quantity, group, value, None, None, None, "rows", None, "count")


def _aside_rows(total: int, rows_in: int | None) -> list[ResultRow]:
    """Keep the share set aside, where the rows read may be told."""
    if not rows_in:
        return []
    return [
        ResultRow(SECTION, "rows_set_aside_share", {}, total / rows_in, None, None, None, "share", rows_in, "count")
    ]


def _row_counts(clinic: Clinic) -> list[ResultRow]:
    """Keep the rows read, kept and set aside, where intake counted them."""
    return [_count_row(name, many) for name, many in clinic.rows_shown.items() if name in clinic.record]


def _fact_rows(facts: dict[str, Recorded], level: float) -> list[ResultRow]:
    """Keep how often each fact is recorded."""
    return [
        ResultRow.from_estimate(
            SECTION, "fact_recorded", "share", wilson_share(fact.recorded, fact.of, level), fact=fact.fact
        )
        for fact in facts.values()
        if fact.of
    ]


def _minutes_rows(known: dict[str, int], level: float) -> list[ResultRow]:
    """Keep how the minutes of attended visits are known."""
    total = sum(known.values())
    return [
        ResultRow.from_estimate(SECTION, "minutes_quality", "share", wilson_share(many, total, level), quality=code)
        for code, many in known.items()
    ]


def _reasons(set_aside: pd.DataFrame) -> pd.DataFrame:
    """Count the rows set aside by reason, the commonest first."""
    keys = ["reason", "remedy"]
    counted = set_aside[keys].fillna("").groupby(keys, as_index=False).size().rename(columns={"size": "rows"})
    ordered = counted.sort_values(["rows", "reason"], ascending=[False, True], ignore_index=True)
    return ordered[["reason", "rows", "remedy"]]


def _without_small(reasons: pd.DataFrame, hide_below: int) -> pd.DataFrame:
    """Hide small counts of reasons, and those that would give them away beside the total."""
    counts = reasons["rows"].tolist()
    hidden = hidden_counts([*counts, sum(counts)], [(len(counts), range(len(counts)))], hide_below)[:-1]
    return reasons.assign(rows=reasons["rows"].astype("Int64").mask(hidden))


def _hidden_check(reasons: pd.DataFrame, hide_below: int) -> tuple[Check, ...]:
    """Say that small counts are hidden, where some are."""
    if not reasons["rows"].isna().any():
        return ()
    told = f"Counts under {hide_below} are not shown, nor others that would give them away."
    return (Check("Small numbers hidden", INFORMATION, told),)


def _bound(clinic: Clinic) -> int:
    """Give the count from which on a count may be shown."""
    return clinic.settings.clinic.hide_below


def _aside_headline(clinic: Clinic, reasons: pd.DataFrame, total: int, rows_in: int | None) -> str:
    """Say how many rows were set aside, and most often why."""
    period = "" if pd.isna(clinic.first_day) else f", {words.months(clinic.first_day, clinic.last_day)}"
    if not total:
        all_rows = "" if rows_in is None else f": all {words.plural(rows_in, 'row')} could be used"
        return f"Nothing was set aside{all_rows}{period}."
    few = total < _bound(clinic)
    of_all = f" of {words.plural(rows_in, 'row')} ({words.percent(total / rows_in)})" if rows_in else ""
    first = reasons.iloc[0]
    noun = "" if rows_in else f" {'row' if total == 1 else 'rows'}"
    many = "" if pd.isna(first["rows"]) else f" ({words.count(first['rows'])})"
    why = f"most often: {first['reason']}{many}" if len(reasons) > 1 else f"for {first['reason']}"
    said, noun = (f"Fewer than {_bound(clinic)}", " rows") if few else (words.count(total), noun)
    return f"{said}{of_all or noun} {'was' if total == 1 and not few else 'were'} set aside, {why}{period}."


def _nothing_lost_check(clinic: Clinic) -> tuple[Check, ...]:
    """Check that rows kept and rows set aside make up the rows read."""
    rows_in, kept = (clinic.record.get(name) for name in ("rows_in", "rows_kept"))
    if rows_in is None or kept is None:
        return ()
    aside = len(clinic.set_aside)
    result = PASSED if rows_in == kept + aside else FAILED
    told = f"{words.count(rows_in)} rows read; {words.count(kept)} kept and {words.count(aside)} set aside."
    if result == PASSED and 0 < aside < _bound(clinic):
        told = f"All rows read were kept but fewer than {_bound(clinic)}, which were set aside."
    return (Check("No row lost", result, told),)
