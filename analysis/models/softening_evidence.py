"""What published trials say of softening: which arms may be put together, and what comes of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.stats.meta_analysis import Pooled, RandomEffects, TwoByTwos, mantel_haenszel, random_effects

ARMS_JOIN = "+"
FEWEST_POOLED = 2
TRIALS_COLUMNS = (
    "study",
    "year",
    "comparison",
    "arm",
    "agent",
    "unit",
    "n",
    "events",
    "outcome_definition",
    "how_known",
)
DERIVED = r"^\[derived"
ANOTHER_METHOD = ("drops_alone", "agent_or_water_then_irrigation", "two_agents_then_irrigation", "two_agents_alone")
"""Questions about drops alone or irrigation; of a suction clinic they say little."""


@dataclass(frozen=True, slots=True)
class Study:
    """One study's two arms under one question.

    Attributes
    ----------
    question, study : str
        Code of the question; the study's name and year.
    year : int
    treated_events, treated, control_events, control : int
        What was counted in either arm, and how many ears or patients it had.
    unit : str
        ``ear`` or ``patient``; ears of the same patient make a range look
        surer than it is.
    derived : bool
        Whether a count was not printed but follows from the printed figures.
    """

    question: str
    study: str
    year: int
    treated_events: int
    treated: int
    control_events: int
    control: int
    unit: str
    derived: bool


@dataclass(frozen=True, eq=False)
class Evidence:
    """One question's studies, and what they say together.

    Attributes
    ----------
    question : str
    studies : tuple of Study
        Those that may be used, oldest first.
    fixed : Pooled
        Mantel-Haenszel log risk ratio; with one study it is that study's own.
    random : RandomEffects or None
        On the log risk ratio; None with a single study.
    """

    question: str
    studies: tuple[Study, ...]
    fixed: Pooled
    random: RandomEffects | None

    def log_ratio(self, level: float) -> tuple[float, float, float]:
        """Give log risk ratio and range: random effects where studies were pooled, else the study's own."""
        if self.random is not None:
            return self.random.value, self.random.low, self.random.high
        return self.fixed.value, *self.fixed.ends(level)


def usable_studies(trials: pd.DataFrame, comparisons: pd.DataFrame) -> tuple[list[Study], pd.DataFrame]:
    """Say which published arms answer which question, and which answer none and why.

    Parameters
    ----------
    trials : pandas.DataFrame
        One row an arm, with ``TRIALS_COLUMNS``; ``n`` and ``events`` may be empty.
    comparisons : pandas.DataFrame
        ``question``, ``study``, ``year``, ``comparison``, ``treated``, ``control``
        (names of arms, joined by ``+``) and ``left_out`` (a code; empty where
        the comparison is to be used).

    Returns
    -------
    list of Study
    pandas.DataFrame
        ``question``, ``study``, ``year`` and ``why`` (a code) of what was left out.

    Notes
    -----
    Left out: what ``comparisons`` says (attempts counted instead of people, one
    arm only, not randomised, another question, a row that is itself pooled);
    arms whose counts could not be read; counts recalled from memory; a control
    arm already used under the same question, which would count its ears twice;
    and arms without any event, whose ratio has no variance.

    Examples
    --------
    >>> arms = pd.DataFrame({"study": "Invented", "year": 2020, "comparison": "a against b", "arm": ["A", "B"],
    ...     "agent": "", "unit": "ear", "n": [40, 38], "events": [30, 20], "outcome_definition": "",
    ...     "how_known": "read"})
    >>> rows = [{"question": "q", "study": "Invented", "year": 2020, "comparison": "a against b",
    ...          "treated": "A", "control": "B", "left_out": ""}] * 2
    >>> studies, left_out = usable_studies(arms, pd.DataFrame(rows))
    >>> studies[0].treated_events, left_out["why"].tolist()
    (30, ['same_control_arm'])
    """
    kept: list[Study] = []
    left_out = []
    used_controls: set[tuple[str, str, int, str]] = set()
    for row in comparisons.to_dict("records"):
        arms = trials[
            (trials["study"] == row["study"])
            & (trials["year"] == row["year"])
            & (trials["comparison"] == row["comparison"])
        ]
        control = (row["question"], row["study"], row["year"], row["control"])
        why = row["left_out"] or _why_not(arms, row)
        if not why and control in used_controls:
            why = "same_control_arm"
        if why:
            left_out.append({"question": row["question"], "study": row["study"], "year": row["year"], "why": why})
            continue
        used_controls.add(control)
        kept.append(_study(arms, row))
    return kept, pd.DataFrame(left_out, columns=["question", "study", "year", "why"])


