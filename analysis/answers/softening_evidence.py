"""What published trials say of softening, with the clinic's own figure beside them."""

from __future__ import annotations

from collections.abc import Iterable
from math import exp, log

import numpy as np
import pandas as pd
import plotly.graph_objects as go
from scipy.stats import norm

from analysis.answers.softening_asked import asked_of, by_contrast
from analysis.answers.softening_words import CAUTIONS
from analysis.clinic import Clinic
from analysis.evidence import published_trials
from analysis.models.adjusted import adjusted_arms
from analysis.models.softening_evidence import (
    Evidence,
    combined_with_own,
    pooled_evidence,
    study_ratio,
    usable_studies,
)
from analysis.models.softening_material import Material
from analysis.present import words
from analysis.present.answer import INFORMATION, Answer, Basis, Check, ResultRow
from analysis.present.charts import Bar, range_chart
from analysis.present.theme import NAMED, RECOMMENDED, TODAY
from analysis.problems import NotEnough
from analysis.stats.effects import risk_ratio
from analysis.stats.estimate import Estimate
from analysis.stats.meta_analysis import Pooled

QUESTION = "What do published trials say of softening?"
SECTION = "softening"
LEAD = "agent_or_water_then_irrigation"
ASKED = {
    "drops_alone": "Water drops against none, nothing done afterwards",
    LEAD: "Agent against salt water, then irrigation",
    "two_agents_then_irrigation": "Docusate against triethanolamine, then irrigation",
    "two_agents_then_suction": "Bicarbonate against docusate, then suction",
    "two_agents_alone": "Almond oil against mixed oil drops, nothing done afterwards",
}
WHY = {
    "attempts_counted": "attempts with the syringe were counted, not people or ears",
    "scores_only": "scores only",
    "counts_not_read": "counts that could not be read",
    "from_memory": "a further group, known from memory only, with the control group of a trial that is shown",
    "same_control_arm": "would count a control group twice",
    "no_event": "a group without any success",
    "another_question": "another question than softening",
    "pooled_already": "trials put together that stand here themselves",
    "not_randomised": "no chance decided who softened",
    "one_arm": "one group only, or a survey",
}
WIDEST = [-1.4, 1.4]
"""Ends of the chart as powers of ten; a range that goes on is written out beside it."""
THIN = (
    "No published trial in this collection compares softening with none before suction or instruments: most irrigated "
    "afterwards, and the trial with suction compared two agents. Before suction or instruments the evidence is thin, and "
    "before irrigation it rests on few and small trials."
)


def what_trials_say(clinic: Clinic) -> Answer:
    """Set published trials of softening side by side, with the clinic's own ratio beside them.

    Parameters
    ----------
    clinic : Clinic
        Its own figure is left out where the log holds too little;
        ``softening.evidence_weight`` above 0 combines it with the trials of an
        agent against salt water.

    Returns
    -------
    Answer
        Ratios of the shares cleared, study by study, pooled where one question
        has several studies. Rows: ``pooled_risk_ratio``, ``combined_risk_ratio``.
    """
    level = clinic.settings.level
    studies, left_out = usable_studies(*published_trials())
    evidence = pooled_evidence(studies, level=level)
    own, why_not = _own(clinic)
    weight = clinic.settings.softening.evidence_weight
    lead = next(each for each in evidence if each.question == LEAD)
    both = _combined(own, lead, weight, level)
    return Answer(
        QUESTION,
        _headline(lead, level),
        how_sure=f"{THIN} {words.how_sure(level)}",
        table=_table(evidence, own, both, level),
        chart=_chart(evidence, own, both, level),
        chart_title=_title(evidence, own, level),
        chart_text=_told(evidence, own, level),
        assumptions=_assumptions(weight),
        cautions=CAUTIONS,
        checks=(*_checks(evidence), *_left_out(left_out), *_own_checks(own, why_not, both)),
        basis=_basis(studies, left_out),
        rows=tuple(_rows(evidence, both, level)),
    )


def _own(clinic: Clinic) -> tuple[dict[str, Estimate], dict[str, NotEnough]]:
    """Give the clinic's own ratios, like with like, or why there is none."""
    try:
        asked = asked_of(clinic)
        return by_contrast(lambda contrast: _own_ratio(asked.ears(contrast), clinic.settings.level))
    except NotEnough as reason:
        return {}, {"used": reason}


def _own_ratio(material: Material, level: float) -> Estimate:
    """Compare one contrast's ears like with like."""
    arms = adjusted_arms(
        material.columns,
        treated=material.treated,
        outcome=material.outcome,
        clusters=material.sample.whose,
        shares=True,
    )
    return risk_ratio(arms, level)


def _combined(own: dict[str, Estimate], lead: Evidence, weight: float, level: float) -> Estimate | None:
    """Count the trials with the clinic's own figure on use, where a setting asks for it."""
    if not weight or "used" not in own:
        return None
    mine = own["used"]
    value, low, high = lead.log_ratio(level)
    both = combined_with_own(
        Pooled(log(mine.value), _variance(log(mine.low), log(mine.high), level)),
        Pooled(value, _variance(low, high, level)),
        weight=weight,
    )
    ends = both.ends(level)
    method = f"own log and published trials, these at {words.percent(weight)} of their weight"
    return Estimate(exp(both.value), exp(ends[0]), exp(ends[1]), level, mine.n, method)


