"""What is true of a drawn clinic, told from the story behind it and never from its log."""

from __future__ import annotations

from typing import Any

import numpy as np

from analysis.demo import details, story
from analysis.demo.people import People
from analysis.demo.softening import chance
from analysis.demo.truth_softening import eligible_ears
from tests.calibrate.invented_world import Drawn
from tests.calibrate.other_shapes import two_speed_hazard, weibull_hazard

Rows = dict[str, Any]
Truth = dict[tuple[str, ...], float]
MONTHS = np.arange(0.0, 150.0, 0.1)
SHARES = (0.3, 0.5)
BIN_MINUTES = 0.25
CLEARED_OR_REMNANT = 1


def visit_truth(drawn: Drawn) -> Truth:
    """Minutes of a visit before any ear is worked on, and what the log's ears of a grade and first method add.

    An ear adds the mean minutes of its visit less those of the same visit with that ear only looked at.
    """
    rows = _attended(drawn.rows)
    whole = _mean(rows, [])
    truth: Truth = {("overhead_minutes",): float(_mean(rows, [0, 1]).mean() + _drift(drawn, rows).mean())}
    added = np.column_stack([whole - _mean(rows, [side]) for side in (0, 1)])
    for grade in (story.NON_OCCLUDING, story.PARTLY, story.FULLY):
        for method in range(len(story.METHOD_WEIGHTS)):
            ears = rows["worked"] & (rows["grade"] == grade) & (rows["first_method"] == method)
            if ears.any():
                names = (story.GRADE_CODES[grade], story.METHOD_CODES[method])
                truth[("added_minutes", *names)] = float(added[ears].mean())
    return truth


def means_by_kind(drawn: Drawn) -> dict[str, dict[str, int]]:
    """Count attended visits by kind and by their planted mean minutes, in quarters of a minute."""
    rows = _attended(drawn.rows)
    mean = _mean(rows, []) + _drift(drawn, rows)
    found = {}
    for kind, name in enumerate(story.KINDS):
        steps, counts = np.unique(np.rint(mean[rows["kind"] == kind] / BIN_MINUTES).astype(int), return_counts=True)
        found[name] = {str(step): int(many) for step, many in zip(steps, counts, strict=True)}
    return found


def softening_truths(drawn: Drawn) -> Truth:
    """Differences and ratios of success on the clinic's own eligible ears, and minutes saved a visit, by contrast.

    As ``analysis.demo.truth_softening`` tells them, which stops where softening changes nothing.
    """
    rows = drawn.rows
    eligible = eligible_ears(rows)
    visit, logit = np.nonzero(eligible)[0], rows["logit"][eligible]
    arms = {
        "used": (1.0, 0.0),
        "advised": tuple(story.USED_SHARES[told, rows["signal"].astype(int)] for told in (1, 0)),
    }
    without, with_it = chance(logit), chance(logit + story.SUCCESS_SOFTENED)
    nobody = np.zeros(len(rows["used"]), bool)
    methods = rows["first_method"]
    saved = details.mean_minutes(rows, methods, nobody) - details.mean_minutes(rows, methods, ~nobody)
    truth: Truth = {}
    for contrast, shares in arms.items():
        told, untold = (np.broadcast_to(share, nobody.shape) for share in shares)
        treated, untreated = (float((without + share[visit] * (with_it - without)).mean()) for share in (told, untold))
        truth[("risk_difference", contrast)] = treated - untreated
        truth[("risk_ratio", contrast)] = treated / untreated
        truth[("minutes_saved", contrast)] = float((saved * (told - untold))[eligible.any(axis=1)].mean())
    return truth


def recall_truths(drawn: Drawn) -> Truth:
    """Months until a share of the log's cleared ears is occluding again, each ear counted once; and who comes back at all.

    The curve is the mean of the ears' own, each with its patient's planted frailty: whoever the log has seen again and
    again fills a little faster than people do on average. Who comes back at all is asked of patients new to the log.
    """
    people, who = drawn.people, cleared_ears(drawn) // 2
    aid = people.hearing_aid[who]
    groups = {"everyone": who, "hearing_aid": who[aid], "no_hearing_aid": who[~aid]}
    truth: Truth = {("return_share",): story.COMES_BACK}
    for name, these in groups.items():
        if len(these):
            occluding = share_occluding(people, these, MONTHS, two_speeds=drawn.world.two_speeds)
            for share in SHARES:
                truth[("months_until_share_occluded", name, str(share))] = float(np.interp(share, occluding, MONTHS))
    return truth


def cleared_ears(drawn: Drawn) -> np.ndarray:
    """Number the ears the log clears, each once: twice the patient's number, and one more for the right."""
    rows = drawn.rows
    cleared = (rows["attendance"] == story.ATTENDED)[:, None] & (rows["outcome"] <= CLEARED_OR_REMNANT)
    visit, side = np.nonzero(cleared)
    return np.unique(2 * rows["patient"][visit] + side)


def share_occluding(people: People, who: np.ndarray, months: np.ndarray, *, two_speeds: bool) -> np.ndarray:
    """Share of some patients' ears that is occluding again by some months after a clearance."""
    hazard = two_speed_hazard if two_speeds else weibull_hazard
    frailty = np.maximum(np.exp(np.round(np.log(people.frailty[who]) * 25) / 25), 1e-6)  # in steps of 4 %, for speed
    cells, counts = np.unique(
        np.column_stack([people.scale_days(who) / story.MONTH_DAYS, frailty]), axis=0, return_counts=True
    )
    still_open = np.exp(-cells[:, 1:] * hazard(months[None, :] / cells[:, :1]))
    return 1 - np.average(still_open, axis=0, weights=counts)


def _attended(rows: Rows) -> Rows:
    """Keep the visits that took place."""
    came = rows["attendance"] == story.ATTENDED
    names = ("kind", "practitioner", "grade", "worked", "first_method", "used", "in_chair", "day")
    return {name: rows[name][came] for name in names}


def _mean(rows: Rows, looked_at: list[int]) -> np.ndarray:
    """Mean minutes of each visit, had these ears only been looked at."""
    worked = rows["worked"].copy()
    worked[:, looked_at] = False
    # an agent is put in at the chair for the sake of an ear worked on, yet counts for the visit
    return details.mean_minutes(rows | {"worked": worked}, rows["first_method"], rows["used"])


def _drift(drawn: Drawn, rows: Rows) -> np.ndarray:
    """Minutes by which each visit has grown."""
    return drawn.world.drift * (rows["day"] - drawn.world.last_day / 2) / 365.25
