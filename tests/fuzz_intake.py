"""Spoil exports at random and take them in: ``python -m tests.fuzz_intake --runs 10000 --keep FOLDER``.

Bytes are flipped, files cut, cells repeated, blown up and moved, headings
swapped, encodings changed. Whatever comes of it: nothing but a ``DataProblem``
is raised, every row is kept or set aside, the store's tables keep their
contract, and no string planted to identify anybody is in the tables or the
record (names in the columns of clinicians and sites apart). Each run
is seeded by its number, so that ``--only NUMBER`` does it again.
"""

from __future__ import annotations

import argparse
import json
import random
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path

from analysis.intake import take_in
from analysis.intake.contract import check_tables
from analysis.problems import DataProblem
from analysis.setting_parts import ExportPart
from analysis.settings import Settings

KEY = b"k" * 32
SETTINGS = Settings(export=ExportPart(engine="polars"))
"""The faster engine on small exports; others test that engines agree."""
SLOWEST_SECONDS = 20.0
CORPUS = Path(__file__).parent / "unit" / "intake"
NAMES = (
    "Orlanda Fenniquill",
    "QUIBBLE, Petronella",
    "Mr Idrisson Yarroway",
    "Wilhelmina Oxtoby",
    "Tamsinelle Grubwick",
)
PLANTED_NAMES = (
    "Orlanda", "Fenniquill", "QUIBBLE", "Petronella", "Idrisson", "Yarroway", "Wilhelmina", "Oxtoby", "Tamsinelle",
    "Grubwick",
)  # fmt: skip
"""As they were typed: in small letters, as a piece of a mail address glued to a word, no rule can tell them from words."""
PLANTED_NUMBERS = ("900123", "900456", "zq9 7xx", "quaggy lane", "@nowhere.example")
PLANTED = (*PLANTED_NAMES, *PLANTED_NUMBERS)
HEAD = "Date,Time,Start,Finish,Patient no,Patient name,DOB,Mobile,Email,Address,Clinician,Status,L wax,R wax,L method,R method,Notes"
WORDS = {
    "wax": ("full", "2/3 blocked", "no wax", "~80%", "semi occ", "", "wobbly"),
    "method": ("suction then hook", "irrigation", "", "micro", "magic"),
    "status": ("Attended", "DNA", "canx", "", "Attended"),
}


def planted_log(draw: random.Random) -> str:
    """Write a log of some 12 visits with names, phones, addresses and notes that must not come out."""
    rows = [HEAD]
    for number in range(12):
        name = draw.choice(NAMES)
        surname = name.split()[-1] if "," not in name else name.split(",")[0]
        wax, method = WORDS["wax"], WORDS["method"]
        cells = [
            f"{number + 1:02d}/03/2026", f"{9 + number % 8:02d}:00", f"{9 + number % 8:02d}:02", f"{9 + number % 8:02d}:21",
            f"{4000 + number % 7}", f'"{name}"', "04/05/1948", draw.choice(("07700 900123", "+44 7700 900456")),
            f"{surname.lower()}@nowhere.example", '"7 Quaggy Lane, ZQ9 7XX"', draw.choice(("Wren", "Heron")),
            draw.choice(WORDS["status"]), draw.choice(wax), draw.choice(wax), draw.choice(method), draw.choice(method),
            f'"daughter of {surname}, ring 07700 900123"',
        ]  # fmt: skip
        rows.append(",".join(cells))
    return "\n".join(rows) + "\n"


def bases(draw: random.Random) -> bytes:
    """Give an export to spoil: two in three carry planted strings."""
    if draw.random() < 0.67:
        return planted_log(draw).encode()
    return draw.choice(sorted([*CORPUS.glob("corpus*/*.csv"), *CORPUS.glob("corpus*/*.txt")])).read_bytes()


def flip_bytes(data: bytes, draw: random.Random) -> bytes:
    """Change a few bytes to any others."""
    spoilt = bytearray(data)
    for _ in range(draw.randint(1, 8)):
        if spoilt:
            spoilt[draw.randrange(len(spoilt))] = draw.randrange(256)
    return bytes(spoilt)


