"""Make the invented clinic's folder: ``python -m analysis.demo data_demo``."""

from __future__ import annotations

import sys
from pathlib import Path

from analysis.demo import invented_clinic
from analysis.demo.exports import write_exports


def main(arguments: list[str]) -> int:
    """Write the folder named; 2 where none or more than one is."""
    if len(arguments) != 1:
        sys.stderr.write("Name one folder: python -m analysis.demo FOLDER\n")
        return 2
    truth = write_exports(Path(arguments[0]), invented_clinic())
    sys.stdout.write(f"Wrote {truth['counts']['bookings']:,} invented bookings into {arguments[0]}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
