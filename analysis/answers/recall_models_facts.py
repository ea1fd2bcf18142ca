"""What goes with ears filling up sooner: facts of patients and ears, the other facts alike."""

from __future__ import annotations

import numpy as np
import pandas as pd
import plotly.graph_objects as go
from scipy.stats import norm

from analysis.answers import recall_checks as check
from analysis.answers import recall_words as say
from analysis.answers.drawn_patients import of_drawn_patients
from analysis.answers.recall_material import clinic_gaps
from analysis.clinic import Clinic
from analysis.models.recall_ages import without_conflicting_ages
from analysis.models.recall_fact_table import EARLIER, with_facts
from analysis.models.recall_facts import FactTimes, fit_facts
from analysis.present import words
from analysis.present.answer import INFORMATION, Answer, Basis, Check, ResultRow, no_answer
from analysis.present.charts import Bar, range_chart
from analysis.present.theme import RECOMMENDED, TODAY
from analysis.problems import NotEnough
from analysis.schema import CODE_LABELS
from analysis.stats.estimate import Estimate

MOST_TOLD = 3
QUESTION = "What goes with ears filling up sooner?"
FACT_NAMES = {
    "hearing_aid": "hearing aid",
    "cotton_bud": "cotton buds",
    "age_band": "age",
    "canal": "canal",
    "debris": "debris at entry",
    "impacted": "impacted at entry",
    EARLIER: "earlier clearances",
}


@of_drawn_patients
def what_goes_with_filling_sooner(clinic: Clinic) -> Answer:
    """Say by how much the time until an ear is occluding again differs with each fact recorded.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    Answer
        Without a figure where there is no recall curve, or no fact has two values with enough ears.
    """
    settings = clinic.settings
    table, conflicting = without_conflicting_ages(clinic_gaps(clinic), clinic.visits)
    try:
        every = with_facts(table, clinic.visits, clinic.ears, clinic.last_day)
        found = fit_facts(every, table, settings.recall, level=settings.level)
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    clear = beyond_chance(found.times, settings.level)
    return Answer(
        question=QUESTION,
        headline=_headline(found, clear),
        how_sure=words.how_sure(settings.level),
        table=_table(found),
        chart=_chart(found, clear),
        chart_title=_chart_title(found, clear),
        chart_text=_chart_text(found),
        assumptions=_assumptions(found),
        cautions=say.CAUTIONS[-2:],
        checks=(_many_check(found, settings.level), *check.ages_check(conflicting)),
        basis=_basis(found),
        rows=tuple(_row(fact, value, found, time) for (fact, value), time in found.times.items()),
    )


def beyond_chance(times: dict[tuple[str, str], Estimate], level: float) -> list[tuple[str, str]]:
    """List the facts whose factor differs from 1 beyond chance even among so many looked at at once.

    Parameters
    ----------
    times : dict of (str, str) to Estimate
    level : float

    Returns
    -------
    list of (str, str)
        The surest first. Bonferroni: Dunn (1961), J. Am. Stat. Assoc. 56, 52-64.

    Examples
    --------
    >>> sure, unsure = Estimate(0.7, 0.65, 0.75, 0.95, 99, ""), Estimate(0.9, 0.82, 0.99, 0.95, 99, "")
    >>> beyond_chance({("a", "yes"): sure, ("b", "yes"): unsure}, 0.95)
    [('a', 'yes')]
    """
    reach = float(norm.ppf(0.5 + level / 2))
    asked = float(norm.ppf(1 - (1 - level) / (2 * max(len(times), 1))))
    z = {key: abs(np.log(each.value)) / (np.log(each.high / each.low) / 2 / reach) for key, each in times.items()}
    return sorted((key for key, value in z.items() if value > asked), key=lambda key: -z[key])


def value_spoken(fact: str, value: str) -> str:
    """Say a fact's value.

    Examples
    --------
    >>> value_spoken("hearing_aid", "yes"), value_spoken("canal", "narrow"), value_spoken("earlier_clearances", "more")
    ('yes', 'narrow', 'two or more')
    """
    if fact == EARLIER:
        return {"none": "none", "one": "one", "more": "two or more"}[value]
    return CODE_LABELS.get(fact, {}).get(value, value)


def _told(key: tuple[str, str], found: FactTimes) -> str:
    """Say one fact's figure."""
    fact, value = key
    beside = value_spoken(fact, found.beside[fact])
    return f"{FACT_NAMES[fact]} ({value_spoken(fact, value)} beside {beside}: {_times(found.times[key])})"


def _times(time: Estimate) -> str:
    """Say a factor with its range."""
    return f"{words.number(time.value, 2)} times as long, {words.between(time, 2)}"


