"""Which published arms are put together, and which are kept apart."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.evidence import published_trials
from analysis.models.softening_evidence import combined_with_own, pooled_evidence, usable_studies
from analysis.stats.meta_analysis import Pooled


@pytest.fixture(scope="module")
def published():
    return usable_studies(*published_trials())


def test_every_published_comparison_is_used_or_left_out_with_a_reason():
    trials, comparisons = published_trials()
    keys = ["study", "year", "comparison"]
    assert set(trials[keys].itertuples(index=False, name=None)) == set(
        comparisons[keys].itertuples(index=False, name=None)
    )


def test_only_studies_of_one_question_with_counts_that_were_read_are_pooled(published):
    studies, _ = published
    found = {each.question: [study.study for study in each.studies] for each in pooled_evidence(studies, level=0.95)}
    assert found == {
        "drops_alone": ["Keane 1995"],
        "agent_or_water_then_irrigation": ["Whatley 2003", "Roland 2004"],
        "two_agents_then_irrigation": ["Singer 2000", "Whatley 2003"],
        "two_agents_then_suction": ["Piromchai 2020"],
        "two_agents_alone": ["Vanlierde 1991"],
    }


def test_what_is_left_out_says_why(published):
    _, left_out = published
    why = left_out.groupby("study")["why"].agg(lambda codes: "|".join(sorted(set(codes))))
    assert why["Keane"] == "from_memory"
    assert why["Pavlidis"] == why["Eekhof"] == "attempts_counted"
    assert why["Meehan"] == "counts_not_read"
    assert why["Coppin"] == "another_question"
    assert why["POOLED 2 RCTs"] == "pooled_already"


def test_the_same_control_arm_is_never_counted_twice():
    trials, comparisons = published_trials()
    read = trials.assign(how_known="read")  # as if the recalled arm had been read
    studies, left_out = usable_studies(read, comparisons)
    assert [study.control for study in studies if study.question == "drops_alone"] == [38]
    assert left_out.loc[left_out["study"] == "Keane", "why"].tolist() == ["same_control_arm"]


def test_two_arms_against_one_control_are_counted_together(published):
    studies, _ = published
    whatley = next(s for s in studies if s.question.startswith("agent") and s.year == 2003)
    assert (whatley.treated_events, whatley.treated, whatley.control_events, whatley.control) == (31, 64, 19, 28)


def test_one_study_is_shown_but_not_called_pooled(published):
    evidence = {each.question: each for each in pooled_evidence(published[0], level=0.95)}
    assert evidence["two_agents_then_suction"].random is None
    assert np.exp(evidence["two_agents_then_suction"].log_ratio(0.95)[0]) == pytest.approx(41 / 45 / (38 / 46))


def test_a_discounted_trial_moves_the_own_figure_less():
    own, trial = Pooled(0.0, 0.01), Pooled(0.4, 0.01)
    whole, quarter = (combined_with_own(own, trial, weight=weight) for weight in (1.0, 0.25))
    assert whole.value == pytest.approx(0.2)
    assert quarter.value == pytest.approx(0.08)
    assert whole.variance < quarter.variance < own.variance
