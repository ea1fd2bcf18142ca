"""The committed table of whether ranges hold: it is its own JSON, a few clinics anew agree with it, and it shows what it must."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binom

from tests.calibrate.__main__ import cells
from tests.calibrate.measures import figure_table, performance
from tests.calibrate.page import UNADJUSTED, as_chart, as_json, as_markdown, from_json
from tests.calibrate.running import FIGURES, Task, run
from tests.calibrate.worlds import AS_TOLD, MISSPECIFIED, WORLDS

SHARED = Path(__file__).parents[2] / "shared"
FEW = [Task(number, AS_TOLD.name, 1_000) for number in (1001, 1003, 1004, 1006)]
"""Clinics the committed table does not hold, none of them forecast, for speed."""


@pytest.fixture(scope="module")
def committed() -> dict:
    return from_json((SHARED / "calibration.json").read_text(encoding="utf-8"))


def pooled(committed: dict, visits: int) -> pd.DataFrame:
    table = pd.DataFrame(committed["pooled"])
    return table[table["visits"] == visits].set_index(["quantity", "of"])


def test_page_and_chart_are_the_committed_numbers(committed):
    assert (SHARED / "calibration.json").read_text(encoding="utf-8") == as_json(committed)
    assert (SHARED / "calibration.md").read_text(encoding="utf-8") == as_markdown(committed)
    assert (SHARED / "calibration.svg").read_text(encoding="utf-8") == as_chart(committed)


def test_every_world_and_size_is_in_the_table(committed):
    there = {(row["world"], row["visits"]) for row in committed["by_world"]}
    asked = cells(1, worlds=None, long=False)
    assert {(task.world, task.visits) for task in asked if task.what == FIGURES} == there
    assert {world.name for world in (*WORLDS, *MISSPECIFIED)} == {world for world, _ in there}


def test_a_few_clinics_asked_anew_agree_with_the_committed_table(committed):
    anew = performance(
        figure_table(FEW, run(FEW, resume=None, said=lambda _: None)), ["world", "visits", "quantity", "of"]
    )
    both = anew.merge(
        pd.DataFrame(committed["by_world"]), on=["world", "visits", "quantity", "of"], suffixes=("", "_known")
    )
    # their spread is that of single figures, not of a clinic's mean; and quantiles' truth comes of many clinics
    single = both[~both["quantity"].isin(["added_minutes", "minutes_quantile"])]
    assert len(single) >= 5
    # four clinics' mean may lie four of its standard errors from that of the table, whose own error comes on top
    allowed = 4 * single["empirical_error_known"] * np.sqrt(1 / len(FEW) + 1 / single["clinics_known"])
    assert ((single["bias"] - single["bias_known"]).abs() < allowed).all()
    ranged = single.dropna(subset=["model_error"])
    np.testing.assert_allclose(ranged["model_error"], ranged["model_error_known"], rtol=0.4)
    # of four 95% ranges fewer than two would hold once in a thousand, were 93 in 100 the truth
    assert (single["held_95"] * len(FEW) >= binom.ppf(1e-3, len(FEW), 0.93)).all()


@pytest.mark.parametrize("visits", [1_000, 10_000])
def test_as_they_are_the_groups_mislead_and_like_with_like_they_do_not(committed, visits):
    table = pooled(committed, visits)
    plain, alike = (table.loc["risk_difference", f"advised, {how}"] for how in (UNADJUSTED, "standardised"))
    assert plain["bias"] < -4 * plain["bias_mc"]
    assert plain["held_95"] + 3 * plain["held_95_mc"] < 0.93
    assert abs(alike["bias"]) < abs(plain["bias"]) / 4


@pytest.mark.parametrize("visits", [1_000, 10_000])
def test_95_percent_ranges_hold_where_the_assumptions_do(committed, visits):
    table = pooled(committed, visits)
    like = table[~table.index.get_level_values("of").str.contains(UNADJUSTED)]
    # three Monte Carlo errors each, so that one of some thirty rows falls out by chance in one table of twenty-five
    assert list(like.index[like["held_95"] + 3 * like["held_95_mc"] < 0.93]) == []


def test_where_nothing_was_planted_false_alarms_are_near_one_in_twenty(committed):
    rows = pd.DataFrame(committed["by_world"]).dropna(subset=["false_alarms"])
    alike = rows[rows["of"].str.contains("standardised|weighted|doubly") & (rows["quantity"] != "risk_ratio")]
    for row in alike.to_dict("records"):
        most = binom.ppf(0.9999, row["clinics"], 0.07)
        assert row["false_alarms"] * row["clinics"] <= most, row
