"""Which curve foretells best when ears of patients it has not seen are occluding again."""

from __future__ import annotations

import pandas as pd

from analysis.answers import recall_words as say
from analysis.answers.drawn_patients import of_drawn_patients
from analysis.answers.recall import QUESTION as RECALL_QUESTION
from analysis.answers.recall_material import clinic_gaps
from analysis.clinic import Clinic
from analysis.models.recall import fit_recall
from analysis.models.recall_candidates import ALL, GROUPS, NONE, Candidate, candidates
from analysis.models.recall_choice import FOLDS
from analysis.models.recall_fact_table import with_facts
from analysis.present import words
from analysis.present.answer import INFORMATION, Answer, Basis, Check, ResultRow, no_answer
from analysis.present.charts import Bar, range_chart
from analysis.present.theme import RECOMMENDED, TODAY
from analysis.problems import NotEnough
from analysis.stats.estimate import Estimate
from analysis.stats.time_families import FAMILIES, Family

QUESTION = "Which curve foretells best?"
SET_NAMES = {NONE: "of everyone", GROUPS: "by hearing aid", ALL: "by all facts"}
FROM = {NONE: "from no fact", GROUPS: "from hearing aids alone", ALL: "from all facts recorded"}
SHORT_NAMES = {"weibull": "Weibull", "weibull_differing": "averaged Weibull", "log_logistic": "log-logistic"}
PER = 100
"""Scores are given for a hundred clearances, to be readable."""


@of_drawn_patients
def which_curve_foretells_best(clinic: Clinic) -> Answer:
    """Set either curve, with no facts, hearing aids alone and all facts, beside one another on patients held out.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    Answer
        Without a figure where there is no recall curve.
    """
    settings, table = clinic.settings, clinic_gaps(clinic)
    try:
        every = with_facts(table, clinic.visits, clinic.ears, clinic.last_day)
        found = candidates(every, table, settings.recall, level=settings.level)
        used = fit_recall(table, settings.recall, level=settings.level).family
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    days = every["cleared_on"]
    return Answer(
        question=QUESTION,
        headline=_headline(found, words.from_months(days.min(), days.max())),
        how_sure=f"{words.how_sure(settings.level)} They are those of the distances, over patients. {_beside_used(found, used)}",
        table=_table(found),
        chart=range_chart(
            [_bar(each) for each in _by_facts(found)], x_title="score less than the best, a hundred clearances", reference=0.0
        ),
        chart_title=_chart_title(found),
        chart_text=_chart_text(found),
        assumptions=_assumptions(),
        cautions=("Whichever curve foretells best on average says nothing of one patient: look in the ear.",),
        checks=(_shape_check(found),),
        basis=Basis(
            len(every), "clearances", {}, days.min(), days.max(),
            f"Patients dealt into {FOLDS} parts, each foretold from the others; log score of what was seen of their ears.",
        ),
        rows=tuple(_row(each, settings.level) for each in found),
    )  # fmt: skip


def _name(each: Candidate) -> str:
    """Name a candidate."""
    return f"{FAMILIES[each.family].spoken} {SET_NAMES[each.facts]}"


def _tied(found: list[Candidate]) -> list[Candidate]:
    """Those that cannot be told from the best."""
    return [each for each in found[1:] if each.behind.high >= 0]


def _headline(found: list[Candidate], period: str) -> str:
    """Give the one sentence that answers."""
    tied = _tied(found)
    rest = [each for each in found[1:] if each not in tied]
    said = (
        f"When the ears of patients kept aside would be occluding again was foretold best {FROM[found[0].facts]}, by the "
        f"{FAMILIES[found[0].family].spoken}"
    )
    if tied:
        said += f"; {words.joined([_beside_best(each, found[0]) for each in tied])} may do as well"
    if rest:
        next_ = rest[0].behind.scaled(-PER)
        said += (
            f"; {_beside_best(rest[0], found[0])} came next, {words.number(next_.value, 2)} points behind "
            f"({words.between(next_, 2)})"
        )
    return f"{said} (points of a score for a hundred clearances, {period})."


def _beside_best(each: Candidate, best: Candidate) -> str:
    """Name a candidate after the best; its facts only where they are others."""
    return f"the {FAMILIES[each.family].spoken}{'' if each.facts == best.facts else f' {FROM[each.facts]}'}"


