"""Can the log's times be believed: rounded, or copied from the diary."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd
import plotly.graph_objects as go

from analysis.answers import trust_times_words as say
from analysis.answers.trust_words import NO_DATES
from analysis.clinic import Clinic
from analysis.derive.practitioner_labels import practitioner_labels
from analysis.models.log_heaping import FEWEST_TIMES, Copying, Rounding, copied_times, rounded_times
from analysis.present import words
from analysis.present.answer import FAILED, PASSED, Answer, Basis, Check, no_answer
from analysis.present.charts import Bar, range_chart
from analysis.present.theme import RECOMMENDED, TODAY
from analysis.problems import NotEnough
from analysis.stats.proportions import wilson_share

ROUNDED = "Are times rounded?"
COPIED = "Are times copied from the diary?"


def are_times_rounded(clinic: Clinic) -> Answer:
    """Say how many times were rounded to five minutes, and by whom.

    Parameters
    ----------
    clinic : Clinic
        Its settings say whether practitioners are named.

    Returns
    -------
    Answer
        One row of the table a kind of time and a practitioner. Its first
        check fails where rounding is beyond what chance brings.
    """
    if pd.isna(clinic.first_day):
        return no_answer(ROUNDED, NO_DATES)
    found = rounded_times(clinic.visits, practitioners(clinic))
    if not found:
        return no_answer(ROUNDED, too_few("an end, an arrival or minutes"))
    flagged = [each for each in found if each.flagged]
    return Answer(
        ROUNDED,
        say.rounded_headline(found, period(clinic)),
        how_sure=say.STRICT_RANGES,
        table=_rounded_table(found),
        chart=_rounded_chart(found),
        chart_title=say.rounded_title(found),
        chart_text=say.rounded_text(found),
        assumptions=say.ROUNDED_ASSUMPTIONS,
        cautions=say.NO_RANKING,
        checks=(
            Check("Times as they were", FAILED if flagged else PASSED, say.rounded_check(flagged)),
            *say.consequences(say.ROUNDED_MEANS, say.ROUNDED_RECORD),
        ),
        basis=log_basis(clinic, max(each.index.n for each in found), "times", say.ROUNDED_METHOD),
    )


def are_times_copied_from_the_diary(clinic: Clinic) -> Answer:
    """Say how many ends, and how many starts, are the slot's own far more often than chance brings.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    Answer
        One row of the table a practitioner, for ends and for starts. Its first
        check fails where ends are copied; starts on the slot are told only.
    """
    if pd.isna(clinic.first_day):
        return no_answer(COPIED, NO_DATES)
    parts = practitioners(clinic)
    found = copied_times(clinic.visits, parts, rounded_times(clinic.visits, parts))
    if not found:
        return no_answer(COPIED, too_few("a booked time, and a start or an end"))
    flagged = [each for each in found if each.flagged]
    return Answer(
        COPIED,
        say.copied_headline(found, period(clinic)),
        how_sure=say.STRICT_RANGES,
        table=_copied_table(found),
        chart=_copied_chart(found),
        chart_title=say.copied_title(found),
        chart_text=say.copied_text(found),
        assumptions=say.COPIED_ASSUMPTIONS,
        cautions=say.NO_RANKING,
        checks=(
            Check("Ends not copied", FAILED if flagged else PASSED, say.copied_check(flagged)),
            *say.starts_checks(found),
            *say.consequences(say.COPIED_MEANS, say.COPIED_RECORD),
        ),
        basis=log_basis(clinic, max(each.times for each in found), "times", say.COPIED_METHOD),
    )


def practitioners(clinic: Clinic) -> pd.Series:
    """Call each practitioner as the clinic's settings say."""
    return practitioner_labels(clinic.visits, show_names=clinic.settings.clinic.show_practitioner_names)


def too_few(facts: str) -> NotEnough:
    """Say that no practitioner has enough visits with some facts."""
    return NotEnough(
        f"No {FEWEST_TIMES} attended visits have {facts}.", "Record when each visit really starts and ends."
    )


def period(clinic: Clinic) -> str:
    """Say the days of the log."""
    return words.months(clinic.first_day, clinic.last_day)


def log_basis(clinic: Clinic, used: int, of_what: str, method: str) -> Basis:
    """Say what the answer rests on."""
    return Basis(used, of_what, {}, clinic.first_day, clinic.last_day, method)


def _rounded_table(found: Sequence[Rounding]) -> pd.DataFrame:
    """Set the judgements out, the whole log first."""
    return pd.DataFrame(
        [
            {
                "which_time": say.TIMES[each.what],
                "part": each.part,
                "n": each.index.n,
                "times_as_often": each.index.value,
                "times_as_often_low": each.index.low,
                "times_as_often_high": each.index.high,
                "rounded_share": each.rounded.value,
            }
            for each in found
        ]
    )


def _rounded_chart(found: Sequence[Rounding]) -> go.Figure:
    """Draw how much more often than by chance times are multiples of five."""
    bars = [
        Bar(
            f"{say.TIMES[each.what]}, {each.part}",
            each.index.value,
            each.index.low,
            each.index.high,
            RECOMMENDED if each.flagged else TODAY,
        )
        for each in found
    ]
    return range_chart(bars, x_title="times as often as by chance", reference=1.0, from_zero=True)


def _copied_table(found: Sequence[Copying]) -> pd.DataFrame:
    """Set the judgements out, ends first; a ratio without an end is left open."""
    return pd.DataFrame(
        [
            {
                "which_time": say.TIMES[each.what],
                "part": each.part,
                "n": each.times,
                "exact_times": each.exact,
                "times_as_often": say.finite(each.ratio.value),
                "times_as_often_low": each.ratio.low,
                "times_as_often_high": say.finite(each.ratio.high),
                "copied_share": each.copied,
            }
            for each in sorted(found, key=lambda each: each.what)
        ]
    )


def _copied_chart(found: Sequence[Copying]) -> go.Figure:
    """Draw the share of ends that probably were copied: those beyond what stands beside the slot's end."""
    bars = []
    for each in say.drawn(found):
        share = wilson_share(each.exact, each.times, each.ratio.level)
        expected = share.value - each.copied
        colour = RECOMMENDED if each.flagged else TODAY
        low, high = (max(0.0, side - expected) for side in (share.low, share.high))
        bars.append(Bar(f"{say.TIMES[each.what]}, {each.part}", each.copied, low, high, colour))
    return range_chart(bars, x_title="share of times, beyond chance", from_zero=True, percent=True)
