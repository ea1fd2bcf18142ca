"""The quarterly report: every question asked once, set as a page and as result rows."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from analysis import __version__
from analysis.clinic import Clinic
from analysis.derive.quarters import Quarter
from analysis.models.quarter_periods import periods
from analysis.present import words
from analysis.present.answer import Answer
from analysis.problems import DataProblem
from analysis.progress import Progress, silent
from analysis.report.all_or_none import all_or_none
from analysis.report.booking_sheet import write_booking_sheet
from analysis.report.deck import write_deck
from analysis.report.five_sentences import five_sentences
from analysis.report.page import Page, Part, Question, page_html
from analysis.report.questions import CAUTIONS, DECISIONS, PARTS, ask_all
from analysis.report.results import about, results_json, with_every_figure
from analysis.report.settings_used import settings_mark, settings_text
from analysis.report.sharing import safe_to_share
from analysis.report.workbook import Frame, write_workbook

PAGE, RESULTS, SETTINGS = "quarterly_report.html", "results.json", "settings_used.toml"

LONGEST_CLOSED_DAYS = 14
"""Days without a visit at a quarter's end up to which the clinic may just have been closed: our choice, no source."""


@dataclass(frozen=True, slots=True)
class Report:
    """Where a report was written, and what it says in a few sentences.

    Attributes
    ----------
    page, results, settings, workbook, deck : Path
        The page to read, its figures as rows, the settings it was made with,
        its tables as a workbook, its slides.
    headlines : tuple of str
        The answers to the four decisions, one sentence each.
    answers : tuple of Answer
        Every answer, in the page's order.
    """

    page: Path
    results: Path
    settings: Path
    workbook: Path
    deck: Path
    headlines: tuple[str, ...]
    answers: tuple[Answer, ...]


def chosen_quarter(clinic: Clinic, quarter: str | None = None) -> Quarter:
    """Find the quarter to report: the one asked for, or the last whole one in the log.

    Parameters
    ----------
    clinic : Clinic
    quarter : str, optional
        Such as ``2026-Q3``; empty or None takes the last quarter the log
        covers to its end, or, where the log is shorter than a quarter, the
        one it ends in.

    Returns
    -------
    Quarter

    Raises
    ------
    DataProblem
        If the text is no quarter, the log holds no booking, or none of
        its days fall in the quarter asked for.
    """
    if pd.isna(clinic.first_day):
        raise DataProblem("The log holds no booking.", "Take in an export that does, then ask again.")
    if not quarter:
        last = Quarter.last_complete(clinic.last_day)
        return last if last.last_day >= clinic.first_day else last.next
    asked = Quarter.parse(quarter)
    if asked.last_day < clinic.first_day or asked.first_day > clinic.last_day:
        raise DataProblem(
            f"The log runs from {words.day(clinic.first_day)} to {words.day(clinic.last_day)} and has no day in {asked.label}.",
            f"Ask for a quarter from {Quarter.holding(clinic.first_day)} to {Quarter.holding(clinic.last_day)}.",
            value=quarter,
        )
    return asked


def later_quarter_left_out(clinic: Clinic, quarter: str | None = None) -> str:
    """Say why the quarter that the log ends in is not the one reported, where it is not.

    Parameters
    ----------
    clinic : Clinic
        With at least one booking.
    quarter : str, optional
        As for ``chosen_quarter``.

    Returns
    -------
    str
        One sentence; empty where the quarter was asked for, or is the one that the log ends in.
    """
    reported, ends_in = chosen_quarter(clinic, quarter), Quarter.holding(clinic.last_day)
    if quarter or reported >= ends_in:
        return ""
    closed = (ends_in.last_day - clinic.last_day.normalize()).days <= LONGEST_CLOSED_DAYS
    remedy = (
        f"if the clinic was only closed after that, set last_day = {ends_in.last_day:%Y-%m-%d} under [clinic] in clinic.toml"
        if closed
        else f"ask with --quarter {ends_in} to see it as far as it goes"
    )
    return (
        f"This report covers {reported.label}; {ends_in.label} is left out because the log ends on "
        f"{words.day(clinic.last_day)}: {remedy}."
    )