def _beside_used(found: list[Candidate], used: Family) -> str:
    """Say which curve the recall months go by, why it may be another than the best here, and whether chance can tell the two apart."""
    best = found[0]
    [same] = [each for each in found if each.facts == best.facts and FAMILIES[each.family] == used]
    beside = (
        "it is the best here too"
        if same == best
        else f"chance alone {'may well' if same in _tied(found) else 'would hardly'} put the {FAMILIES[best.family].spoken} before it"
    )
    return (
        f"“{RECALL_QUESTION}” goes by the {used.spoken}, chosen on each ear's first clearance, while here all clearances are "
        f"scored; {beside}."
    )


def _chart_title(found: list[Candidate]) -> str:
    """Say the finding."""
    by_facts = {each.facts for each in (found[0], *_tied(found))}
    if by_facts == {ALL}:
        return "Knowing more of patients and ears foretells better than hearing aids alone"
    if by_facts == {GROUPS}:
        return "Hearing aids foretell as well as all facts recorded, and better than none"
    return "The log does not tell the curves apart by how they foretell"


def _chart_text(found: list[Candidate]) -> str:
    """Tell the chart in words."""
    told = "; ".join(f"the {_name(each)} {words.number(-each.behind.value * PER, 2)} less" for each in found[1:])
    return f"A dot and its range a curve, the best at nought, the {_name(found[0])}; behind it, {told}."


def _by_facts(found: list[Candidate]) -> list[Candidate]:
    """Put the curves of one set of facts together, the set with the best curve first."""
    order = list(dict.fromkeys(each.facts for each in found))
    return sorted(found, key=lambda each: order.index(each.facts))


def _bar(each: Candidate) -> Bar:
    """Draw one distance."""
    low, value, high = (PER * end for end in (each.behind.low, each.behind.value, each.behind.high))
    text = f"{words.number(value, 2)} ({words.number(low, 2)} to {words.number(high, 2)})" if low < high else "the best"
    return Bar(
        f"{SET_NAMES[each.facts]}, {SHORT_NAMES[each.family]}",
        value,
        low,
        high,
        TODAY if low < high else RECOMMENDED,
        text,
    )


def _assumptions() -> tuple[str, ...]:
    """Say what the scores mean."""
    return (
        "The score is the logarithm of how likely a curve, fitted to the other patients, made what was then seen of an ear; "
        "the higher, the better foretold. A difference of 1 in a hundred clearances is small for each and adds up.",
        "All clearances are scored, a patient's together; how likely those who stay away are gone for good is the same for every curve.",
        f"The recall months rest on each ear's first clearance, and their curve is {say.FAMILY_CHOICE}.",
    )


def _shape_check(found: list[Candidate]) -> Check:
    """Say how the shapes do with the same facts."""
    scores = {(each.family, each.facts): each.score * PER for each in found}
    told = [
        f"{FAMILIES[family].spoken} {words.number(scores[family, facts] - scores['weibull', facts], 2)} {name}"
        for family in FAMILIES
        if family != "weibull"
        for facts, name in SET_NAMES.items()
        if (family, facts) in scores
    ]
    return Check("The shape of the curve", INFORMATION, f"Scores less the Weibull curve's: {words.joined(told)}.")


def _table(found: list[Candidate]) -> pd.DataFrame:
    """Lay out the scores."""
    return pd.DataFrame(
        [
            {
                "curve": FAMILIES[each.family].spoken,
                "curve_by": SET_NAMES[each.facts],
                "held_out_score": each.score * PER,
                "score_behind": -each.behind.value * PER,
                "score_behind_low": -each.behind.high * PER,
                "score_behind_high": -each.behind.low * PER,
            }
            for each in found
        ]
    )


def _row(each: Candidate, level: float) -> ResultRow:
    """Keep one score; its range is that of the distance from the best, added to the best."""
    best = each.score - each.behind.value
    figure = Estimate(
        each.score, best + each.behind.low, best + each.behind.high, level, each.behind.n, each.behind.method
    )
    return ResultRow.from_estimate("recall", "held_out_score", "score", figure, curve=each.family, facts=each.facts)