def _variance(low: float, high: float, level: float) -> float:
    """Give the variance that a range on the log scale stands for."""
    return float(((high - low) / (2 * norm.ppf(0.5 + level / 2))) ** 2)


def _headline(lead: Evidence, level: float) -> str:
    """Say what the nearest trials together say, and how thin that is."""
    value, low, high = np.exp(lead.log_ratio(level))
    years = f"{lead.studies[0].year} and {lead.studies[-1].year}"
    many = len(lead.studies)
    clear = "show a clear difference" if low > 1 or high < 1 else "leave it open"
    return (
        f"The {many} published trials of {years} that set a softening agent against salt water before irrigation {clear}: "
        f"with an agent {_ratio(value)} times as many were cleared (between {_ratio(low)} and {_ratio(high)} times), "
        "and no trial here tells whether softening pays before suction."
    )


def _title(evidence: list[Evidence], own: dict[str, Estimate], level: float) -> str:
    """Say on which side of no difference the studies lie."""
    ratios = [ends[0] for _, kind, _, _, ends, _ in _lines(evidence, level) if kind == "study"]
    both = min(ratios) < 0 < max(ratios)
    said = f"Published ratios of success lie on {'both sides' if both else 'one side'} of no difference"
    return f"{said}, with your own beside them" if own else said


def _ratio(value: float) -> str:
    """Say a ratio in two decimals, or fewer where it is large."""
    return words.number(value, 2 if value < 10 else 0)


def _lines(
    evidence: list[Evidence], level: float
) -> Iterable[tuple[str, str, str, str, tuple[float, float, float], int]]:
    """List study by study, then what they say together: question, kind, name, unit, ratio and ends, how many."""
    for each in evidence:
        for study in each.studies:
            pooled = study_ratio(study)
            ends = (pooled.value, *pooled.ends(level))
            many = study.treated + study.control
            yield each.question, "study", study.study, f"{study.unit}s", ends, many
        if each.random is not None:
            many = sum(study.treated + study.control for study in each.studies)
            yield each.question, "pooled", "together, effects may differ", "", each.log_ratio(level), many
            fixed = (each.fixed.value, *each.fixed.ends(level))
            yield each.question, "fixed", "together, as if one effect", "", fixed, many


def _table(evidence: list[Evidence], own: dict[str, Estimate], both: Estimate | None, level: float) -> pd.DataFrame:
    """Set all ratios in one table."""
    rows = [
        {
            "evidence_question": ASKED[question],
            "evidence_study": name,
            "counted_units": units,
            "n": many,
            "risk_ratio": _ratio(exp(ends[0])),
            "low": _ratio(exp(ends[1])),
            "high": _ratio(exp(ends[2])),
        }
        for question, _, name, units, ends, many in _lines(evidence, level)
    ]
    mine = [("Your own log", f"softening {name}", each) for name, each in own.items()]
    mine += [("Your own log", "with the trials of an agent against salt water", both)] if both else []
    rows += [
        {
            "evidence_question": question,
            "evidence_study": name,
            "counted_units": "ears",
            "n": each.n,
            "risk_ratio": _ratio(each.value),
            "low": _ratio(each.low),
            "high": _ratio(each.high),
        }
        for question, name, each in mine
    ]
    return pd.DataFrame(rows)


def _chart(evidence: list[Evidence], own: dict[str, Estimate], both: Estimate | None, level: float) -> go.Figure:
    """Draw every ratio with its range on a scale on which twice and half are equally far from one."""
    colours = {"study": TODAY, "pooled": RECOMMENDED, "fixed": NAMED[1]}
    bars = [
        _bar(f"{_without_commas(ASKED[question])}, {_without_commas(name)}", np.exp(ends), colours[kind])
        for question, kind, name, _, ends, _ in _lines(evidence, level)
    ]
    bars += [
        _bar(f"Your own log, softening {name}", np.array([each.value, each.low, each.high]), NAMED[0])
        for name, each in own.items()
    ]
    if both:
        bars.append(_bar("Your own log, with the trials", np.array([both.value, both.low, both.high]), RECOMMENDED))
    figure = range_chart(bars, x_title="times as many successes (1: no difference)", reference=1.0)
    figure.update_xaxes(
        type="log",
        range=WIDEST,
        tickvals=[0.1, 0.25, 0.5, 1, 2, 4, 10],
        ticktext=["0.1", "¼", "½", "1", "2", "4", "10"],
    )
    return figure


def _bar(label: str, ends: np.ndarray, colour: str) -> Bar:
    """Give one row of the chart."""
    value, low, high = (float(end) for end in ends)
    return Bar(label, value, low, high, colour, f"{_ratio(value)} ({_ratio(low)} to {_ratio(high)})")


