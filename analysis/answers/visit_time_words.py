"""The words of how long visits take."""

from __future__ import annotations

import pandas as pd

from analysis.answers.booking_words import articled, gains_said, held_out_checks
from analysis.answers.visit_log import VisitLog
from analysis.clinic import Clinic
from analysis.models.fitted_visit_time import FittedVisitTime
from analysis.present import words
from analysis.present.answer import INFORMATION, Basis, Check
from analysis.stats.estimate import Estimate

METHOD = (
    "A visit's mean minutes are an overhead and a part for each worked ear, by grade as first seen and first method "
    "(gamma model with identity link); a patient's visits go together in the ranges."
)
NOT_RECORDED = "not recorded"
TERM_NAMES = {"booking_kind": "kind of booking", "practitioner": "practitioner"}
Within = dict[tuple[str, float], Estimate]
CAUTIONS = (
    "These minutes say how long to book, never how fast to work: consent, history, looking into the ear and aftercare "
    "keep their time, and local protocol and licensed practice decide what an ear needs.",
    "The first method is chosen by the practitioner for the ear in front of them, so a difference between methods is not "
    "the method's doing; a later method follows from difficulty and is not counted here at all.",
)


def headline(log: VisitLog, basis: Basis, within: Within) -> str:
    """Say the overhead and what the fullest ears add, in one sentence."""
    fitted = log.fitted
    period = words.from_months(basis.first_day, basis.last_day)
    shown = with_figure(fitted)
    if shown.empty:
        return f"{_by_kind(log, within)}, {period}; the log has too few graded ears to say what an ear adds."
    ear = _spoken_ear(shown)
    value = Estimate(ear["minutes"], ear["low"], ear["high"], fitted.level, int(ear["ears"]), "")
    known = not pd.isna(ear["first_method"])
    adds = f"{about(value)} with {_method(ear['first_method'])} first" if known else about(value)
    grade = words.code_label("grade", ear["grade"])
    if fitted.overhead is None:
        return (
            f"A {grade} ear takes {adds}, {period}; every visit has equally many worked ears, so the visit's own "
            "minutes cannot be told from the ear's."
        )
    return (
        f"A visit takes {about(fitted.overhead)} before any ear is worked on, and a {grade} ear adds {adds}, {period}."
    )


def about(figure: Estimate) -> str:
    """Say minutes with their range, a decimal where they are few."""
    decimals = 0 if figure.value >= 20 else 1
    return f"about {words.minutes(figure.value, decimals)} ({words.between(figure, decimals)})"


def how_sure(log: VisitLog) -> str:
    """Say what the ranges are."""
    return f"{words.how_sure(log.fitted.level)} A single visit varies far more than its mean."


def with_figure(fitted: FittedVisitTime) -> pd.DataFrame:
    """List the ears that have a figure, fullest first."""
    shown = fitted.added[fitted.added["minutes"].notna()]
    return shown.sort_values("grade", ascending=False, kind="stable")


def ear_name(grade: str, method: str | float) -> str:
    """Name an ear by grade and first method."""
    return f"{words.code_label('grade', grade)}, {_method(method)}"


def chart_title(log: VisitLog, within: Within) -> str:
    """Say the finding."""
    fitted, shown = log.fitted, with_figure(log.fitted)
    if shown.empty:
        longest = max(log.expected.categories.index, key=lambda name: within[name, 0.8].value)
        minutes = words.minutes(within[longest, 0.8].value)
        return f"8 in 10 visits stay within {minutes} for {articled(log.expected, longest)}, the longest kind"
    if fitted.overhead is None:
        return "What each ear takes depends on how full it is"
    ear = _spoken_ear(shown)
    two = fitted.overhead.value + 2 * ear["minutes"]
    if fitted.overhead.value > ear["minutes"]:
        return f"Most of a visit goes by before any ear is worked on: {words.minutes(fitted.overhead.value)} of about {words.number(two)} with two {words.code_label('grade', ear['grade'])} ears"
    return f"A {words.code_label('grade', ear['grade'])} ear takes longer than all else in the visit"


