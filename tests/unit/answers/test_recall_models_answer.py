"""The answers on which curve recall rests on: what they say, and of logs that lack something."""

import itertools
from functools import cache

import numpy as np
import pandas as pd
import pytest

from analysis.answers.recall_material import clinic_gaps
from analysis.answers.recall_models import does_the_curve_fit
from analysis.answers.recall_models_facts import what_goes_with_filling_sooner
from analysis.answers.recall_models_scores import _beside_used, which_curve_foretells_best
from analysis.clinic import Clinic
from analysis.models.recall import fit_recall
from analysis.models.recall_candidates import Candidate
from analysis.present.answer import FAILED, PASSED, Answer
from analysis.present.tables import spoken_columns
from analysis.settings import settings_from_toml
from analysis.stats.estimate import Estimate
from analysis.stats.time_families import FAMILIES
from tests.truth.recall_world import World


@cache
def logged(shape: float = 1.6, years: float = 3.0) -> tuple[pd.DataFrame, pd.DataFrame]:
    return World(patients=1200, shape=shape, years=years).log(11)


def clinic(toml: str = "", **world) -> Clinic:
    visits, ears = logged(**world)
    return Clinic(visits, ears, settings=settings_from_toml(toml))


@cache
def fit() -> Answer:
    return does_the_curve_fit(clinic())


def test_a_weibull_world_is_fitted_by_its_curve():
    checks = {check.name: check for check in fit().checks}
    assert {"Fit, with a hearing aid", "Fit, without a hearing aid", "Fit, everyone"} <= set(checks)
    assert checks["Fit, everyone"].result == PASSED
    assert "within the range of what was seen at" in fit().headline
    assert fit().chart_title == "The fitted curve follows what was seen"


def test_the_free_curve_lies_near_what_is_planted():
    """Everyone's ears: three in ten with a hearing aid, the two curves mixed."""
    world = World(patients=1200)
    rows = {row.group["months"]: row for row in fit().rows if row.group["group"] == "everyone"}
    for months in (6, 12, 18):
        planted = sum(
            part * -np.expm1(-((months / (world.scale_months * factor)) ** world.shape))
            for part, factor in ((0.3, world.hearing_aid_factor), (0.7, 1.0))
        )
        assert rows[months].low - 0.02 <= planted <= rows[months].high + 0.02


def test_ranges_hold_their_figure_and_the_table_can_be_shown():
    assert all(row.low <= row.value <= row.high for row in fit().rows)
    assert "no shape assumed" in [column.heading for column in spoken_columns(fit().table)]
    assert [trace.name for trace in fit().chart.data] == ["fitted curve", "no shape assumed"]


def test_a_log_that_no_curve_fits_is_told():
    """Half the patients' ears fill up within half a year, the other half's after two."""
    parts = []
    for scale, name in ((5.0, "a"), (26.0, "b")):
        visits, ears = World(patients=600, shape=9.0, scale_months=scale, hearing_aid_factor=1.0).log(2)
        parts.append(
            (
                visits.assign(visit_id=name + visits["visit_id"], patient_key=name + visits["patient_key"]),
                ears.assign(visit_id=name + ears["visit_id"]),
            )
        )
    visits, ears = (pd.concat(each, ignore_index=True) for each in zip(*parts, strict=True))
    found = does_the_curve_fit(Clinic(visits, ears, settings=settings_from_toml("")))
    assert {check.name: check.result for check in found.checks}["Fit, everyone"] == FAILED
    assert found.chart_title == "The fitted curve misses what was seen at many months"


def test_the_same_log_gives_the_same_figures():
    assert does_the_curve_fit(clinic()).rows == fit().rows


@cache
def facts() -> Answer:
    return what_goes_with_filling_sooner(clinic())


@cache
def scores() -> Answer:
    return which_curve_foretells_best(clinic())


def test_a_planted_hearing_aid_stands_out_beyond_chance():
    row = next(row for row in facts().rows if row.group["fact"] == "hearing_aid")
    assert row.group == {"fact": "hearing_aid", "value": "yes", "beside": "no"}
    assert row.low <= row.value <= row.high < 1
    assert "hearing aid (yes beside no: 0." in facts().headline
    assert any("does not make it the cause" in caution for caution in facts().cautions)
    assert "times as long" in [column.heading for column in spoken_columns(facts().table)]


def test_scores_are_ordered_and_knowing_of_hearing_aids_foretells_better():
    values = [row.value for row in scores().rows]
    assert values == sorted(values, reverse=True)
    by_facts = {(row.group["curve"], row.group["facts"]): row.value for row in scores().rows}
    assert by_facts["weibull", "hearing_aid"] > by_facts["weibull", "none"]
    assert set(by_facts) == set(itertools.product(FAMILIES, ("none", "hearing_aid", "all")))
    assert all(row.low <= row.value <= row.high for row in scores().rows)


def test_the_headline_says_what_foretells_best_without_a_word_of_the_trade_but_the_curves_name():
    best = scores().table.iloc[0]
    known = {
        "by all facts": "from all facts recorded",
        "by hearing aid": "from hearing aids alone",
        "of everyone": "from no fact",
    }
    assert scores().headline.startswith(
        "When the ears of patients kept aside would be occluding again was foretold best "
        f"{known[best['curve_by']]}, by the {best['curve']}"
    )
    assert [each for each in ("held out", "log score", "likelihood") if each in scores().headline] == []


def test_the_curve_of_the_recall_months_stands_beside_the_best_here():
    used = fit_recall(clinic_gaps(clinic()), clinic().settings.recall).family
    told = f"“When should people be called back?” goes by the {used.spoken}, chosen on each ear's first clearance, while here all clearances are scored; "
    assert told in scores().how_sure


@pytest.mark.parametrize(
    ("used", "reach", "told"),
    [
        ("log_logistic", 0.01, "it is the best here too."),
        ("weibull", 0.01, "chance alone may well put the log-logistic curve before it."),
        ("weibull", 0.001, "chance alone would hardly put the log-logistic curve before it."),
    ],
)
def test_whether_chance_can_tell_the_two_apart_is_said(used, reach, told):
    behind = {
        "log_logistic": Estimate(0, 0, 0, 0.95, 90, ""),
        "weibull": Estimate(-0.005, -0.005 - reach, -0.005 + reach, 0.95, 90, ""),
    }
    found = [Candidate(family, "all", -1.0, apart) for family, apart in behind.items()]
    assert _beside_used(found, FAMILIES[used]).endswith(told)


ASKED = [does_the_curve_fit, what_goes_with_filling_sooner, which_curve_foretells_best]


@pytest.mark.parametrize("ask", ASKED)
@pytest.mark.parametrize("lacking", ["hearing_aid", "booking_kind", "age_band", "patient_key"])
def test_a_log_without_one_fact_never_fails(lacking, ask):
    visits, ears = logged()
    visits = visits.assign(
        **{lacking: pd.Series([None] * len(visits), index=visits.index, dtype=visits[lacking].dtype)}
    )
    found = ask(Clinic(visits, ears, settings=settings_from_toml("")))
    assert found.answered == (lacking != "patient_key")


@pytest.mark.parametrize("ask", ASKED)
def test_an_empty_log_has_a_plain_sentence(ask):
    visits, ears = logged()
    found = ask(Clinic(visits.iloc[:0], ears.iloc[:0], settings=settings_from_toml("")))
    assert found.headline.startswith("No figure yet. The log holds no cleared ear of a known patient.")
