"""Write ``shared/how_we_know.md``: every figure from outside, ours beside it, how far apart they are and may be.

``python -m tests.how_we_know`` runs the tests of ``tests/outside`` and writes what they
compared. Nothing is written where one fails, or where a core quantity of the results
has no referee (``tests/outside/core_quantities.py``).
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path

import pytest

from analysis.result_rows import QUANTITIES
from tests.outside.core_quantities import COUNTED, NOT_MET, REFEREES
from tests.outside.referee import REMEMBERED, Comparison

OUTSIDE = Path(__file__).parent / "outside"
PAGE = Path(__file__).parents[1] / "shared" / "how_we_know.md"
HEAD = """# How we know

Every figure from outside that a method of ours is held against: a printed table, a handbook's example, another
library, or R. This page is written by `python -m tests.how_we_know` from the tests in `tests/outside` and from nothing
else; it is not written where one of them fails. Each part says where its figures come from and how they are known.

A row is a test. Of all its comparisons the one that comes nearest to what is allowed is shown. Where a method has no
closed form, what is allowed says how far its steps or its chance may carry; the test says why.
"""


def page(comparisons: Iterable[Comparison]) -> str:
    """Write the page from what was compared.

    Parameters
    ----------
    comparisons : iterable of Comparison

    Returns
    -------
    str
        Markdown.
    """
    by_test: dict[str, list[Comparison]] = {}
    for each in comparisons:
        by_test.setdefault(each.test.split("[")[0], []).append(each)
    parts = [HEAD, _core(), *(_part(path, by_test) for path in sorted(OUTSIDE.glob("test_*.py"))), _not_met()]
    return "\n".join(part for part in parts if part)


def _part(path: Path, by_test: dict[str, list[Comparison]]) -> str:
    """Tell of one file of tests."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    title, _, rest = (ast.get_docstring(tree) or path.stem).partition("\n")
    tests = [node for node in tree.body if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")]
    rows, in_words = [], []
    for test in tests:
        name = test.name.removeprefix("test_").replace("_", " ")
        source = " ".join((ast.get_docstring(test) or "").split())
        found = by_test.get(f"tests/outside/{path.name}::{test.name}")
        if found:
            rows.append(_row(name, source, found))
        else:
            in_words.append(f"- {name[0].upper()}{name[1:]}.{' ' + source if source else ''}")
    if not tests or path.name == "test_written_page.py":
        return ""
    text = [f"\n## {title.rstrip('.')}\n", f"`{path.name}`. {' '.join(rest.split())}\n"]
    if rows:
        text += [
            "| what is checked | source, where a test has its own | numbers | from outside | ours | apart | allowed |"
        ]
        text += ["|---|---|---|---|---|---|---|", *rows, ""]
    if in_words:
        text += ["Checked as an order, a direction, a count or a printed word:\n", *in_words, ""]
    return "\n".join(text)


def _row(name: str, source: str, found: Sequence[Comparison]) -> str:
    """Write the comparison that came nearest to what is allowed."""
    worst = max(found, key=lambda each: each.apart / each.allowed if each.allowed else each.apart)
    numbers = sum(each.numbers for each in found)
    cells = (
        name,
        source,
        f"{numbers:,}",
        _number(worst.published),
        _number(worst.ours),
        _apart(worst),
        f"{worst.allowed:.1g}",
    )
    return f"| {' | '.join(cell.replace('|', '/') for cell in cells)} |"


def _number(value: float) -> str:
    """Write a number with six digits that count."""
    return f"{value:.6g}"


def _apart(each: Comparison) -> str:
    """Write how far apart two numbers are; under a millionth of them only that, because machines differ there."""
    small = 1e-6 * max(abs(each.published), 1e-6)
    return f"{each.apart:.1g}" if each.apart > small else "under 1 in 1,000,000"


def _core() -> str:
    """List the core quantities of the results with their referees."""
    lines = [
        "## The quantities of the results, and what they are held against\n",
        "| quantity | referees |",
        "|---|---|",
    ]
    for each in QUANTITIES:
        name = f"{each.section}.{each.name}"
        if name in COUNTED:
            lines.append(f"| {name} | {COUNTED[name]} |")
        else:
            lines.append(f"| {name} | {', '.join(f'`{test}`' for test in REFEREES[name])} |")
    return "\n".join([*lines, ""])


def _not_met() -> str:
    """List the figures at hand that no method of ours gives."""
    rows = [f"| {what} | {why} |" for what, why in NOT_MET.items()]
    return "\n".join(
        ["\n## Figures at hand that no method of ours gives\n", "| figures | why |", "|---|---|", *rows, ""]
    )


def lacking(known: Iterable[str]) -> list[str]:
    """List what keeps the page from being written: quantities without a referee, and referees that are no test.

    Parameters
    ----------
    known : iterable of str
        ``file::test`` of every test of ``tests/outside``.
    """
    names = [f"{each.section}.{each.name}" for each in QUANTITIES]
    tests = set(known)
    faults = [f"{name} has no referee from outside" for name in names if name not in REFEREES and name not in COUNTED]
    faults += [f"{name} is no quantity of the results" for name in (*REFEREES, *COUNTED) if name not in names]
    faults += [
        f"{test}, named for {name}, is no test"
        for name, found in REFEREES.items()
        for test in found
        if test not in tests
    ]
    return faults


def all_tests() -> list[str]:
    """List every test of ``tests/outside`` as ``file::test``."""
    return [
        f"{path.name}::{node.name}"
        for path in sorted(OUTSIDE.glob("test_*.py"))
        for node in ast.parse(path.read_text(encoding="utf-8")).body
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")
    ]


def main() -> int:
    """Run the tests and write the page."""
    faults = lacking(all_tests())
    if faults:
        sys.stderr.write("\n".join(faults) + "\n")
        return 1
    told = [str(path) for path in sorted(OUTSIDE.glob("test_*.py")) if path.name != "test_written_page.py"]
    failed = pytest.main(["-q", "-p", "no:nbval", *told])
    if failed:
        return int(failed)
    PAGE.write_text(page(REMEMBERED), encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