def build_report(clinic: Clinic, quarter: str | None, folder: Path, *, progress: Progress | None = None) -> Report:
    """Write a clinic's quarterly report.

    Parameters
    ----------
    clinic : Clinic
    quarter : str or None
        Such as ``2026-Q3``; None takes the last whole quarter in the log.
    folder : Path
        Where reports stand; the report goes into a folder named by its quarter.
    progress : callable, optional
        Told each step's name as it begins.

    Returns
    -------
    Report

    Raises
    ------
    DataProblem
        If the quarter cannot be read or lies outside the log, or the report cannot be written.

    Notes
    -----
    The page, ``results.json``, workbook, slides and settings are made from the same answers
    and hold no clock time: the same log and settings give the same files.
    """
    tell = progress or silent
    reported = chosen_quarter(clinic, quarter)
    hide_below = clinic.settings.clinic.hide_below
    answers = {
        step: with_every_figure(safe_to_share(answer, hide_below))
        for step, answer in ask_all(clinic, reported, tell).items()
    }
    tell("writing the report")
    into = folder / str(reported)
    page = _page(clinic, reported, answers)
    frame = _frame(clinic, page)
    with all_or_none(into) as new:
        workbook, deck = write_workbook(frame, answers, new), write_deck(frame, answers, new)
        write_booking_sheet(clinic, answers["how long to book"], new)
        texts = {
            PAGE: page_html(page),
            RESULTS: results_json(about(clinic, reported), tuple(answers.values())),
            SETTINGS: settings_text(clinic.settings),
        }
        for name, text in texts.items():
            (new / name).write_text(text, encoding="utf-8", newline="\n")
    return Report(
        page=into / PAGE,
        results=into / RESULTS,
        settings=into / SETTINGS,
        workbook=into / workbook.name,
        deck=into / deck.name,
        headlines=tuple(_said(answers[step]) for step in DECISIONS),
        answers=tuple(answers.values()),
    )


def _said(answer: Answer) -> str:
    """Give an answer's sentence; where there is none, what was asked stands before the reason."""
    return answer.headline if answer.answered else f"{answer.question} {answer.headline}"


def _page(clinic: Clinic, quarter: Quarter, answers: dict[str, Answer]) -> Page:
    """Lay the answers out as a page."""
    parts = tuple(
        Part(title, tuple(Question(answers[step]) for step, _ in asked if step in answers)) for title, asked in PARTS
    )
    return Page(
        clinic=clinic.settings.clinic.name,
        quarter_label=quarter.label,
        standfirst=_standfirst(clinic),
        summary=five_sentences(answers, quarter, whole=periods(quarter, clinic.first_day, clinic.last_day).whole),
        parts=parts,
        how_sure=words.how_sure(clinic.settings.level),
        cautions=CAUTIONS,
        footer=f"Made by earclinic {__version__} with settings {settings_mark(clinic.settings)}, from the log up to "
        f"{clinic.last_day:%B %Y}. Every figure stands to full precision in results.json beside this page.",
        invented=clinic.invented,
    )


def _frame(clinic: Clinic, page: Page) -> Frame:
    """Say for the workbook what the page says of itself."""
    return Frame(
        title=f"{page.clinic}, {page.quarter_label}",
        standfirst=page.standfirst,
        how_sure=page.how_sure,
        footer=page.footer,
        cautions=page.cautions,
        sentences=tuple(each.text for each in page.summary),
        made=(clinic.last_day.normalize() + pd.offsets.MonthEnd(0)).to_pydatetime(),
        invented=page.invented,
    )


def _standfirst(clinic: Clinic) -> str:
    """Say what the log covers and how many of its rows could be used."""
    covers = (
        f"From a log of {words.plural(len(clinic.visits), 'booking')}, "
        f"{words.months(clinic.first_day, clinic.last_day)}."
    )
    if "rows_in" not in clinic.record:
        return covers
    if clinic.rows_shown["rows_in"] is None:
        few = clinic.settings.clinic.hide_below
        return f"{covers} All rows read were kept but fewer than {few}, set aside each with its reason."
    read, kept, aside = (words.count(each or 0) for each in clinic.rows_shown.values())
    return f"{covers} Of {read} rows read, {kept} were kept and {aside} set aside, each with its reason."