def chart_text(log: VisitLog, within: Within) -> str:
    """Tell the chart."""
    shown = with_figure(log.fitted)
    if shown.empty:
        return f"{_by_kind(log, within)}."
    parts = [] if log.fitted.overhead is None else [f"before any ear is worked on {_numbers(log.fitted.overhead)}"]
    for row in shown.to_dict("records"):
        figure = Estimate(row["minutes"], row["low"], row["high"], log.fitted.level, row["ears"], "")
        parts.append(f"{ear_name(row['grade'], row['first_method'])} {_numbers(figure)}")
    return f"Minutes with their ranges: {'; '.join(parts)}."


def assumptions(clinic: Clinic, log: VisitLog) -> tuple[str, ...]:
    """Say what would have to be true."""
    sample, fewest = log.fitted.sample, clinic.settings.visit_time.fewest_visits
    said = [_terms(log.fitted)]
    if not log.fitted.added.empty:
        said += [
            "Each worked ear adds its part to the visit, the second as much as the first.",
            f"A grade and first method seen at fewer than {fewest} visits is counted with its grade's other methods and shows no figure.",
        ]
    if sample.timed_by_ear:
        said.append(
            "The log times each ear, so an ear's minutes are its own and the overhead is the rest of the visit."
        )
    if not sample.has_grades:
        said.append(
            "The log grades too few worked ears to give ears minutes of their own; record each worked ear's grade."
        )
    if len(set(clinic.ears["ear"].dropna())) == 1:
        side = words.code_label("ear", str(clinic.ears["ear"].dropna().iloc[0]))
        said.append(
            f"The log lists nothing but the {side}, so what the other ear took counts in the overhead; record both."
        )
    if sample.visits["booking_kind"].isna().all():
        said.append("The kind of booking is not recorded, so all visits are taken together.")
    if sample.rounded:
        said.append(f"The minutes of {words.count(sample.rounded)} visits are rounded and taken as written.")
    if sample.visits["patient_key"].isna().any():
        said.append("A visit without a patient number is taken for a patient of its own.")
    return tuple(said)


def _terms(fitted: FittedVisitTime) -> str:
    """Say what shifts the whole visit beside its ears."""
    terms = {name.partition("=")[0] for name in fitted.design.names if "=" in name}
    names = [TERM_NAMES[term] for term in TERM_NAMES if term in terms]
    if fitted.without_terms:
        return "Kind of booking and practitioner are left out, since the fit settled only without them."
    if not names:
        return "Neither kind of booking nor practitioner is told apart, so their mix is taken as it is."
    return f"{words.joined(names).capitalize()} {'shifts' if len(names) == 1 else 'shift'} the whole visit; the overhead is that of the log's average mix."


def checks(log: VisitLog) -> tuple[Check, ...]:
    """Say how the minutes foretold at booking fared on later visits, and what would foretell them better."""
    made = held_out_checks(log)
    if len(log.expected.gains):
        made.append(Check("What else is known at booking", INFORMATION, gains_said(log)))
    return tuple(made)


def _by_kind(log: VisitLog, within: Within) -> str:
    """Say what 8 in 10 visits of each category stay within."""
    said = []
    for name in log.expected.categories.index:
        figure = within[name, 0.8]
        said.append(f"{words.minutes(figure.value, 1)} ({words.between(figure, 1)}) for {articled(log.expected, name)}")
    return f"8 in 10 visits stay within {words.joined(said)}"


def _spoken_ear(shown: pd.DataFrame) -> pd.Series:
    """Pick the fullest grade's commonest first method."""
    fullest = shown[shown["grade"] == shown["grade"].iloc[0]]
    return fullest.loc[fullest["ears"].idxmax()]


def _method(method: str | float) -> str:
    """Name a first method; a blank is a number to pandas."""
    return words.code_label("method", method) if isinstance(method, str) else "method not recorded"


def _numbers(figure: Estimate) -> str:
    """Say a figure and its range in numbers."""
    return f"{words.number(figure.value, 1)} ({words.number(figure.low, 1)} to {words.number(figure.high, 1)})"
