"""The ``earclinic`` command: commands only, no computing.

The parts are imported when a command needs them, so that ``--help`` is there at once.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from analysis import __version__
from analysis.problems import DataProblem
from analysis.progress import Progress, ShownProgress, silent

if TYPE_CHECKING:
    from analysis.clinic import Clinic
    from analysis.intake import Intake

DONE, CAN_BE_MENDED = 0, 1
MOST_MESSAGES = 12


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command.

    Parameters
    ----------
    arguments : sequence of str, optional
        The words after ``earclinic``; without them, those of the command line.

    Returns
    -------
    int
        0 done, 1 something the owner can mend; misuse exits with 2.
    """
    asked = _parser().parse_args(arguments)
    progress = silent if asked.quiet else ShownProgress()
    try:
        status = asked.run(asked, progress)
        sys.stdout.flush()
    except DataProblem as problem:
        _end_step(progress)
        sys.stderr.write(f"\n{problem}\n")
        return CAN_BE_MENDED
    except BrokenPipeError:  # whoever read along has read enough, as with: earclinic preview … | head
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    _end_step(progress)
    return status


def _parser() -> argparse.ArgumentParser:
    """Describe the commands."""
    parser = argparse.ArgumentParser(
        prog="earclinic",
        description="From an ear clinic's visit logs to four decisions: how long to book, does softening first pay, "
        "when to call back and how many will come, what to show this quarter.",
    )
    parser.add_argument("--version", action="version", version=f"earclinic {__version__}")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")

    def command(name: str, run: Callable, about: str) -> argparse.ArgumentParser:
        made = commands.add_parser(name, help=about, description=about)
        made.add_argument("--quiet", action="store_true", help="show no progress")
        made.set_defaults(run=run)
        return made

    folder: dict[str, Any] = {"metavar": "DIR", "type": Path, "help": "the clinic folder"}
    demo = command("demo", _demo, "make the invented clinic, take in its log and write its report")
    demo.add_argument("folder", nargs="?", default=Path("demo_clinic"), **folder)
    command("start", _start, "make a clinic folder with commented settings").add_argument("folder", **folder)
    preview = command("preview", _preview, "say what exports hold and what is not understood; keeps nothing of them")
    preview.add_argument(
        "files", metavar="FILE", nargs="+", type=Path, help="a clinic folder for all its exports, or exports by name"
    )
    preview.add_argument(
        "--clinic", metavar="DIR", type=Path, help="use this clinic folder's settings, and put open questions there"
    )
    preview.add_argument("--no-write", action="store_true", help="only show, write no open questions")
    command("intake", _intake, "take the exports of a clinic folder in").add_argument("folder", **folder)
    report = command("report", _report, "write the quarterly report")
    report.add_argument("folder", **folder)
    report.add_argument("--quarter", metavar="2026-Q3", help="the quarter; by default the last whole one in the log")
    report.add_argument("--no-pdf", action="store_true", help="print no PDF, even where a browser is found")
    sheet = command("sheet", _sheet, "write a one-page sheet of what to record from now on, to print")
    sheet.add_argument("folder", **folder)
    due = command("recall-list", _recall_list, "list who is due a recall, for the clinic's own use only")
    due.add_argument("folder", **folder)
    notebooks = command("notebooks", _notebooks, "copy the notebooks into a clinic folder and open them")
    notebooks.add_argument("folder", **folder)
    notebooks.add_argument("--no-open", action="store_true", help="copy only, do not open JupyterLab")
    notebooks.add_argument(
        "--run", action="store_true", dest="run_all", help="run all of them before opening, some side by side"
    )
    return parser


def _end_step(progress: Progress) -> None:
    """Finish the line of the step at hand."""
    if isinstance(progress, ShownProgress):
        progress.finish()


def _say(text: str) -> None:
    """Write to the screen."""
    sys.stdout.write(f"{text}\n")