def _without_commas(text: str) -> str:
    """Keep the last comma of a label for the group it opens."""
    return text.replace(", ", ": ")


def _told(evidence: list[Evidence], own: dict[str, Estimate], level: float) -> str:
    """Tell the chart in words."""
    told = [
        f"{ASKED[question]}: {name}, {_ratio(exp(ends[0]))} times ({_ratio(exp(ends[1]))} to {_ratio(exp(ends[2]))})"
        for question, _, name, _, ends, _ in _lines(evidence, level)
    ]
    told += [
        f"Your own log, softening {name}, like with like: {_ratio(each.value)} times ({_ratio(each.low)} to {_ratio(each.high)})"
        for name, each in own.items()
    ]
    return f"Ratios of the shares cleared, with ranges; 1 is no difference. {'; '.join(told)}."


def _checks(evidence: list[Evidence]) -> list[Check]:
    """Say how much studies of one question differ, and where counts were not printed."""
    checks = []
    for each in evidence:
        found = each.random
        if found is None:
            continue
        sentence = (
            f"{words.percent(found.i2)} of the spread between the {found.studies} studies is more than chance (spread of "
            f"true effects, as a variance of log ratios: {words.number(found.tau2, 2)})."
        )
        if found.predicted_low is None:
            sentence += " With so few, what one more setting would find cannot be foretold."
        else:
            low, high = (_ratio(exp(end)) for end in (found.predicted_low, found.predicted_high or 0.0))
            sentence += f" One more setting like these would find between {low} and {high} times."
        checks.append(Check(f"Do the studies agree: {ASKED[each.question].lower()}", INFORMATION, sentence))
    derived = sorted({study.study for each in evidence for study in each.studies if study.derived})
    ears = sorted({study.study for each in evidence for study in each.studies if study.unit == "ear"})
    checks.append(
        Check(
            "How the counts are known",
            INFORMATION,
            f"Not printed, but the only whole numbers that give the printed figures: {words.joined(derived)}. Counted in ears, "
            f"some of the same person, so that ranges look surer than they are: {words.joined(ears)}.",
        )
    )
    return checks


def _left_out(left_out: pd.DataFrame) -> list[Check]:
    """Say which published figures are not used, and why."""
    named = (left_out["study"] + " " + left_out["year"].astype(int).astype("str")).groupby(left_out["why"])
    told = [f"{words.joined(sorted(set(names)))} ({WHY[str(why)]})" for why, names in named]
    return [Check("What was left out of the published figures", INFORMATION, f"{'; '.join(told)}.")]


def _own_checks(own: dict[str, Estimate], why_not: dict[str, NotEnough], both: Estimate | None) -> list[Check]:
    """Say why the clinic has no figure of its own, or what combining it gives."""
    checks = [Check(f"Your own log on softening {name}", INFORMATION, str(reason)) for name, reason in why_not.items()]
    if both:
        ends = f"between {_ratio(both.low)} and {_ratio(both.high)}"
        sentence = f"Counted together: {_ratio(both.value)} times as many successes ({ends}); {both.method}."
        checks.append(Check("Your own log with the trials", INFORMATION, sentence))
    elif own:
        sentence = (
            "They stand beside each other and are not mixed; softening.evidence_weight in clinic.toml would do so."
        )
        checks.append(Check("Your own log with the trials", INFORMATION, sentence))
    return checks


def _assumptions(weight: float) -> tuple[str, ...]:
    """Say what would have to be true."""
    said = [
        "Trials of one question measured the same thing well enough to be put together; drops alone, drops before "
        "irrigation and drops before suction are kept apart.",
        "Your own figure compares like with like in what the log holds; in the trials chance decided.",
    ]
    if weight:
        said.append(
            f"Trials of another setting count at {words.percent(weight)} of their weight, which is your setting and no "
            "finding; they compared an agent with salt water, your log compares softening with none."
        )
    return tuple(said)


def _basis(studies: list, left_out: pd.DataFrame) -> Basis:
    """Say what the published figures rest on."""
    years = [study.year for study in studies]
    first, last = (pd.Timestamp(year=year, month=1, day=1) for year in (min(years), max(years)))
    method = "Mantel-Haenszel, and random effects (restricted maximum likelihood) with the Hartung-Knapp range."
    return Basis(
        len(studies),
        "published comparisons",
        {"for the reasons below": len(left_out)},
        first,
        last,
        method,
        by_year=True,
    )


def _rows(evidence: list[Evidence], both: Estimate | None, level: float) -> Iterable[ResultRow]:
    """Give the pooled and the combined ratios as ``results.json`` keeps them."""
    for each in evidence:
        value, low, high = (exp(end) for end in each.log_ratio(level))
        many = sum(study.treated + study.control for study in each.studies)
        method = "random effects, Hartung-Knapp" if each.random else "one study"
        group = {"evidence": each.question}
        yield ResultRow(SECTION, "pooled_risk_ratio", group, value, low, high, level, "ratio", many, method)
    if both:
        yield ResultRow.from_estimate(SECTION, "combined_risk_ratio", "ratio", both, evidence=LEAD)
