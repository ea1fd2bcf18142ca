"""Recall curves of simulated clinics beside their planted truth.

``python -m tests.truth.recall_study`` writes ``shared/recall_study.md`` and the figures behind it again.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import numpy as np
import pandas as pd

from analysis.derive.gaps import gaps
from analysis.models.recall import fit_recall
from analysis.settings import RecallPart
from tests.truth.recall_world import World

PAGE, FIGURES = Path("shared/recall_study.md"), Path("tests/truth/recall_study.json")
CLINICS, FIRST_SEED = 40, 7000
SHARE, LEVEL = 0.30, 0.95
GROUPS = {"hearing_aid": True, "no_hearing_aid": False}
FRAIL = World(frailty_variance=0.5)
WORLDS = {
    "as the model assumes": World(),
    "no effect of hearing aids": World(hearing_aid_factor=1.0),
    "a strong effect of hearing aids": World(hearing_aid_factor=0.4),
    "half of all patients never return": World(never=0.5),
    "patients go elsewhere at any time, a tenth a year": World(leaves_a_year=0.1),
    "a fifth of patients come at recalls only": World(recall_only=0.2),
    "patients differ in how fast their ears fill": FRAIL,
    "patients differ, and the clinic is two years older than its log": World(frailty_variance=0.5, years_before=2.0),
    "patients differ, and one in eight waits up to eight months": World(frailty_variance=0.5, slow_share=0.12),
    "open ears that fill are cleaned at one look in three": World(cleaned_open=0.35),
    "open ears that fill are cleaned at six looks in ten": World(cleaned_open=0.6),
    "patients differ, the clinic is older, and one look in three ends in cleaning": World(
        frailty_variance=0.5, years_before=2.0, cleaned_open=0.35
    ),
    "every open ear that fills is cleaned": World(cleaned_open=1.0),
    "a log of eighteen months": World(years=1.5),
    "a small clinic, 500 patients": World(patients=500),
}
QUANTITIES = {
    "hearing_aid": "months, with a hearing aid",
    "no_hearing_aid": "months, without",
    "return_share": "return share",
}


AFTERWORD = """\
What it says:

- Where the assumptions hold, months are within 1 or 2 in 100 on average and ranges hold the truth about as often as they say; so
  too where patients differ, and, a little less often, where some come at recalls only. Ranges of the return share are wider than
  they need be, as a short log's must be.
- Open ears cleaned when they begin to fill are about to occlude, and nobody sees it. Taken for ears that merely cease to be
  watched, they made months late however large the log. Ears found alike and left alone now count for them, and months are right
  at one look in three and at six in ten. Where every such ear is cleaned none is left to count for the others: months are 4 to 8
  in 100 late, ranges do not hold them, and the answer says so.
- Months used to come out 1 to 3 in 100 early, and the ranges of the larger group held 85 in 100, for four reasons, each mended:
  an ear that a recall finds occluding was taken to have become so at any time since its clearance, while a patient who calls
  would have called before long; of patients who had come back 2 to 4 in 100 were taken for gone, being watched too short a time;
  the share who come at recalls only was raised to nought whenever chance put it below; and patients known to call were counted
  as perhaps never calling. Once these were mended, a small group that was lent everyone's share of those gone, but not the curve
  that goes with it, came out 3 in 100 late; that is mended too.
- Those who come at recalls only and wait for one still were taken for gone, and the share who come back was 5 in 100 too low.
  Their number follows from what recalls find; where recalls cannot tell it, the error says so.
- Patients who go elsewhere at any time make months 2 in 100 early, and nothing in a log tells them apart from the others.
- Where the clinic is older than its log and patients differ, those whose ears fill slowly enter the log late and are watched for
  less time, which made months of the larger group 5 in 100 early. Ears of patients known before the log are now told apart by
  when they enter it, and the curve is the mean over all ears. The truth beside it is that of the ears the log clears, each once: a
  little earlier than of all people, as ears that fill fast are the likelier to be cleared within it.
