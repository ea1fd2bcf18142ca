"""Bias and coverage of every way of comparing softening, over many invented clinics whose truth is known.

``python -m tests.truth.softening_study`` asks 600 clinics with an effect planted and 600 without,
and writes ``tests/truth/softening_study.json`` and ``shared/softening_study.md``. The clinics are
those of ``tests/softening_log.py``: harder, fuller ears are advised more often and clear less often.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd

from analysis.models.adjusted import compared_arms
from analysis.models.softening_material import Material, ears_material, minutes_material
from analysis.stats.effects import mean_difference
from tests.softening_log import SAVED_AN_EAR, Planted, invented_attempts

ROOT = Path(__file__).parents[2]
CLINICS, PATIENTS, EFFECT = 600, 700, 0.8
SAID = {
    "unadjusted": "as they are",
    "standardised": "standardised",
    "weighted": "weighted, stabilised",
    "overlap_weighted": "weighted, overlap",
    "doubly_robust": "doubly robust",
}
COLUMNS = ["outcome", "contrast", "effect_planted", "estimator", "clinics", "truth", "bias", "bias_simulation_error",
           "mean_standard_error", "spread", "coverage", "finds_an_effect", "finds_harm"]  # fmt: skip


def study(*, clinics: int, patients: int = PATIENTS, first_seed: int = 1000) -> pd.DataFrame:
    """Ask so many invented clinics with an effect planted and as many without; one row an estimator."""
    rows = []
    for planted_effect in (EFFECT, 0.0):
        for number in range(clinics):
            rng = np.random.default_rng([first_seed, number, int(planted_effect > 0)])
            saved = SAVED_AN_EAR if planted_effect else 0.0
            planted = invented_attempts(rng, patients=patients, effect=planted_effect, saved_an_ear=saved)
            rows += [row | {"effect_planted": planted_effect > 0} for row in _asked(planted)]
    return _summed_up(pd.DataFrame(rows))


def _asked(planted: Planted) -> list[dict]:
    """Compare one clinic's arms in every way, for success and for minutes."""
    until = pd.Timestamp("2027-01-01")
    rows = []
    for contrast in ("advised", "used"):
        ears = ears_material(planted.attempts, contrast=contrast, fewest_ears=50, followed_until=until)
        rows += _figures(
            ears, "success", 1.0, getattr(planted, f"{contrast}_difference"), planted.overlap_differences[contrast]
        )
        visits = minutes_material(planted.attempts, contrast=contrast, fewest_visits=50)
        saved = getattr(planted, f"{contrast}_saves_minutes")
        rows += _figures(visits, "minutes", -1.0, saved, None)
    return rows


def _figures(material: Material, outcome: str, sign: float, truth: float, overlap_truth: float | None) -> list[dict]:
    """Give every estimator's figure beside its truth."""
    compared = compared_arms(
        material.columns, treated=material.treated, outcome=material.outcome, clusters=material.sample.whose,
        shares=material.shares,
    )  # fmt: skip
    rows = []
    for name, arms in compared.arms.items():
        if name == "overlap_weighted" and overlap_truth is None:
            continue  # whom the overlap holds differs by visit: no truth is known for it
        figure = mean_difference(arms).scaled(sign)
        target = overlap_truth if name == "overlap_weighted" else truth
        rows.append({"outcome": outcome, "contrast": material.contrast, "estimator": name, "figure": figure.value,
                     "error": (figure.high - figure.low) / (2 * 1.959963984540054), "target": target,
                     "held": figure.low <= target <= figure.high, "benefit": figure.low > 0, "harm": figure.high < 0})  # fmt: skip
    return rows


def _summed_up(rows: pd.DataFrame) -> pd.DataFrame:
    """Say each estimator's bias, spread and coverage."""
    rows = rows.assign(miss=rows["figure"] - rows["target"])
    by = rows.groupby(["outcome", "contrast", "effect_planted", "estimator"], sort=False)
    table = by.agg(
        clinics=("miss", "size"),
        truth=("target", "mean"),
        bias=("miss", "mean"),
        spread=("miss", "std"),
        mean_standard_error=("error", "mean"),
        coverage=("held", "mean"),
        finds_benefit=("benefit", "mean"),
        finds_harm=("harm", "mean"),
    ).reset_index()
    table["bias_simulation_error"] = table["spread"] / np.sqrt(table["clinics"])
    table["finds_an_effect"] = table["finds_benefit"] + table["finds_harm"]
    return table[COLUMNS]


def as_markdown(table: pd.DataFrame) -> str:
    """Lay the study out for the page: successes in 100 ears, minutes a visit."""
    clinics = int(table["clinics"].iloc[0])
    lines = [
        "# Softening: every way of comparing, over invented clinics whose truth is known",
        "",
        f"{clinics} invented clinics of {PATIENTS} patients with an effect planted, and {clinics} without. Harder, fuller ears are",
        "advised to soften more often and clear less often, so the plain comparison misleads. Success is told in successes in 100",
        "ears, minutes in minutes saved a visit. *Off by* is the mean miss, with what chance alone in so few clinics could make of",
        "it (twice its standard error). *Held* is the share of 95% ranges that held the truth; with so many clinics chance alone",
        f"moves a true 95% by up to {2 * np.sqrt(0.95 * 0.05 / clinics) * 100:.0f} points. *Found an effect* is the share of ranges that left out none; without an",
        "effect planted it is the share of false alarms. Overlap weights answer for the ears that might well have been in either",
        "arm, and are held against the truth for those; for minutes that truth is not known, and they are left out.",
        "",
        "Made by `python -m tests.truth.softening_study`; the figures in full stand in `tests/truth/softening_study.json`.",
        "Everything here is invented.",
    ]
    for outcome, scale in (("success", 100), ("minutes", 1)):
        for planted in (True, False):
            part = table[(table["outcome"] == outcome) & (table["effect_planted"] == planted)]
            lines += ["", f"## {outcome.capitalize()}, {'an effect planted' if planted else 'no effect planted'}", ""]
            lines += ["| softening | compared | truth | off by | standard error | spread | held | found an effect |",
                      "|---|---|---|---|---|---|---|---|"]  # fmt: skip
            lines += [_line(row, scale) for row in part.to_dict("records")]
    return "\n".join(lines) + "\n"


def _line(row: dict, scale: float) -> str:
    """Lay one estimator's row out."""
    off = f"{row['bias'] * scale:+.2f} ± {2 * row['bias_simulation_error'] * scale:.2f}"
    return (
        f"| {row['contrast']} | {SAID[row['estimator']]} | {row['truth'] * scale:.2f} | {off} | "
        f"{row['mean_standard_error'] * scale:.2f} | {row['spread'] * scale:.2f} | {row['coverage'] * 100:.1f}% | "
        f"{row['finds_an_effect'] * 100:.1f}% |"
    )


def main() -> None:
    """Write the study's figures and its page."""
    table = study(clinics=CLINICS)
    figures = json.dumps(table.round(6).to_dict("records"), indent=1)
    (ROOT / "tests" / "truth" / "softening_study.json").write_text(figures + "\n", encoding="utf-8")
    (ROOT / "shared" / "softening_study.md").write_text(as_markdown(table), encoding="utf-8")


if __name__ == "__main__":
    main()