def cut(data: bytes, draw: random.Random) -> bytes:
    """Take a piece out, often the end."""
    if len(data) < 2:
        return data
    start = draw.randrange(len(data))
    return data[:start] if draw.random() < 0.5 else data[:start] + data[start + draw.randint(1, 40) :]


def repeat_piece(data: bytes, draw: random.Random) -> bytes:
    """Say a piece again, somewhere else."""
    if not data:
        return data
    start, at = draw.randrange(len(data)), draw.randrange(len(data))
    return data[:at] + data[start : start + draw.randint(1, 200)] * draw.randint(1, 5) + data[at:]


def swap_headings(data: bytes, draw: random.Random) -> bytes:
    """Swap two headings that name nobody."""
    lines = data.split(b"\n")
    cells = lines[0].split(b",")
    harmless = [
        at
        for at, cell in enumerate(cells)
        if cell in (b"Time", b"Start", b"Finish", b"L wax", b"R wax", b"L method", b"Status")
    ]
    if len(harmless) >= 2:
        one, other = draw.sample(harmless, 2)
        cells[one], cells[other] = cells[other], cells[one]
    return b"\n".join([b",".join(cells), *lines[1:]])


def other_encoding(data: bytes, draw: random.Random) -> bytes:
    """Write the text in another encoding, or claim one it has not."""
    text = data.decode("utf-8", "replace")
    encoding = draw.choice(("utf-16", "utf-16-le", "utf-16-be", "utf-8-sig", "cp1252", "cp037", "mark"))
    return b"\xff\xfe" + data if encoding == "mark" else text.encode(encoding, "replace")


def strange_cell(data: bytes, draw: random.Random) -> bytes:
    """Put something no log holds into one cell."""
    cells = data.split(b",")
    strange = (
        b"x" * draw.choice((1000, 70_000)), b"9" * 400, b"1e999", b"-1", b"=1+1", b"\0\0", b'"', b"\xe2\x80\xae", b"31/02/2026",
        b"99:99", "٣/٣/٢٠٢٦".encode(), "½".encode(), b"NaN", b"inf", b"\r", b"0/0", b"1/0", b"2/3/4/5", b"\x1b[2J",
    )  # fmt: skip
    cells[draw.randrange(len(cells))] = draw.choice(strange)
    return b",".join(cells)


def shuffle_rows(data: bytes, draw: random.Random) -> bytes:
    """Put the rows, headings with them, in any order, some twice."""
    lines = data.splitlines(keepends=True)
    draw.shuffle(lines)
    return b"".join(lines + lines[: draw.randint(0, 3)])


def other_delimiter(data: bytes, draw: random.Random) -> bytes:
    """Use another mark between cells, at times only in some."""
    mark = draw.choice((b";", b"\t", b"|", b" ", b",,"))
    return data.replace(b",", mark, -1 if draw.random() < 0.7 else draw.randint(1, 60))


MUTATIONS: tuple[Callable[[bytes, random.Random], bytes], ...] = (
    flip_bytes, cut, repeat_piece, swap_headings, other_encoding, strange_cell, shuffle_rows, other_delimiter,
)  # fmt: skip


def spoilt_export(number: int) -> tuple[bytes, list[str]]:
    """Make the export of one run, and say what was done to it."""
    draw = random.Random(number)
    data, done = bases(draw), []
    for mutation in draw.choices(MUTATIONS, k=draw.randint(1, 4)):
        data = mutation(data, draw)
        done.append(mutation.__name__)
    return data, done