- Patients who wait longer than the window before they call make months late, by about as much as they wait longer on average.
- Returns are read until ten patients are left watched; 25, as before, stopped short of a second yearly recall at small clinics.
- After eighteen months the lost cannot be told from the late: the return share stands at its upper end and months come out a
  fifth late. The ranges say so, being several times as wide, and so does the answer."""


def one_clinic(world: World, seed: int) -> list[dict[str, object]]:
    """Fit one clinic; give each figure with its range beside its truth."""
    visits, ears = world.log(FIRST_SEED + seed)
    settings = RecallPart()
    table = gaps(visits, ears, symptom_window_days=settings.symptom_window_days, last_day=world.last_day)
    fitted = fit_recall(table, settings, level=LEVEL)
    figures = {name: fitted.curves[name].months_until(SHARE) for name in GROUPS}
    truths = {name: world.months_until(SHARE, hearing_aid=aid) for name, aid in GROUPS.items()}
    figures["return_share"], truths["return_share"] = fitted.return_share, world.return_share()
    return [
        {"quantity": name, "truth": truths[name], "value": one.value, "low": one.low, "high": one.high}
        for name, one in figures.items()
    ]


def study(*, clinics: int) -> pd.DataFrame:
    """Ask so many clinics of every world, each world's patients its own; one row a world and figure."""
    found = [
        one | {"world": name}
        for place, (name, world) in enumerate(WORLDS.items())
        for seed in range(place * clinics, (place + 1) * clinics)
        for one in one_clinic(world, seed)
    ]
    return summed_up(pd.DataFrame(found))


def summed_up(found: pd.DataFrame) -> pd.DataFrame:
    """Sum up by world and figure: relative bias, spread of single clinics, coverage and width of ranges."""
    found = found.assign(
        off=found["value"] / found["truth"] - 1,
        inside=found["truth"].between(found["low"], found["high"]),
        width=(found["high"] - found["low"]) / found["truth"],
    )
    by = found.groupby(["world", "quantity"], sort=False)
    table = by.agg(
        clinics=("off", "size"), truth=("truth", "mean"), bias=("off", "mean"), spread=("off", "std"),
        furthest=("off", lambda off: off.abs().max()), coverage=("inside", "mean"), width=("width", "mean"),
    )  # fmt: skip
    root = np.sqrt(table["clinics"])
    table.insert(3, "bias_simulation_error", table["spread"] / root)
    table["coverage_simulation_error"] = np.sqrt(table["coverage"] * (1 - table["coverage"])) / root
    return table.round(6).reset_index()


def as_markdown(table: pd.DataFrame) -> str:
    """Write the page."""
    clinics = int(table["clinics"].iloc[0])
    lines = [
        "# Recall curves on simulated clinics\n",
        f"{clinics:,} clinics of each of {table['world'].nunique()} worlds, {clinics * table['world'].nunique():,} in all, "
        "simulated by `tests/truth/recall_world.py`: 2,500 patients over three years unless said otherwise, 3 in 10 with a "
        "hearing aid, a quarter gone after their first visit, routine recalls every twelve months (4 in 10 invitations taken "
        "up), calls within 60 days of an ear's occluding. Each is fitted as the answer does it, curve chosen on patients held "
        f"out, and set beside what was planted: months until {SHARE:.0%} of a group's ears are occluding again, and the share "
        "of patients who ever come back. Both months and share are compared as a share of the truth: a bias of 5 % is late, "
        "or too many.\n",
        "± is one standard error of the simulation. Ranges are meant to hold the truth in 95 of 100 clinics; they allow for "
        "chance, not for a world that breaks the assumptions.\n",
        "| world | figure | truth | bias, % | spread of single clinics, % | furthest off, % | within the range, % | "
        "width of the range, % |",
        "|" + "---|" * 8,
        *(_line(row) for row in table.to_dict("records")),
        f"\n{AFTERWORD}\n",
        "Written by `python -m tests.truth.recall_study`.",
    ]
    return "\n".join(lines) + "\n"


def _line(row: dict) -> str:
    """Write one row of the page."""
    truth = f"{100 * row['truth']:.0f} %" if row["quantity"] == "return_share" else f"{row['truth']:.1f}"
    cells = [
        row["world"], QUANTITIES[row["quantity"]], truth,
        f"{100 * row['bias']:+.1f} ± {100 * row['bias_simulation_error']:.1f}",
        f"{100 * row['spread']:.1f}", f"{100 * row['furthest']:.0f}",
        f"{100 * row['coverage']:.0f} ± {100 * row['coverage_simulation_error']:.0f}", f"{100 * row['width']:.0f}",
    ]  # fmt: skip
    return "| " + " | ".join(cells) + " |"


def main() -> None:
    """Simulate, fit and write page and figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--clinics", type=int, default=CLINICS)
    table = study(clinics=parser.parse_args().clinics)
    FIGURES.write_text(json.dumps(table.to_dict("records"), indent=1) + "\n", encoding="utf-8")
    PAGE.write_text(as_markdown(table), encoding="utf-8")


if __name__ == "__main__":
    main()