def _demo(asked: argparse.Namespace, progress: Progress) -> int:
    """Make the invented clinic, take it in and report on it."""
    from analysis.demo import invented_clinic
    from analysis.demo.exports import write_exports

    folder: Path = asked.folder
    if folder.exists() and any(folder.iterdir()) and not (folder / "INVENTED").exists():
        raise DataProblem(
            "This folder holds something else.", "Name a new or empty folder for the invented clinic.", file=str(folder)
        )
    progress("inventing a clinic and its exports")
    write_exports(folder, invented_clinic())
    # What an owner would be asked to mend here was planted, so the demo goes on.
    _take_in(folder, progress)
    # A browser takes seconds, and the demo should be looked at at once.
    asked.quarter, asked.no_pdf = None, True
    return _report(asked, progress)


def _start(asked: argparse.Namespace, progress: Progress) -> int:
    """Make a clinic folder."""
    from analysis.clinic import SETTINGS_FILE
    from analysis.settings import settings_template

    progress("making the folder")
    settings = asked.folder / SETTINGS_FILE
    if settings.exists():
        raise DataProblem("This folder has settings already.", "Nothing was changed.", file=str(settings))
    (asked.folder / "exports").mkdir(parents=True, exist_ok=True)
    settings.write_text(settings_template(), encoding="utf-8")
    # Patients' names and the key must not be published with somebody's other work.
    (asked.folder / ".gitignore").write_text("*\n", encoding="utf-8")
    _end_step(progress)
    _say(f"Made {settings}. Put your exports into {asked.folder / 'exports'}, then: earclinic preview {asked.folder}")
    return DONE


def _preview(asked: argparse.Namespace, progress: Progress) -> int:
    """Say what each export holds, and put what is not understood where it can be settled."""
    from analysis.clinic import SETTINGS_FILE, read_settings
    from analysis.intake.open_questions import PART_FILE, put_questions
    from analysis.intake.preview import previews
    from analysis.intake.preview_text import preview_text
    from analysis.intake.taking import check_settings

    folder, files = _to_preview(asked)
    place = folder / SETTINGS_FILE if folder else Path(PART_FILE)
    settings = read_settings(place.parent, place.name)
    seen: list[Any] = []
    refused = False
    check_settings(settings)
    for path in files:
        progress(f"reading {path.name}")
        try:
            tables = previews(path, settings)
        except DataProblem as problem:  # the other files can still be looked at
            _end_step(progress)
            _say(f"{problem}\n")
            refused = True
            continue
        _end_step(progress)
        for table in tables:
            _say(preview_text(table, seen))
            seen.append(table)
    if not asked.no_write:
        told = put_questions(place, seen)
        if told:
            _say(told)
    return CAN_BE_MENDED if refused else DONE


def _to_preview(asked: argparse.Namespace) -> tuple[Path | None, list[Path]]:
    """Tell the clinic folder whose settings hold, if any, and the files to look at."""
    from analysis.clinic import export_files

    if asked.clinic and not asked.clinic.is_dir():
        raise DataProblem(
            "There is no such folder.", "Make it with: earclinic start DIR", file=str(asked.clinic), setting="--clinic"
        )
    folders = [path for path in asked.files if path.is_dir()]
    if len(folders) > 1 or (folders and asked.clinic):
        raise DataProblem("These are two folders.", "Name one clinic folder at a time.", file=str(folders[-1]))
    files = [each for path in asked.files for each in (export_files(path) if path in folders else [path])]
    return (folders[0] if folders else asked.clinic), files


def _intake(asked: argparse.Namespace, progress: Progress) -> int:
    """Take the exports in, and say what the owner can put right."""
    from analysis.intake.notes import without_grades
    from analysis.intake.set_aside import reasons_told

    taken = _take_in(asked.folder, progress)
    for line in reasons_told(taken.tables["set_aside"].collect()):
        _say(f"- {line}")
    if warning := without_grades(taken.record):
        _say(warning)
    mend = [*taken.record["problems"], *taken.record["to_mend"]]
    if not mend:
        return DONE
    _say("What could be kept was kept. Please mend:")
    for message in mend[:MOST_MESSAGES]:
        _say(f"- {message}")
    if len(mend) > MOST_MESSAGES:
        _say(f"- and {len(mend) - MOST_MESSAGES} more, listed in {asked.folder / 'store' / 'intake.json'}")
    _say(
        "The log is taken in, so you can go on. "
        f"This command ends with code {CAN_BE_MENDED}, which says only that something can be mended."
    )
    return CAN_BE_MENDED


