"""How fast each part is, as ratios within one run: the table of DEVELOPERS.md.

Run by ``make bench``. Seconds drift from hour to hour on a shared machine; the
ratios are what to compare. Everything measured is INVENTED.
"""

from __future__ import annotations

import argparse
import sys

from tests.bench import fits, intake, sessions, whole_way
from tests.bench.line import HEADINGS

PARTS = {"whole_way": whole_way, "intake": intake, "fits": fits, "sessions": sessions}
"""The whole way first: a command started from a process that has grown counts its memory as its own."""


def main() -> None:
    """Print the table, a line as soon as it is known."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--parts", nargs="+", choices=PARTS, default=list(PARTS))
    parser.add_argument("--rows", type=int, nargs="+", help="each part's own sizes without it")
    options = parser.parse_args()
    sys.stdout.write(f"| {' | '.join(HEADINGS)} |\n|{'---|' * len(HEADINGS)}\n")
    for part in options.parts:
        for line in PARTS[part].lines(options.rows or PARTS[part].SIZES):
            sys.stdout.write(f"{line}\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main()
