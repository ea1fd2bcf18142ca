"""Whether every core figure's range holds as often as it says: ``make calibrate``, or ``python -m tests.calibrate --help``."""

from __future__ import annotations

import argparse
from pathlib import Path

from tests.calibrate.page import summed_up, write
from tests.calibrate.running import FIGURES, REGRET, WARNINGS, Task, run
from tests.calibrate.worlds import AS_TOLD, MISSPECIFIED, WORLDS

RESUME = Path("calibration_resume.jsonl")
LARGE, LARGEST = 10_000, 100_000
NO_EFFECT = "no effect"
REGRET_ELSEWHERE = ("log-normal minutes", "regrowth not Weibull")


def cells(clinics: int, *, worlds: list[str] | None, long: bool) -> list[Task]:
    """List the clinics to be asked, the first of every world and size first: a run that is stopped has some of each."""
    every = [(world.name, 1_000, clinics) for world in (*WORLDS, *MISSPECIFIED)]
    every[1:1] = [(AS_TOLD.name, 300, clinics)]
    every[2:2] = [(name, visits, clinics) for name in (AS_TOLD.name, NO_EFFECT) for visits in (LARGE, LARGEST)]
    elsewhere = [(LARGE, max(clinics // 2, 1)), *([(LARGEST, clinics)] if long else [])]
    every += [(world.name, visits, many) for world in (*WORLDS[2:], *MISSPECIFIED) for visits, many in elsewhere]
    for_regret = [(AS_TOLD.name, visits, clinics) for visits in (300, 1_000, 10_000)]
    for_regret += [(name, 1_000, clinics) for name in REGRET_ELSEWHERE]
    broken = [world.name for world in (AS_TOLD, *MISSPECIFIED)]
    warned = [(name, visits, max(clinics // 6, 2)) for visits in (1_000, 10_000) for name in broken]
    return sorted(
        Task(number, world, visits, what)
        for what, of in ((FIGURES, every), (REGRET, for_regret), (WARNINGS, warned))
        for world, visits, many in of
        for number in range(many)
        if worlds is None or world in worlds
    )


def main() -> None:
    """Ask the clinics and write the tables."""
    parser = argparse.ArgumentParser(prog="python -m tests.calibrate", description=__doc__)
    parser.add_argument("--clinics", type=int, default=30, help="clinics of each world and size")
    parser.add_argument("--worlds", help="only these, separated by semicolons")
    parser.add_argument("--long", action="store_true", help="every world at 100,000 visits too: hours")
    parser.add_argument("--jobs", type=int, default=1, help="processes side by side")
    parser.add_argument("--through", choices=("cores", "dask"), default="cores",
                        help="joblib's processes, or its Dask backend where dask is installed; this project does not install it")  # fmt: skip
    parser.add_argument(
        "--resume", type=Path, default=RESUME, help="file of clinics done; a killed run goes on from it"
    )
    parser.add_argument("--to", type=Path, default=Path("shared"), help="folder the tables go to")
    given = parser.parse_args()
    tasks = cells(given.clinics, worlds=given.worlds.split(";") if given.worlds else None, long=given.long)
    done = run(tasks, resume=given.resume, jobs=given.jobs, through=given.through)
    given.to.mkdir(parents=True, exist_ok=True)
    write(summed_up(tasks, done), given.to)


if __name__ == "__main__":
    main()
