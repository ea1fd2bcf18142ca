"""The study of whether ranges hold: its measures on small tables, its truths, and that a killed run goes on to the same table."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.demo import diary, story
from tests.calibrate.chart import coverage_chart
from tests.calibrate.figures import figures
from tests.calibrate.invented_world import one_clinic
from tests.calibrate.measures import performance
from tests.calibrate.page import verdict
from tests.calibrate.running import Task, already_done, ask, run
from tests.calibrate.truths import recall_truths, softening_truths, visit_truth
from tests.calibrate.worlds import AS_TOLD, EVERY_WORLD, planted

FEW = [Task(number, AS_TOLD.name, 300) for number in (1, 2, 4)]
"""Clinics that are not forecast, for speed."""


def quiet(_: str) -> None:
    """Say nothing."""


@pytest.fixture(scope="module")
def few(tmp_path_factory) -> tuple[Path, list[dict]]:
    resume = tmp_path_factory.mktemp("study") / "resume.jsonl"
    return resume, run(FEW, resume=resume, said=quiet)


def one_figure(clinic: int, off: float, error: float, *, truth: float = 10.0) -> dict:
    low, high = off - 1.96 * error, off + 1.96 * error
    return {"world": "w", "visits": 300, "clinic": clinic, "quantity": "q", "of": "", "value": truth + off, "error": error,
            "truth": truth, "off": off, "held_50": 0.0, "held_80": 1.0, "held_95": float(low <= 0 <= high),
            "claims": float(truth + low > 0 or truth + high < 0)}  # fmt: skip


def test_measures_are_those_of_morris_white_and_crowther():
    table = pd.DataFrame([one_figure(1, 1.0, 1.0), one_figure(2, -1.0, 1.0), one_figure(3, 3.0, 1.0)])
    row = performance(table, ["world"]).iloc[0]
    assert row["clinics"] == 3
    assert row["bias"] == pytest.approx(1.0)
    assert row["empirical_error"] == pytest.approx(2.0)  # of 1, -1 and 3
    assert row["bias_mc"] == pytest.approx(2.0 / np.sqrt(3))
    assert row["empirical_error_mc"] == pytest.approx(2.0 / np.sqrt(2 * 2))
    assert row["model_error"] == pytest.approx(1.0)
    assert row["held_95"] == pytest.approx(2 / 3)
    assert row["held_95_mc"] == pytest.approx(np.sqrt((4 / 7) * (3 / 7) / 7))  # two held and two missed added
    assert np.isnan(row["false_alarms"])


def test_a_clinic_with_many_figures_counts_once():
    table = pd.DataFrame([one_figure(1, 0.0, 1.0)] * 9 + [one_figure(2, 5.0, 1.0)])
    row = performance(table, ["world"]).iloc[0]
    assert row["clinics"] == 2
    assert row["held_95"] == pytest.approx(0.5)
    assert row["bias"] == pytest.approx(2.5)


def test_a_claim_where_nothing_was_planted_is_a_false_alarm():
    table = pd.DataFrame([one_figure(1, 5.0, 1.0, truth=0.0), one_figure(2, 1.0, 1.0, truth=0.0)])
    assert performance(table, ["world"]).iloc[0]["false_alarms"] == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("held", "error", "said"),
    [(0.95, 0.01, "met"), (0.92, 0.01, "within chance"), (0.90, 0.01, "too narrow"), (1.0, 0.01, "too wide"), (None, None, "")],
)  # fmt: skip
def test_the_verdict_allows_for_the_number_of_clinics(held, error, said):
    assert verdict({"held_95": held, "held_95_mc": error}) == said


@pytest.mark.parametrize("name", EVERY_WORLD)
def test_the_story_is_its_own_again_after_a_world(name):
    before = {key: getattr(story, key) for key in dir(story)}, diary.ROTA
    with planted(EVERY_WORLD[name], 1_000):
        assert story.PRACTITIONERS == ("Ash 1", "Birch 1")
    assert all(getattr(story, key) is value for key, value in before[0].items())
    assert diary.ROTA is before[1]


def test_a_killed_run_goes_on_to_the_same_table(few, tmp_path):
    resume, whole = few
    lines = resume.read_text(encoding="utf-8").splitlines(keepends=True)
    cut = tmp_path / "cut.jsonl"
    cut.write_text(
        "".join(lines[:2]) + lines[2][: len(lines[2]) // 2], encoding="utf-8"
    )  # killed while writing the third
    assert len(already_done(cut)) == 2
    again = run(FEW, resume=cut, said=quiet)
    assert again == whole
    assert len(already_done(cut)) == len(FEW)


def test_a_clinic_is_the_same_whichever_others_were_asked_before(few):
    _, whole = few
    assert json.loads(json.dumps(ask(FEW[2]))) == whole[2]


def test_truths_of_a_world_without_effect_are_nought_and_of_the_story_as_planted():
    world = EVERY_WORLD["no effect"]
    with planted(world, 300):
        drawn = one_clinic(world, 300, [3])
        nothing = softening_truths(drawn)
    assert {value for (what, *_), value in nothing.items() if what != "risk_ratio"} == {0.0}
    with planted(AS_TOLD, 1_000):
        drawn = one_clinic(AS_TOLD, 1_000, [3])
        minutes, months, softened = visit_truth(drawn), recall_truths(drawn), softening_truths(drawn)
    unsoftened = story.EAR_MINUTES[story.FULLY, story.WIDE] - story.LOOKED_AT_MINUTES
    assert story.SOFTENED_FACTOR * unsoftened < minutes["added_minutes", "fully_occluding", "wide_suction"] < unsoftened
    assert (
        months["months_until_share_occluded", "hearing_aid", "0.3"]
        < months["months_until_share_occluded", "everyone", "0.3"]
    )
    assert months["return_share",] == story.COMES_BACK
    assert softened["risk_difference", "used"] > softened["risk_difference", "advised"] > 0


def test_too_small_a_log_gives_fewer_figures_and_no_error():
    with planted(EVERY_WORLD["eighteen months"], 300):
        drawn = one_clinic(EVERY_WORLD["eighteen months"], 300, [1])
        tiny = type(drawn)(
            drawn.world, drawn.visits.head(12), drawn.ears.head(10), drawn.people, drawn.rows, drawn.came_later
        )
        assert figures(tiny, demand=True) == []


def test_every_range_of_a_higher_level_is_wider(few):
    for one in few[1]:
        for name, _, _, ranges, _ in one["rows"]:
            widths = [high - low for low, high in ranges if np.isfinite(low)]
            assert widths == sorted(widths), name


def test_the_chart_names_every_row_and_escapes_it():
    drawn = coverage_chart([("a < b", 1_000, 0.95, 0.01), ("c", 1_000, 0.5, 0.01)])
    assert "a &lt; b" in drawn
    assert ">50<" in drawn  # what lies below the scale has its number beside it


def test_a_single_clinic_tells_nothing_and_is_drawn_so():
    drawn = coverage_chart([("c", 1_000, 1.0, None)])
    assert 'x1="20.0" x2="370.0"' in drawn  # the whole width
