"""The study's figures as JSON, as a page of tables and as a chart, all made from the same numbers."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from tests.calibrate.chart import coverage_chart
from tests.calibrate.measures import figure_table, performance
from tests.calibrate.page_words import AIMS, SAID, headed, quantity_said
from tests.calibrate.regret import regret_rows
from tests.calibrate.running import FIGURES, REGRET, WARNINGS, Done, Task
from tests.calibrate.warnings_given import warned_rows
from tests.calibrate.worlds import EVERY_WORLD, MISSPECIFIED, WORLDS

NAME = "calibration"
SIGNIFICANT = 4
UNADJUSTED, RATIO = "unadjusted", "risk_ratio"
IN_HUNDRED = ("risk_difference", "return_share")
Rows = list[dict[str, Any]]


def summed_up(tasks: list[Task], done: list[Done]) -> dict[str, Any]:
    """Give every number the page tells: pooled over the worlds in which the assumptions hold, and world by world."""
    both = list(zip(tasks, done, strict=True))
    asked = [(task, one) for task, one in both if task.what == FIGURES]
    figures = figure_table([task for task, _ in asked], [one for _, one in asked])
    figures = figures[(figures["quantity"] != RATIO) | figures["of"].str.endswith("standardised")]
    in_order = figures["world"].map({name: place for place, name in enumerate(EVERY_WORLD)})
    figures = figures.assign(in_order=in_order).sort_values(["in_order", "visits"], kind="stable")
    hold = figures["world"].isin([world.name for world in WORLDS])
    sizes = sorted({task.visits for task in tasks})
    regrets, warnings = (
        [(task.world, task.visits, one[what]) for task, one in both if task.what == what] for what in (REGRET, WARNINGS)
    )
    return {
        "clinics": {f"{visits:,}": sum(task.visits == visits for task, _ in asked) for visits in sizes},
        "pooled": _records(performance(figures[hold], ["visits", "quantity", "of"])),
        "by_world": [
            row
            for row in _records(performance(figures, ["world", "visits", "quantity", "of"]))
            if (row["quantity"], row["of"]) in SHOWN or row["false_alarms"] is not None
        ],
        "regret": [{name: _short(value) for name, value in row.items()} for row in regret_rows(regrets)],
        "warnings": warned_rows(warnings),
    }


def _records(table: pd.DataFrame) -> Rows:
    """Keep numbers to so many significant figures; nothing where there is none."""
    return [
        {name: (None if isinstance(value, float) and np.isnan(value) else _short(value)) for name, value in row.items()}
        for row in table.to_dict("records")
    ]


def _short(value: Any) -> Any:
    """Round a number to so many significant figures."""
    return float(f"{value:.{SIGNIFICANT}g}") if isinstance(value, float) else value


def write(found: dict[str, Any], folder: Path) -> None:
    """Write the JSON, the page and the chart."""
    (folder / f"{NAME}.json").write_text(as_json(found), encoding="utf-8")
    (folder / f"{NAME}.md").write_text(as_markdown(found), encoding="utf-8")
    (folder / f"{NAME}.svg").write_text(as_chart(found), encoding="utf-8")


def as_json(found: dict[str, Any]) -> str:
    """Write tables as their columns and one row a line, so that a changed number is a changed line."""
    parts = [f'"{name}": {_lines(value)}' for name, value in found.items()]
    return "{\n" + ",\n".join(parts) + "\n}\n"


def _lines(value: Any) -> str:
    """Write a table; anything else as it is."""
    if not isinstance(value, list):
        return json.dumps(value)
    columns = list(value[0]) if value else []
    rows = ",\n".join(json.dumps(list(row.values())) for row in value)
    return f'{{"columns": {json.dumps(columns)}, "rows": [\n{rows}\n]}}'


def from_json(text: str) -> dict[str, Any]:
    """Read the tables back."""
    return {
        name: [dict(zip(value["columns"], row, strict=True)) for row in value["rows"]] if "rows" in value else value
        for name, value in json.loads(text).items()
    }


def as_chart(found: dict[str, Any]) -> str:
    """Draw how often the 95% ranges held, at 1,000 visits and more, where the assumptions hold."""
    rows = [
        (quantity_said(row), row["visits"], row["held_95"], row["held_95_mc"])
        for row in found["pooled"]
        if row["visits"] >= 1_000 and UNADJUSTED not in row["of"] and row["held_95"] is not None
        and row["quantity"] != RATIO
    ]  # fmt: skip
    return coverage_chart(rows)


def as_markdown(found: dict[str, Any]) -> str:
    """Lay the page out."""
    sizes = sorted({row["visits"] for row in found["pooled"]}, reverse=True)
    told_to = {
        visits: float(np.median([row["held_95_mc"] or 1.0 for row in found["pooled"] if row["visits"] == visits]))
        for visits in sizes
    }
    lines = [*headed(found["clinics"], told_to), *_fallen_short(found["pooled"]), *AIMS, *_worlds()]
    for visits in sizes:
        rows = [row for row in found["pooled"] if row["visits"] == visits]
        lines += [f"## Where the assumptions hold, about {visits:,} visits a clinic", "", *_performance_table(rows), ""]
    lines += [*SAID["alarms"], "", *_alarm_table(found["by_world"]), ""]
    lines += [*SAID["by_world"], "", *_world_table(found["by_world"], [world.name for world in WORLDS]), ""]
    lines += [*SAID["misspecified"], "", *_misspecified_table(found), ""]
    if found["warnings"]:
        lines += [*SAID["warnings"], "", *_warnings_table(found["warnings"]), ""]
    if found["regret"]:
        lines += [*SAID["regret"], "", *_regret_table(found["regret"]), ""]
    return "\n".join(lines)


def _fallen_short(rows: Rows) -> list[str]:
    """Name the figures whose ranges hold too seldom, at 1,000 visits and more."""
    short = [
        f"{quantity_said(row)}, {row['visits']:,} visits: {_share(row, 'held_95')}"
        for row in rows
        if row["visits"] >= 1_000 and UNADJUSTED not in row["of"] and row["quantity"] != RATIO
        and verdict(row) == "too narrow"
    ]  # fmt: skip
    said = "; ".join(short) if short else "none"
    return [f"**Fallen short of 93 in 100 beyond chance, the assumptions holding:** {said}.", ""]


def _worlds() -> list[str]:
    """List the worlds."""
    lines = ["| world | what is planted |", "|---|---|"]
    lines += [f"| {world.name} | {world.means} |" for world in (*WORLDS, *MISSPECIFIED)]
    return [*lines, ""]


def _performance_table(rows: Rows) -> list[str]:
    """Lay bias, both standard errors and the three coverages out."""
    lines = [
        "| figure | clinics | truth | off by | spread of figures | their standard error | in 50% | in 80% | in 95% | |",
        "|---|---|---|---|---|---|---|---|---|---|",
    ]
    for row in rows:
        scale = 100 if row["quantity"] in IN_HUNDRED else 1
        cells = [quantity_said(row), f"{row['clinics']:,}", _number(row["truth"], scale)]
        cells += [
            _with_error(row, name, scale, signed=name == "bias") for name in ("bias", "empirical_error", "model_error")
        ]
        cells += [_share(row, f"held_{level}") for level in (50, 80, 95)]
        lines.append("| " + " | ".join([*cells, verdict(row)]) + " |")
    return lines


def verdict(row: dict[str, Any]) -> str:
    """Say whether 93 to 97 in 100 is met, as far as so many clinics can tell."""
    held, error = row["held_95"], row["held_95_mc"] or 0.0
    if held is None:
        return ""
    if 0.93 <= held <= 0.97:
        return "met"
    if held + 2 * error < 0.93:
        return "too narrow"
    return "too wide" if held - 2 * error > 0.97 else "within chance"


def _alarm_table(rows: Rows) -> list[str]:
    """Lay out how often an effect was claimed where none was planted."""
    lines = ["| world | visits | figure | clinics | claimed an effect |", "|---|---|---|---|---|"]
    return lines + [
        f"| {row['world']} | {row['visits']:,} | {quantity_said(row)} | {row['clinics']} | {_share(row, 'false_alarms')} |"
        for row in rows
        if row["false_alarms"] is not None and row["quantity"] in ("risk_difference", "minutes_saved")
    ]


SHOWN = (
    ("overhead_minutes", ""), ("added_minutes", "partly_occluding"), ("added_minutes", "fully_occluding"),
    ("minutes_quantile", "0.8"), ("risk_difference", "advised, standardised"), ("minutes_saved", "advised, standardised"),
    ("months_until_share_occluded", "everyone, 0.3"), ("months_until_share_occluded", "hearing_aid, 0.3"),
    ("return_share", ""), ("visits", "month 1"), ("visits", "month 3"),
)  # fmt: skip


MINUTES = ("overhead_minutes", "added_minutes", "minutes_quantile", "minutes_saved")
RETURNS = ("months_until_share_occluded", "return_share", "visits")
TOUCHED = {
    "log-normal minutes": MINUTES,
    "multiplicative ears": MINUTES,
    "regrowth not Weibull": RETURNS,
    "hardness unrecorded": ("risk_difference", "minutes_saved"),
    "the demo itself": (*RETURNS, "risk_difference"),
}
"""The figures each broken assumption touches."""


def _world_table(rows: Rows, worlds: list[str]) -> list[str]:
    """Lay coverage of the 95% ranges out, worlds down and quantities across."""
    heads = [quantity_said({"quantity": quantity, "of": of}) for quantity, of in SHOWN]
    lines = ["| world | visits | " + " | ".join(heads) + " |", "|---" * (len(heads) + 2) + "|"]
    for world in worlds:
        for visits in sorted({row["visits"] for row in rows if row["world"] == world}):
            here = {
                (row["quantity"], row["of"]): row for row in rows if (row["world"], row["visits"]) == (world, visits)
            }
            cells = [_share(here[key], "held_95") if key in here else "" for key in SHOWN]
            lines.append(f"| {world} | {visits:,} | " + " | ".join(cells) + " |")
    return lines


def _misspecified_table(found: dict[str, Any]) -> list[str]:
    """Set bias and coverage of the misspecified worlds beside the same figures of the world as told."""
    lines = [
        "| world | figure | truth | off by | spread of figures | in 95% | in 95%, as told |",
        "|---|---|---|---|---|---|---|",
    ]
    as_told = {
        (row["quantity"], row["of"], row["visits"]): row for row in found["by_world"] if row["world"] == WORLDS[0].name
    }
    for world in MISSPECIFIED:
        for row in found["by_world"]:
            key = row["quantity"], row["of"], row["visits"]
            if (
                row["world"] == world.name
                and row["quantity"] in TOUCHED[world.name]
                and key[:2] in SHOWN
                and key in as_told
            ):
                scale = 100 if row["quantity"] in IN_HUNDRED else 1
                lines.append(
                    f"| {world.name} | {quantity_said(row)} | {_number(row['truth'], scale)} | "
                    f"{_with_error(row, 'bias', scale, signed=True)} | {_number(row['empirical_error'], scale)} | "
                    f"{_share(row, 'held_95')} | {_share(as_told[key], 'held_95')} |"
                )
    return lines


def _warnings_table(rows: Rows) -> list[str]:
    """Lay out in how many clinics each check fired, worlds across."""
    there = {row["world"] for row in rows}
    worlds = [name for name in EVERY_WORLD if name in there]
    lines = ["| check | visits | " + " | ".join(worlds) + " |", "|---" * (len(worlds) + 2) + "|"]
    for check, visits in dict.fromkeys((row["check"], row["visits"]) for row in rows):
        here = {row["world"]: row for row in rows if (row["check"], row["visits"]) == (check, visits)}
        cells = [f"{here[world]['fired']} of {here[world]['clinics']}" if world in here else "" for world in worlds]
        lines.append(f"| {check} | {visits:,} | " + " | ".join(cells) + " |")
    return lines


def _regret_table(rows: Rows) -> list[str]:
    """Lay the regrets out."""
    lines = [
        "| decision | world | visits | clinics | mean regret | nine in ten below | worst |",
        "|---|---|---|---|---|---|---|",
    ]
    for row in rows:
        error = "" if row["mean_mc"] is None else f" ± {row['mean_mc']:.2f}"
        decision = row["decision"].replace("no_hearing_aid", "no hearing aid").replace("hearing_aid", "hearing aid")
        lines.append(
            f"| {decision} | {row['world']} | {row['visits']:,} | {row['clinics']} | {row['mean']:.2f}%{error} | "
            f"{row['ninth_tenth']:.1f}% | {row['worst']:.1f}% |"
        )
    return lines


def _number(value: float | None, scale: float = 1, *, signed: bool = False) -> str:
    """Write a number to two places, or one where it is large."""
    if value is None:
        return ""
    shown = value * scale
    places = 1 if abs(shown) >= 100 else 2 if abs(shown) >= 0.1 or scale > 1 else 3
    return f"{shown:{'+' if signed else ''}.{places}f}"


def _with_error(row: dict[str, Any], name: str, scale: float, *, signed: bool = False) -> str:
    """Write a measure with its Monte Carlo error."""
    if row[name] is None:
        return ""
    return f"{_number(row[name], scale, signed=signed)} ± {_number(row[f'{name}_mc'], scale)}"


def _share(row: dict[str, Any], name: str) -> str:
    """Write a share in per cent with its Monte Carlo error."""
    if row[name] is None:
        return ""
    error = row[f"{name}_mc"]
    return f"{100 * row[name]:.1f}%" + ("" if error is None else f" ± {100 * error:.1f}")