def pooled_evidence(studies: list[Study], *, level: float) -> list[Evidence]:
    """Put the studies of each question together, and never across questions.

    Parameters
    ----------
    studies : list of Study
        As ``usable_studies`` gives them.
    level : float
        How sure ranges should be.

    Returns
    -------
    list of Evidence
        One a question, in the order in which questions first appear.

    Notes
    -----
    Drops with nothing done afterwards, and drops followed by irrigation or
    suction, are different questions: the share cleared differs tenfold.
    """
    evidence = []
    for question in dict.fromkeys(study.question for study in studies):
        own = tuple(sorted((each for each in studies if each.question == question), key=lambda each: each.year))
        counts = _counts(own)
        fixed = mantel_haenszel(counts, measure="log_risk_ratio")
        random = random_effects(*counts.log_risk_ratios(), level=level) if len(own) >= FEWEST_POOLED else None
        evidence.append(Evidence(question, own, fixed, random))
    return evidence


def study_ratio(study: Study) -> Pooled:
    """Give one study's log risk ratio."""
    return mantel_haenszel(_counts((study,)), measure="log_risk_ratio")


def combined_with_own(own: Pooled, published: Pooled, *, weight: float) -> Pooled:
    """Combine the clinic's own log risk ratio with a published one that counts for less.

    Parameters
    ----------
    own, published : Pooled
        Log risk ratios and variances.
    weight : float
        Share of its own weight at which the published figure counts, above 0
        and at most 1: at 0.25 a trial of 400 counts like one of 100.

    Returns
    -------
    Pooled

    Notes
    -----
    A power prior [1]_: the published likelihood is raised to ``weight``.

    References
    ----------
    .. [1] Ibrahim and Chen (2000), Statistical Science 15, 46-60.

    Examples
    --------
    >>> both = combined_with_own(Pooled(0.1, 0.01), Pooled(0.4, 0.02), weight=0.5)
    >>> round(both.value, 3), round(both.variance, 4)
    (0.16, 0.008)
    """
    precision = np.array([1 / own.variance, weight / published.variance])
    value = float(np.array([own.value, published.value]) @ precision / precision.sum())
    return Pooled(value, float(1 / precision.sum()))


def _why_not(arms: pd.DataFrame, row: dict) -> str:
    """Say why a comparison's arms cannot be used; empty where they can."""
    own = arms[arms["arm"].isin([*row["treated"].split(ARMS_JOIN), *row["control"].split(ARMS_JOIN)])]
    if own.empty or own[["n", "events"]].isna().to_numpy().any():
        return "counts_not_read"
    if (own["how_known"] != "read").any():
        return "from_memory"
    return "no_event" if (own["events"] == 0).any() else ""


def _study(arms: pd.DataFrame, row: dict) -> Study:
    """Add up the arms of one comparison."""
    treated = arms[arms["arm"].isin(row["treated"].split(ARMS_JOIN))]
    control = arms[arms["arm"].isin(row["control"].split(ARMS_JOIN))]
    both = pd.concat([treated, control])
    derived = bool(both["outcome_definition"].str.contains(DERIVED, regex=True).any())
    name = f"{row['study']} {row['year']}"
    return Study(
        question=row["question"],
        study=name,
        year=int(row["year"]),
        treated_events=int(treated["events"].sum()),
        treated=int(treated["n"].sum()),
        control_events=int(control["events"].sum()),
        control=int(control["n"].sum()),
        unit=str(both["unit"].iloc[0]),
        derived=derived,
    )


def _counts(studies: tuple[Study, ...]) -> TwoByTwos:
    """Set studies' counts side by side."""
    names = ("treated_events", "treated", "control_events", "control")
    return TwoByTwos(*(np.array([getattr(study, name) for study in studies], dtype=float) for name in names))
