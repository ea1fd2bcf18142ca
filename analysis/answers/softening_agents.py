"""Which agent: every pair that was used often enough, with ranges that hold for all pairs together."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.answers import softening_words as say
from analysis.answers.drawn_patients import of_drawn_patients
from analysis.answers.softening_asked import SEED, asked_of
from analysis.clinic import Clinic
from analysis.models.softening_agents import Agents, compared_agents
from analysis.present import words
from analysis.present.answer import Answer, Basis, ResultRow, no_answer
from analysis.present.charts import Bar, range_chart
from analysis.present.theme import RECOMMENDED
from analysis.problems import NotEnough
from analysis.schema import SOFTENERS

QUESTION = "Does it matter which agent was used?"


@of_drawn_patients
def softening_by_agent(clinic: Clinic) -> Answer:
    """Compare the agents that were used often enough, pair by pair.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    Answer
        Rows: ``agent_success_share`` and ``agent_difference``, whose ranges hold
        for all pairs together.
    """
    try:
        asked = asked_of(clinic)
        agents = compared_agents(
            asked.ears("used"), level=asked.level, fewest_ears=asked.fewest, rng=np.random.default_rng(SEED)
        )
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    clear = {pair: each for pair, each in agents.pairs.items() if each.excludes_zero}
    return Answer(
        QUESTION,
        _headline(agents, clear),
        how_sure=f"{words.how_sure(asked.level)} Those of the differences are wide enough to hold for all "
        f"{words.plural(len(agents.pairs), 'pair')} together.",
        table=_table(agents),
        chart=range_chart(
            [
                Bar(f"{_name(agent).capitalize()} ({words.plural(agents.ears[agent], 'ear')})", each.value, each.low, each.high, RECOMMENDED)
                for agent, each in agents.shares.items()
            ],
            x_title="first attempts that succeed, had all these ears had it",
            percent=True,
        ),
        chart_title=f"Success by agent, like with like: {_count_clear(agents, clear)}",
        chart_text="; ".join(f"{_name(agent)}: {words.percent(each.value)} ({words.between_percent(each)})" for agent, each in agents.shares.items()),
        assumptions=(
            "Only ears that were softened with a named agent are compared, made alike in all that is recorded; each "
            "agent's share is told as if all of them had had it.",
            "People choose their agent. What made them choose may also make success likelier, or less likely.",
            *_hidden(agents, asked.fewest),
        ),
        cautions=(
            "Some oils are unsuitable with a nut or peanut allergy, and no agent with a perforation, suspected or known "
            "(common practice, no source). Local protocol and licensed practice decide.",
            *say.CAUTIONS,
        ),
        basis=Basis(
            sum(agents.ears.values()), "softened ears", {}, agents.first_day, agents.last_day,
            "Logistic regression, standardised; simultaneous ranges (Hothorn, Bretz and Westfall); patients clustered.",
        ),
        rows=tuple(_rows(agents)),
    )  # fmt: skip


def _name(agent: str) -> str:
    """Say an agent."""
    return SOFTENERS[agent]


def _count_clear(agents: Agents, clear: dict) -> str:
    """Say how many pairs differ clearly."""
    many = len(agents.pairs)
    return (
        f"no pair of {many} differs clearly"
        if not clear
        else f"{len(clear)} of {words.plural(many, 'pair')} differ clearly"
    )


def _headline(agents: Agents, clear: dict) -> str:
    """Say the clearest pair, or that none is clear."""
    period = words.months(agents.first_day, agents.last_day)
    if not clear:
        widest = max(agents.pairs.values(), key=lambda each: each.high - each.low)
        reach = words.number(100 * max(abs(widest.low), abs(widest.high)))
        return (
            f"No agent went clearly with more successes than another, comparing like with like; between the rarest "
            f"ones a difference of up to {reach} in 100 would go unseen, {period}."
        )
    (first, second), gap = max(clear.items(), key=lambda item: abs(item[1].value))
    return f"{_name(first).capitalize()} went with {say.more_successes(gap)} than {_name(second)}, comparing like with like, {period}."


def _hidden(agents: Agents, fewest: int) -> tuple[str, ...]:
    """Say which agents were used too rarely."""
    if not agents.hidden:
        return ()
    names = words.joined([_name(each) for each in agents.hidden])
    return (f"Not shown, being used on fewer than {fewest} ears or with hardly a failure or success: {names}.",)


def _table(agents: Agents) -> pd.DataFrame:
    """Lay every pair out, the clearest first."""
    pairs = sorted(agents.pairs.items(), key=lambda item: -abs(item[1].value) / (item[1].high - item[1].low))
    return pd.DataFrame(
        [
            {
                "agent": _name(first),
                "other_agent": _name(second),
                "ears": gap.n,
                "more_in_100": 100 * gap.value,
                "low": 100 * gap.low,
                "high": 100 * gap.high,
            }
            for (first, second), gap in pairs
        ]
    )


def _rows(agents: Agents) -> list[ResultRow]:
    """Give every share and every pair."""
    shares = [
        ResultRow.from_estimate("softening", "agent_success_share", "share", each, agent=agent)
        for agent, each in agents.shares.items()
    ]
    return shares + [
        ResultRow.from_estimate("softening", "agent_difference", "share", gap, agent=first, other_agent=second)
        for (first, second), gap in agents.pairs.items()
    ]
