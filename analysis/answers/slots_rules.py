"""What other rules of a session would do: gaps, a break, the order, two together, one squeezed in, a shared unit."""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go

from analysis.answers.drawn_patients import of_drawn_patients
from analysis.answers.slot_material import SlotMaterial, slot_material
from analysis.answers.slots_words import PROTECTED, gaps_said, rules_said
from analysis.answers.visit_log import visit_basis
from analysis.clinic import Clinic
from analysis.planning.rule_effects import AS_NOW, BREAK_MINUTES, other_rules, rule_effects
from analysis.planning.slots import RECOMMENDED
from analysis.present import words
from analysis.present.answer import Answer, no_answer
from analysis.present.charts import Bar, range_chart
from analysis.present.theme import RECOMMENDED as RECOMMENDED_COLOUR
from analysis.problems import NotEnough
from analysis.stats.estimate import Estimate

QUESTION = "What would other rules of the session do?"
METHOD = "The recommended slots by each rule in turn; all rules met the same simulated sessions."
NAMES = {
    "gap_after_3": "a gap after every 3 patients",
    "gap_after_4": "a gap after every 4 patients",
    "gap_after_6": "a gap after every 6 patients",
    "no_gap": "no gaps",
    "break_in_the_middle": f"a break of {BREAK_MINUTES:g} minutes in the middle",
    "first_two_together": "the first two booked together",
    "short_first": "short slots first",
    "long_first": "long slots first",
    "one_squeezed_in": "one more squeezed in (a second attempt)",
    "two_share_one_unit": "two practitioners sharing one suction unit",
}
WAIT, OVER, IDLE, SEEN = "mean_wait_minutes", "overtime_minutes", "idle_minutes", "patients_per_session"
SQUEEZED = (
    "Squeezing somebody in makes others wait and ends late, for certain on the days everyone comes; it is shown to tell its "
    "cost, not to recommend it, and it never shortens what a patient is due."
)
SHARED = "two_share_one_unit"
Effects = dict[str, dict[str, Estimate]]


@of_drawn_patients
def what_would_other_rules_do(clinic: Clinic) -> Answer:
    """Say what each rule by itself would change in a session of the recommended slots.

    Parameters
    ----------
    clinic : Clinic
        Rules it already has in ``clinic.toml`` (``slots``) are part of every line.

    Returns
    -------
    Answer
        Without a figure where visits have no minutes of their own.

    Raises
    ------
    DataProblem
        If the settings make a recommendation impossible.
    """
    settings, level = clinic.settings.slots, clinic.settings.level
    try:
        found = slot_material(clinic)
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    slots = found.plan.slots["recommended_minutes"].to_numpy(dtype=float)
    rules = other_rules(settings, found.plan.catch_up_every)
    effects = rule_effects(slots, rules, found.evidence, settings, level=level, rng=found.log.rng)
    return Answer(
        question=QUESTION,
        headline=_headline(found, effects),
        how_sure=f"{words.how_sure(level)} They come from drawing the log's patients again, every rule meeting the same sessions.",
        table=_table(effects),
        chart=_chart(effects),
        chart_title=_title(effects),
        chart_text=f"{words.joined([_waiting(rule, each[WAIT]) for rule, each in _others(effects).items()])}.",
        assumptions=(
            f"Every slot of a {settings.session_minutes:g}-minute session is booked, in the log's mix; the slots stay as "
            "recommended, whichever rule they meet.",
            *rules_said(settings),
            "Whoever is squeezed in comes beside the middle slot of every session and takes as long as any other patient.",
            "Sharing is of one unit, taken for the whole visit, between two practitioners who begin together; whoever is ready first has it first.",
            "A rule that suits is set in clinic.toml under slots, and all questions of slots then keep to it.",
        ),
        cautions=(PROTECTED, SQUEEZED),
        basis=visit_basis(clinic, found.log, METHOD),
    )


def _others(effects: Effects) -> Effects:
    """Leave the rules as they are out."""
    return {rule: each for rule, each in effects.items() if rule != AS_NOW}


def _headline(found: SlotMaterial, effects: Effects) -> str:
    """Say what spares and what costs most waiting, beyond chance."""
    wait, seen = (found.plan.figures[RECOMMENDED, quantity] for quantity in (WAIT, SEEN))
    said = (
        f"With the recommended slots{gaps_said(found.plan.catch_up_every)} a patient waits "
        f"{words.number(wait.value, 1)} minutes ({words.between(wait, 1)}) and a session sees "
        f"{words.number(seen.value, 1)} patients ({words.between(seen, 1)})"
    )
    others = _others(effects)
    spares = [rule for rule, each in others.items() if each[WAIT].high < 0 and each[SEEN].low >= -0.05]
    costs = [rule for rule, each in others.items() if each[WAIT].low > 0]
    parts = []
    if spares:
        best = min(spares, key=lambda rule: others[rule][WAIT].value)
        parts.append(f"{_waiting(best, others[best][WAIT])} and sees as many")
    if costs:
        worst = max(costs, key=lambda rule: others[rule][WAIT].value)
        parts.append(f"{_waiting(worst, others[worst][WAIT])}, the most")
    return f"{said}; {'; '.join(parts)}." if parts else f"{said}; no other rule tried changes that beyond chance."


def _waiting(rule: str, change: Estimate) -> str:
    """Say what a rule does to waiting."""
    if not change.excludes_zero:
        return f"{NAMES[rule]} changes waiting by nothing that can be told"
    more, ends = ("more", change) if change.value > 0 else ("less", change.scaled(-1))
    return f"{NAMES[rule]} means {words.number(abs(change.value), 1)} minutes {more} waiting ({words.between(ends, 1)})"


def _drawn(effects: Effects) -> Effects:
    """Leave sharing a unit out, which would dwarf the others and stands in the table alone."""
    return {rule: each for rule, each in _others(effects).items() if rule != SHARED}


def _title(effects: Effects) -> str:
    """Say the finding, of the rules that are drawn."""
    others = _drawn(effects)
    told = [rule for rule, each in others.items() if each[WAIT].excludes_zero]
    if not told:
        return "No other rule changes waiting beyond chance"
    most = max(told, key=lambda rule: abs(others[rule][WAIT].value))
    change = others[most][WAIT].value
    return f"What changes waiting most is {NAMES[most]}: {words.number(abs(change), 1)} minutes {'more' if change > 0 else 'less'}"


def _table(effects: Effects) -> pd.DataFrame:
    """List what each rule changes, with its range."""
    rows = []
    for rule, each in _others(effects).items():
        figures = [
            f"{words.number(each[name].value, 1)} ({words.between(each[name], 1)})" for name in (WAIT, OVER, IDLE, SEEN)
        ]
        rows.append([NAMES[rule], *figures])
    columns = ["rule", "change_in_wait", "change_in_overtime", "change_in_idle", "change_in_seen"]
    return pd.DataFrame(rows, columns=columns)


def _chart(effects: Effects) -> go.Figure:
    """Draw what each rule does to waiting."""
    bars = [
        Bar(NAMES[rule], each[WAIT].value, each[WAIT].low, each[WAIT].high, RECOMMENDED_COLOUR)
        for rule, each in _drawn(effects).items()
    ]
    return range_chart(bars, x_title="minutes of waiting more or less", reference=0.0)
