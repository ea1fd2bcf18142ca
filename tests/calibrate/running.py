"""Clinics asked across cores, each kept in a resume file as soon as it is done, so that a killed run goes on."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from joblib import Parallel, delayed, parallel_config

from tests.calibrate.figures import figures
from tests.calibrate.invented_world import draw_clinic
from tests.calibrate.regret import known_world, regrets
from tests.calibrate.truths import means_by_kind
from tests.calibrate.warnings_given import warned
from tests.calibrate.worlds import EVERY_WORLD, planted

FIRST_SEED = 20261125
FIGURES, REGRET, WARNINGS = "figures", "regret", "warnings"
DEMAND_EVERY = 3
"""Every third clinic is also forecast: a forecast costs more than all else together."""
Done = dict[str, Any]


@dataclass(frozen=True, slots=True, order=True)
class Task:
    """One clinic to be asked: its number within its world and size; for its figures, its regrets or its warnings."""

    number: int
    world: str
    visits: int
    what: str = FIGURES

    @property
    def key(self) -> str:
        """Name it in the resume file."""
        return f"{self.world}|{self.visits}|{self.number}" + ("" if self.what == FIGURES else f"|{self.what}")

    @property
    def seed(self) -> list[int]:
        """Seed of its own: the same whichever other clinics are asked, in whichever order, on how many cores."""
        return [FIRST_SEED, *self.world.encode(), self.visits, self.number]


def ask(task: Task) -> Done:
    """Draw and ask one clinic."""
    world = EVERY_WORLD[task.world]
    known = known_world(task.world) if task.what == REGRET else None
    with planted(world, task.visits):
        drawn = draw_clinic(world, task.seed)
        if known is not None:
            return {"key": task.key, REGRET: regrets(drawn, known)}
        if task.what == WARNINGS:
            return {"key": task.key, WARNINGS: warned(drawn)}
        found = figures(drawn, demand=task.number % DEMAND_EVERY == 0)
        rows = [[list(one.name), one.value, one.error, [list(ends) for ends in one.ranges], one.truth] for one in found]
        attended = int(drawn.visits["attendance"].eq("attended").sum())
        return {"key": task.key, "visits": attended, "kinds": means_by_kind(drawn), "rows": rows}


def already_done(resume: Path) -> dict[str, Done]:
    """Read what an earlier run kept; a last line cut short by a kill is left out."""
    if not resume.exists():
        return {}
    done = {}
    for line in resume.read_text(encoding="utf-8").splitlines():
        try:
            one = json.loads(line)
        except json.JSONDecodeError:
            continue  # cut short: that clinic is asked again
        done[one["key"]] = one
    return done


def run(
    tasks: list[Task],
    *,
    resume: Path | None,
    jobs: int = 1,
    through: str = "cores",
    said: Callable[[str], None] = print,
) -> list[Done]:
    """Ask every clinic not yet done; give all, in the order of the tasks."""
    done = already_done(resume) if resume else {}
    left = [task for task in tasks if task.key not in done]
    said(f"{len(tasks):,} clinics, {len(tasks) - len(left):,} of them done already")
    with _open_to_append(resume) as keep:
        for place, one in enumerate(_asked(left, jobs, through), start=1):
            done[one["key"]] = json.loads(json.dumps(one))  # as the resume file gives it back
            keep(json.dumps(one) + "\n")
            if place % 25 == 0:
                said(f"{place:,} of {len(left):,}")
    return [done[task.key] for task in tasks]


class _open_to_append:
    """Append lines to a file, each on disk before the next clinic is waited for; nowhere without a file."""

    def __init__(self, path: Path | None) -> None:
        self.path = path

    def __enter__(self) -> Callable[[str], Any]:
        if self.path is None:
            return len
        self.path.parent.mkdir(parents=True, exist_ok=True)
        cut_short = self.path.exists() and not self.path.read_bytes().endswith(b"\n") and self.path.stat().st_size
        self.file = self.path.open("a", encoding="utf-8", buffering=1)
        if cut_short:
            self.file.write("\n")
        return self.file.write

    def __exit__(self, *_: object) -> None:
        if self.path is not None:
            self.file.close()


def _asked(tasks: list[Task], jobs: int, through: str) -> Iterable[Done]:
    """Ask clinics in so many processes, or on the Dask cluster whose address DASK_SCHEDULER_ADDRESS names."""
    if through == "cores":
        yield from Parallel(n_jobs=jobs, return_as="generator")(delayed(ask)(task) for task in tasks)
        return
    if find_spec("distributed") is None:
        raise SystemExit("--through dask needs dask and distributed, which this project does not install.")
    from dask.distributed import Client

    with Client(), parallel_config(backend="dask"):  # a cluster of this machine where no address is set
        yield from Parallel()(delayed(ask)(task) for task in tasks)