def _headline(found: FactTimes, clear: list[tuple[str, str]]) -> str:
    """Give the one sentence that answers."""
    period = words.from_months(found.first_day, found.last_day)
    if not clear:
        return (
            f"No fact recorded goes with ears filling up sooner or later beyond chance, going by ears cleared {period}."
        )
    told = "; ".join(_told(key, found) for key in clear[:MOST_TOLD])
    return (
        f"The time until an ear is occluding again goes with these, the other facts alike: {told}; going by ears cleared "
        f"{period}."
    )


def _chart_title(found: FactTimes, clear: list[tuple[str, str]]) -> str:
    """Say the finding."""
    facts = dict.fromkeys(fact for fact, _ in clear)
    if not facts:
        return "No fact recorded stands out beyond chance"
    names = words.joined([FACT_NAMES[fact] for fact in facts])
    return f"Of {words.plural(len(found.beside), 'fact')} recorded, beyond chance: {names}"


def _chart_text(found: FactTimes) -> str:
    """Tell the chart in words."""
    told = "; ".join(_told(key, found) for key in found.times)
    return f"A dot and its range for each value of a fact, left of 1 where ears fill up sooner: {told}."


def _chart(found: FactTimes, clear: list[tuple[str, str]]) -> go.Figure:
    """Draw the factors."""
    bars = [
        Bar(
            _row_label(fact, value, found.beside[fact]),
            *(time.value, time.low, time.high),
            RECOMMENDED if (fact, value) in clear else TODAY,
            f"{words.number(time.value, 2)} ({words.number(time.low, 2)} to {words.number(time.high, 2)})",
        )
        for (fact, value), time in found.times.items()
    ]
    return range_chart(bars, x_title="times as long until occluding again<br>(blue: beyond chance)", reference=1.0)


def _row_label(fact: str, value: str, beside: str) -> str:
    """Name a row of the chart; what stands before its last comma heads the rows alike."""
    if (value, beside) == ("yes", "no"):
        return f"{FACT_NAMES[fact]} beside none" if fact != "impacted" else f"{FACT_NAMES[fact]} beside not"
    return f"{FACT_NAMES[fact]} beside {value_spoken(fact, beside)}, {value_spoken(fact, value)}"


def _assumptions(found: FactTimes) -> tuple[str, ...]:
    """Say what would have to be true."""
    return (
        "Each fact makes every time longer or shorter by the same factor, whatever the other facts. "
        f"The curve is a {found.family.spoken}: {say.FAMILY_CHOICE}.",
        "Ears are compared as they are: what goes with a fact is not what the fact does, and facts not recorded may stand behind it.",
        "Earlier clearances are told from all clearances; the other facts from each ear's first one. Ears that fill fast are "
        "cleared often, so earlier clearances show such ears rather than make them.",
        "Patients expected to return at a like pace are taken to be gone for good alike when they stay away as long. On four "
        "invented clinics, factors lay within about a tenth of those planted, mostly nearer 1.",
        "A value with too few ears for a figure of its own goes with the one others are set beside.",
    )


def _many_check(found: FactTimes, level: float) -> Check:
    """Say that many ranges were looked at."""
    many = len(found.times)
    said = (
        f"{words.plural(many, 'range')} stand here; of so many, one in {round(1 / (1 - level))} would miss by chance. "
        "A figure is told above only where it would stand out even so."
    )
    return Check("Many facts at once", INFORMATION, said)


def _table(found: FactTimes) -> pd.DataFrame:
    """Lay out every factor."""
    return pd.DataFrame(
        [
            {
                "fact": FACT_NAMES[fact],
                "fact_value": value_spoken(fact, value),
                "fact_beside": value_spoken(fact, found.beside[fact]),
                "ears": time.n,
                "times_as_long": time.value,
                "times_as_long_low": time.low,
                "times_as_long_high": time.high,
            }
            for (fact, value), time in found.times.items()
        ]
    )


def _basis(found: FactTimes) -> Basis:
    """Say what the factors rest on."""
    more = found.clearances - found.ears
    return Basis(
        used=found.ears,
        of_what="cleared ears",
        left_out={"later clearances, which only the figures on earlier clearances use": more},
        first_day=found.first_day,
        last_day=found.last_day,
        method=f"A {found.family.spoken} for times known only between two visits, all facts together; a patient's ears go together.",
    )


def _row(fact: str, value: str, found: FactTimes, time: Estimate) -> ResultRow:
    """Keep one factor as a result."""
    return ResultRow.from_estimate(
        "recall", "times_as_long_open", "ratio", time, beside=found.beside[fact], fact=fact, value=value
    )
