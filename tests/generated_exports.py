"""Exports that no one wrote by hand, the same for the same number: every shape, and logs spoilt at random."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

from tests.fuzz_intake import spoilt_export
from tests.properties.test_intake_shapes import GRADES, TOOLS, csv_of, rows_in_shape

SHAPES = ("visit", "ear", "pass", "two files", "months")
PATIENTS, DAYS = 60, range(1, 29)


def visits_drawn(draw: random.Random, count: int) -> list[dict[str, Any]]:
    """Draw visits as the property tests describe them; a patient may come twice on one day."""

    def ear() -> dict[str, Any]:
        tools = draw.sample(sorted(TOOLS), draw.randint(1, 3))
        return {"grade": draw.choice(sorted(GRADES)), "tools": tools}

    return [
        {
            "day": draw.choice(DAYS),
            "patient": draw.randint(1, PATIENTS),
            "L": ear() if draw.random() < 0.7 else None,
            "R": ear(),
        }
        for _ in range(count)
    ]


def write_generated(folder: Path, number: int, *, visits: int = 12, spoilt: int = 4) -> list[Path]:
    """Write one clinic's exports: visits in each shape, rows in any order, and some spoilt logs beside them."""
    draw = random.Random(number)
    made: dict[str, bytes] = {}
    for shape in SHAPES:
        mess = {"delimiter": draw.choice(",;\t|"), "encoding": draw.choice(("utf-8", "utf-16"))}
        for part, rows in enumerate(rows_in_shape(visits_drawn(draw, visits), shape)):
            again = [*rows, *draw.sample(rows, 2)]
            draw.shuffle(again)
            made[f"{shape} {part}.csv"] = csv_of(again, mess)
    for each in range(spoilt):
        made[f"spoilt {each}.csv"] = spoilt_export(number * 1000 + each)[0]
    paths = [folder / name.replace(" ", "_") for name in made]
    for path, content in zip(paths, made.values(), strict=True):
        path.write_bytes(content)
    return paths
