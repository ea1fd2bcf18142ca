"""What a quarter's ears were and what was done: grades, impaction, methods and their order, findings."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from analysis.answers import case_mix_words as call
from analysis.answers import quarter_figures as show
from analysis.answers import quarter_words as say
from analysis.answers.clinic_attempts import clinic_attempts
from analysis.clinic import Clinic
from analysis.derive.quarters import Quarter
from analysis.models.case_mix_names import BEGUN, CASE_MIX_BASES, IMPACTED, MORE_METHODS
from analysis.models.quarter_counts import allow_for_groups
from analysis.models.quarter_margins import attempt_margins
from analysis.models.quarter_measures import ALL, Measure, shown_measures
from analysis.models.quarter_periods import THIS, periods
from analysis.present import words
from analysis.present.answer import Answer, Basis, no_answer
from analysis.problems import NotEnough
from analysis.schema import GRADES

SAW = "What did we see and do?"
LED = ("fully_occluding", IMPACTED, MORE_METHODS)
METHOD = "Counts; Wilson ranges for shares, Newcombe's for their differences, widened for two ears of one patient."


def what_we_saw(clinic: Clinic, quarter: str) -> Answer:
    """Say what a quarter's first attempts were, and what was done.

    Parameters
    ----------
    clinic : Clinic
        ``clinic.hide_below`` says which counts are too small to show.
    quarter : str
        Such as ``2026-Q3``.

    Returns
    -------
    Answer
        Grades, impaction, what was found, the method an ear was begun with,
        what came second, and findings at drum and middle ear. Rows as those
        of ``activity``, without the grades, which ``outcomes`` has.

    Raises
    ------
    DataProblem
        If ``quarter`` is not written as one.
    """
    asked = Quarter.parse(quarter)
    settings = clinic.settings
    until = clinic.last_day - pd.Timedelta(days=settings.softening.second_attempt_days)
    try:
        found = periods(asked, clinic.first_day, clinic.last_day)
        counts, _, ears = attempt_margins(clinic_attempts(clinic), clinic.ears, found, until)
        first = counts.by_period[THIS]["first", ALL]
        say.refuse_if_few(first, "first attempts", settings.clinic.hide_below, found)
        cells = counts.by_period[THIS]
        names = [name for name in (*GRADES, *CASE_MIX_BASES) if cells[counts.base[name], ALL] and cells[name, ALL]]
        made = shown_measures(counts, names, [ALL], hide_below=settings.clinic.hide_below, level=settings.level)
        if not made:
            raise NotEnough(
                f"For {say.period(found)} the log has neither grades, nor methods, nor findings of first attempts.",
                "Record of every ear its grade when first seen and the methods used, in order.",
            )
    except NotEnough as reason:
        return no_answer(SAW, reason)
    measures = [allow_for_groups(each, ears, found) for each in made]
    bars = show.shares_bars(measures, [IMPACTED, *BEGUN.values(), MORE_METHODS])
    now = f", {show.PERIOD_NAMES[THIS]}"
    bars = [replace(bar, label=bar.label.removesuffix(now)) for bar in bars if bar.label.endswith(now)]
    return Answer(
        SAW,
        _headline(measures, first, say.period(found)),
        how_sure=say.how_sure(measures, settings.level),
        table=show.measures_table(measures),
        chart=show.bars_chart([*show.grade_bars(measures), *bars], "share of first attempts"),
        chart_title=_title(measures),
        chart_text=show.bars_text([*show.grade_bars(measures), *bars]),
        assumptions=(*call.ASSUMPTIONS, say.SAME_MEANS),
        cautions=call.CAUTIONS,
        checks=(
            *say.compared_checks(measures, (*LED, *BEGUN.values()), found),
            *say.hidden_check(measures, settings.clinic.hide_below),
        ),
        basis=Basis(first, "first attempts", {}, found.first_day, found.last_day, METHOD),
        # the grades are rows of how first attempts went
        rows=show.measure_rows("quarter", [each for each in measures if each.name not in GRADES]),
    )


def _headline(measures: list[Measure], first: int, period: str) -> str:
    """Say what stood out of the ears first worked on, with ranges."""
    told = [f"{say.MEASURES[each.name]} {say.share(each)}" for each in measures if each.name in LED and each.share]
    what = f": {'; '.join(told)}" if told else ""
    return f"{words.plural(first, 'first attempt')} at ears in {period}{what}."


def _title(measures: list[Measure]) -> str:
    """Say which method ears were mostly begun with."""
    begun = [each for each in measures if each.name in BEGUN.values() and each.share is not None]
    if not begun:
        return "What the ears first worked on were"
    most = max(begun, key=lambda each: each.share.value if each.share else 0.0)
    share = words.percent(most.share.value) if most.share else ""
    return f"Most often ears were {say.MEASURES[most.name]}: {share} of them"