def _take_in(folder: Path, progress: Progress) -> Intake:
    """Take the exports in and say how many rows were read, kept and set aside."""
    from analysis.intake.store import intake_folder

    taken = intake_folder(folder, progress=progress)
    record = taken.record
    _end_step(progress)
    _say(f"\nRows read {record['rows_in']:,}, kept {record['rows_kept']:,}, set aside {record['rows_set_aside']:,}.")
    return taken


def _opened(folder: Path, progress: Progress) -> Clinic:
    """Open a clinic, and say so where its settings were changed after its log was taken in."""
    from analysis.clinic import open_clinic

    clinic = open_clinic(folder)
    if changed := clinic.changed_since_intake:
        _end_step(progress)
        parts = " and ".join(f"[{part}]" for part in changed)
        _say(
            f"{parts} in clinic.toml changed after the log was taken in, and what follows is without that change: "
            f"to have it in, run first: earclinic intake {folder}"
        )
    return clinic


def _report(asked: argparse.Namespace, progress: Progress) -> int:
    """Write the quarterly report."""
    from analysis.report.quarterly import build_report, later_quarter_left_out

    progress("opening the clinic")
    clinic = _opened(asked.folder, progress)
    report = build_report(clinic, asked.quarter, asked.folder / "reports", progress=progress)
    _end_step(progress)
    _say("")
    for headline in report.headlines:
        _say(f"- {headline}")
    if left_out := later_quarter_left_out(clinic, asked.quarter):
        _say(f"\n{left_out}")
    _say(f"\nThe report: {report.page}")
    if not asked.no_pdf:
        _print(report.page, progress)
    return DONE


def _print(page: Path, progress: Progress) -> None:
    """Print the page to a PDF, or say how to."""
    from analysis.report.pdf import BY_HAND, find_browser, print_page

    progress("printing the PDF")
    printed = print_page(page, find_browser())
    _end_step(progress)
    _say(f"The same as PDF: {printed}" if printed else BY_HAND)


def _sheet(asked: argparse.Namespace, progress: Progress) -> int:
    """Write the sheet of what to record."""
    from analysis.report.sheet import write_sheet

    progress("writing the sheet")
    page = write_sheet(_opened(asked.folder, progress), asked.folder / "reports")
    _end_step(progress)
    _say(f"The sheet, one page to print: {page}")
    return DONE


def _recall_list(asked: argparse.Namespace, progress: Progress) -> int:
    """Write the recall list, away from the report."""
    from analysis.report.recall_list import OWN_USE, write_recall_list

    progress("listing who is due")
    path, found = write_recall_list(_opened(asked.folder, progress), asked.folder)
    _end_step(progress)
    _say(f"{len(found.due):,} people due a recall: {path}\n{OWN_USE}")
    return DONE


def _notebooks(asked: argparse.Namespace, progress: Progress) -> int:
    """Copy the notebooks and open JupyterLab on this computer only."""
    import subprocess  # nosec B404 # started below without a shell

    from analysis.report.notebooks import copy_notebooks, lab_command, refresh

    progress("copying the notebooks")
    _opened(asked.folder, progress)
    copied = copy_notebooks(asked.folder)
    _end_step(progress)
    if asked.run_all:
        _say("Running the notebooks, which takes a minute or so.")
        refresh(copied)
    _say(f"The notebooks are in {copied}.")
    if asked.no_open:
        return DONE
    _say("They open in your browser. Leave this window open while you use them; Ctrl and C here ends them.")
    return subprocess.call(lab_command(asked.folder, copied))  # noqa: S603 # nosec B603 # no shell, words of our own