def take_together(numbers: Sequence[int]) -> Counter[str]:
    """Take some spoilt exports in as one clinic's; give what came of them, or raise what should not have."""
    with tempfile.TemporaryDirectory() as name:
        paths = [Path(name) / f"spoilt_{number}.csv" for number in numbers]
        for number, path in zip(numbers, paths, strict=True):
            path.write_bytes(spoilt_export(number)[0])
        start = time.perf_counter()
        try:
            taken = take_in(paths, SETTINGS, KEY)
        except DataProblem as problem:  # none of them could be used
            _check_nothing_planted({"message": str(problem)})
            return Counter(refused=len(numbers))
        seconds = time.perf_counter() - start
    record = taken.record
    if record["rows_in"] != record["rows_kept"] + record["rows_set_aside"]:
        raise AssertionError("rows were lost")
    if len(taken.set_aside) != record["rows_set_aside"]:
        raise AssertionError("rows were set aside without a word")
    tables = {"visits": taken.visits, "ears": taken.ears, "set_aside": taken.set_aside}
    check_tables(tables, SETTINGS)
    # a name that a spoilt row moves into the clinician's or the site's column cannot be told from one of theirs
    staff = taken.visits[["practitioner", "site"]].to_csv()
    _check_nothing_planted({"practitioners and sites": staff}, PLANTED_NUMBERS)
    tables["visits"] = taken.visits.drop(columns=["practitioner", "site"])
    _check_nothing_planted({"record": json.dumps(record)} | {name: each.to_csv() for name, each in tables.items()})
    if seconds > SLOWEST_SECONDS * len(numbers):
        raise AssertionError(f"took {seconds:.0f} seconds")
    refused = sum(any(path.name in told for told in record["problems"]) for path in paths)
    return Counter(
        {
            "refused": refused,
            "taken in": len(numbers) - refused,
            "rows": record["rows_in"],
            "rows set aside": record["rows_set_aside"],
        }
    )


def _check_nothing_planted(outputs: dict[str, str], planted: Sequence[str] = PLANTED) -> None:
    """Fail where an output holds a planted string."""
    for name, text in outputs.items():
        small = text.casefold()
        found = [each for each in planted if each in (text if each in PLANTED_NAMES else small)]
        if found:
            raise AssertionError(f"{name} holds {found}")


def fuzz(numbers: range, together: int, keep: Path | None = None) -> tuple[Counter[str], dict[str, str]]:
    """Do many runs, some exports together; give what came of them, and what went wrong in which."""
    came: Counter[str] = Counter()
    wrong: dict[str, str] = {}
    for start in range(numbers.start, numbers.stop, together):
        group = range(start, min(start + together, numbers.stop))
        found = _wrong(group, came)
        if found and len(group) > 1:  # which of them was it?
            alone = {f"{number}": told for number in group if (told := _wrong([number], came))}
            wrong |= alone or {f"{group.start} to {group.stop - 1} together": found}
        elif found:
            wrong[f"{start}"] = found
        for number in wrong if keep else ():
            if number.isdecimal():
                (keep / f"{number}.csv").write_bytes(spoilt_export(int(number))[0])
    return came, wrong


def _wrong(numbers: Sequence[int], came: Counter[str]) -> str:
    """Do one run, count what came of it, and give what went wrong; empty where nothing did."""
    try:
        came.update(take_together(numbers))
    except Exception as error:  # whatever it is, it is what is looked for
        where = traceback.extract_tb(error.__traceback__)[-1]
        return f"{type(error).__name__}: {str(error)[:300]} ({Path(where.filename).name}:{where.lineno})"
    return ""


def main() -> int:
    """Do as many runs as asked and print what came of them."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=10_000)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--together", type=int, default=20, help="exports taken in at once")
    parser.add_argument("--only", type=int, help="do this one again and show its traceback")
    parser.add_argument("--keep", type=Path, help="put exports that went wrong into this folder")
    asked = parser.parse_args()
    if asked.only is not None:
        sys.stdout.write(f"{spoilt_export(asked.only)[1]}\n")
        sys.stdout.write(f"{dict(take_together([asked.only]))}\n")
        return 0
    start = time.perf_counter()
    came, wrong = fuzz(range(asked.first, asked.first + asked.runs), asked.together, asked.keep)
    for number, what in wrong.items():
        sys.stdout.write(f"run {number}: {what}\n")
    seconds = time.perf_counter() - start
    sys.stdout.write(f"{asked.runs} runs in {seconds:.0f} s: {dict(came)}, went wrong: {len(wrong)}\n")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
