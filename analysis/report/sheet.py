"""The one-page sheet of what to record, to be printed and hung up."""

from __future__ import annotations

from pathlib import Path

from analysis.answers.record_sheet import record_sheet
from analysis.clinic import Clinic
from analysis.present import theme
from analysis.present.page_parts import environment

TEMPLATES = Path(__file__).parent / "templates"
FILE = "what_to_record.html"


def write_sheet(clinic: Clinic, folder: Path) -> Path:
    """Write the sheet of what to record from now on.

    Parameters
    ----------
    clinic : Clinic
    folder : Path
        Where it goes; made where it is not there.

    Returns
    -------
    Path
        The page: one side of A4, with nothing of any patient or practitioner in it.
    """
    folder.mkdir(parents=True, exist_ok=True)
    page = folder / FILE
    page.write_text(sheet_html(clinic), encoding="utf-8")
    return page


def sheet_html(clinic: Clinic) -> str:
    """Set the sheet as a whole HTML document; the same log gives the same text."""
    return environment(TEMPLATES).get_template("sheet.html").render(sheet=record_sheet(clinic), theme=theme)
