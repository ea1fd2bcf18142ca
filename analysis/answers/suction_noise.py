"""Noise of suction over a working day, from levels and minutes the owner measured; limits for workers, not patients."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.clinic import Clinic
from analysis.derive.quarters import Quarter
from analysis.models.quarter_periods import THIS, Periods, periods
from analysis.models.suction_days import FEWEST_DAYS, NoisyDays, suction_days
from analysis.present import words
from analysis.present.answer import Answer, Basis, ResultRow, no_answer
from analysis.present.charts import Bar, range_chart
from analysis.problems import NotEnough
from analysis.stats.noise_dose import LIMIT, LOWER_ACTION, NIOSH_LEVEL, UPPER_ACTION

NOISE = "How much suction noise does a working day bring?"
ASSUMPTIONS = (
    "Levels and minutes at an ear are those the owner measured (clinic.toml, monitoring); the log gives how many ears were "
    "worked on with each suction. Other noise of the day is not in it.",
    f"Dose by NIOSH 98-126 (1998): {NIOSH_LEVEL:.0f} dB(A) over eight hours is the whole of it, and 3 dB more halve the time. "
    "Daily level by Directive 2003/10/EC: the same energy spread over eight hours.",
    "Peaks are not in it: both rules limit them separately, and they have to be measured.",
    "A day is one practitioner's; where the log names none, one site's.",
)
CAUTIONS = (
    "These are limits for people at work. They do not say what a patient's ear may hear: it is far nearer to the suction, and "
    "some ears are more easily harmed or troubled. Local protocols and licensed practice decide on suction.",
    "A day below a limit is no proof that hearing is safe. Someone competent in measuring noise at work should judge.",
)
METHOD = (
    "Dose and daily level of each practitioner's day by both formulae; the middle day and the day 9 in 10 stay below."
)


def suction_noise(clinic: Clinic, quarter: str) -> Answer:
    """Say what dose of noise suction brings a practitioner's working day.

    Parameters
    ----------
    clinic : Clinic
        ``monitoring.wide_suction_level`` and its three neighbours say what was
        measured; without them there is no figure.
    quarter : str
        Such as ``2026-Q3``.

    Returns
    -------
    Answer
        Dose (NIOSH) and daily level (European directive) of the middle day and
        of the day 9 in 10 stay below. Rows of section ``monitoring``:
        ``noise_dose``, ``noise_daily_level``.

    Raises
    ------
    DataProblem
        If ``quarter`` is not written as one.
    """
    asked, part = Quarter.parse(quarter), clinic.settings.monitoring
    try:
        found = periods(asked, clinic.first_day, clinic.last_day)
        days = suction_days(clinic.visits, clinic.ears, found.split(clinic.visits["slot_start"])[THIS], part)
        if len(days.dose) < FEWEST_DAYS:
            raise NotEnough(
                f"In {found.quarter.label} fewer than {FEWEST_DAYS} working days had suction written down.",
                "Record of every ear which suction was used.",
            )
    except NotEnough as reason:
        return no_answer(NOISE, reason)
    middle, high = _ends(days.dose)
    bars = [
        Bar(
            "Dose of a day, NIOSH",
            middle,
            *_spread(days.dose),
            text=f"{words.percent(middle)} (9 in 10 under {words.percent(high)})",
        )
    ]
    return Answer(
        NOISE,
        _headline(days, found),
        how_sure="The bar reaches from the day 1 in 10 stay below to the day 9 in 10 stay below; it holds no uncertainty of what was measured.",
        table=_table(days),
        chart=range_chart(
            bars,
            x_title="share of a worker's daily dose<br>(upright line: the whole of it)",
            from_zero=True,
            percent=True,
            reference=1.0,
        ),
        chart_title=f"Half of the days stay under {words.percent(middle)} of a worker's daily dose",
        chart_text=f"Dose of a day by NIOSH: the middle day {words.percent(middle)}, 9 in 10 under {words.percent(high)}.",
        assumptions=ASSUMPTIONS,
        cautions=CAUTIONS,
        basis=Basis(len(days.dose), "practitioners' days with suction", {}, found.first_day, found.last_day, METHOD),
        rows=tuple(
            ResultRow(
                "monitoring", name, {"q": q}, float(np.quantile(values, q)), None, None, None, unit, len(values), METHOD
            )
            for name, values, unit in (("noise_dose", days.dose, "share"), ("noise_daily_level", days.level, "dB(A)"))
            for q in (0.5, 0.9)
        ),
    )


def _ends(values: np.ndarray) -> tuple[float, float]:
    """Give the middle day, and the day 9 in 10 stay below."""
    return float(np.median(values)), float(np.quantile(values, 0.9))


def _spread(values: np.ndarray) -> tuple[float, float]:
    """Give the days 1 in 10 and 9 in 10 stay below."""
    return float(np.quantile(values, 0.1)), float(np.quantile(values, 0.9))


def _headline(days: NoisyDays, found: Periods) -> str:
    """Say dose and daily level, and how many days reach what asks for action."""
    middle, high = _ends(days.dose)
    level = np.quantile(days.level, 0.9)
    over = int((days.level >= LOWER_ACTION).sum())
    return (
        f"By what you measured, suction alone brings {words.percent(middle)} of a worker's daily dose of noise (NIOSH) on the "
        f"middle day of {found.quarter.label}, and 9 days in 10 stay under {words.percent(high)} or {words.number(level, 1)} dB(A) "
        f"over eight hours; {words.count(over) if over else 'none'} of {words.plural(len(days.level), 'day')} reach the European lower action value "
        f"of {LOWER_ACTION:.0f} dB(A)."
    )


def _table(days: NoisyDays) -> pd.DataFrame:
    """Count the days that reach each limit."""
    reached = {
        "all of NIOSH's daily dose": days.dose >= 1,
        f"lower action value, {LOWER_ACTION:.0f} dB(A)": days.level >= LOWER_ACTION,
        f"upper action value, {UPPER_ACTION:.0f} dB(A)": days.level >= UPPER_ACTION,
        f"European limit, {LIMIT:.0f} dB(A), without hearing protection": days.level >= LIMIT,
    }
    return pd.DataFrame(
        [{"noise_limit": name, "noisy_days": int(over.sum()), "out_of": len(over)} for name, over in reached.items()]
    )
