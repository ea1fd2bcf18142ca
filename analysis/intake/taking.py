"""Taking a clinic's exports in: every row kept or set aside with a reason."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import narwhals as nw
import pandas as pd

from analysis.intake.cleaning import Frame, cleaned, translated
from analysis.intake.clock_changes import zone_of
from analysis.intake.duplicates import ROWS_A_FILE, without_repeats
from analysis.intake.exports import Export, attendance_logged, evidence_logged, open_exports
from analysis.intake.headers import own_columns
from analysis.intake.joining import with_visits_joined
from analysis.intake.minutes import with_minutes
from analysis.intake.patients import how_patients_are_told_apart, with_patients
from analysis.intake.privacy import HIDDEN, may_identify
from analysis.intake.record import contradictions_found, intake_record
from analysis.intake.row_columns import EVIDENCE, VISIT_TEXTS, columns_of_kind
from analysis.intake.rules import LATEST, REASONS, with_attendance, with_reason, without_impossible_order
from analysis.intake.shapes import ears_of, visits_of, with_minutes_by_ear, with_visit_id
from analysis.intake.strange_words import safe_word
from analysis.intake.understanding import CODED_KINDS, coded_as
from analysis.intake.words import check_words
from analysis.problems import DataProblem
from analysis.schema import EAR_ROWS, SET_ASIDE, VISITS, Table, typed_frame
from analysis.settings import Settings

NOT_KEPT = ("missed", "cancelled_late", "cancelled", "moved")
YES_NO = {"yes": True, "no": False}


@dataclass(frozen=True, eq=False)
class Intake:
    """What was taken in.

    Attributes
    ----------
    visits, ears, set_aside : pandas.DataFrame
        The tables of ``schema``. ``set_aside`` has one row for each row of the
        exports that could not be used.
    record : dict
        What was read, understood, not understood and set aside; see ``record``.
    """

    visits: pd.DataFrame
    ears: pd.DataFrame
    set_aside: pd.DataFrame
    record: dict[str, Any]


def take_in(
    paths: Sequence[Path],
    settings: Settings,
    key: bytes,
    *,
    latest: dt.datetime = LATEST,
    progress: Callable[[str], None] | None = None,
) -> Intake:
    """Take exports in.

    A file that cannot be used is named in ``record["problems"]`` and the others
    are taken in. Every row of the others is kept or set aside, which is checked
    on every run. The exports are only read.

    Parameters
    ----------
    paths : sequence of Path
        The exports, in any order.
    settings : Settings
    key : bytes
        The clinic's secret for pseudonyms.
    latest : datetime, optional
        Rows dated after it are set aside; without it only impossible years are.
    progress : callable, optional
        Told the name of each step as it begins.

    Returns
    -------
    Intake
        Visits sorted by the start of the slot, then by visit; the same files
        give the same tables, whatever their order.

    Raises
    ------
    DataProblem
        If the settings name a column, word or code that does not exist, or none of the files can be used.
    """
    say = progress or (lambda _: None)
    check_settings(settings)
    exports, problems = _open_all(sorted(paths, key=lambda path: path.name), settings, say)
    say("cleaning")
    rows = _in_order([cleaned(_text_rows(export, key), export.understood) for export in exports])
    rows = with_visits_joined(_with_tidy_spelling(rows))
    fit, unfit = _parted(with_reason(rows, latest=latest))
    say("finding duplicates")
    kept, again = _parted(without_repeats(fit))
    _check_nothing_lost(exports, kept, unfit, again)
    say("making visits and ears")
    kept = with_minutes_by_ear(with_visit_id(kept))
    ears, visits = ears_and_bookings(kept)
    contradictions = contradictions_found(visits, ears)
    ears, visits = judged(ears, visits, settings)
    set_aside = _set_aside(exports, kept, unfit, again)
    made = Intake(_visit_table(visits), _ear_table(ears), set_aside, {})
    made.record.update(intake_record(exports, problems, made.visits, made.ears, kept, unfit, again, contradictions))
    made.record["to_mend"] = [*_dates_ahead(set_aside), *made.record["to_mend"]]
    return made


def _dates_ahead(set_aside: pd.DataFrame) -> list[str]:
    """Write one message for each row dated further ahead than anybody books."""
    why, remedy = REASONS["ahead_date"].why, REASONS["ahead_date"].remedy
    return [
        str(
            DataProblem(
                f"{why[:1].upper()}{why[1:]}; the row is set aside.",
                remedy,
                file=file,
                row=int(row),
                column=column,
                value=value,
            )
        )
        for file, row, reason, column, value, _ in set_aside.itertuples(index=False)
        if reason == why
    ]


def check_settings(settings: Settings) -> None:
    """Refuse settings that name a column, a word's column or a code that does not exist."""
    own_columns(settings)
    zone_of(settings.export.time_zone)
    check_words(settings, {coded_as(column) for column in columns_of_kind(*CODED_KINDS)})


def _open_all(
    paths: Sequence[Path], settings: Settings, say: Callable[[str], None]
) -> tuple[list[Export], list[DataProblem]]:
    """Open every file that can be opened, and collect what is wrong with the others."""
    twice = [name for name, count in Counter(path.name for path in paths).items() if count > 1]
    if twice:
        raise DataProblem("Two files have the same name.", "Give one of them another name.", file=twice[0])
    exports, problems = [], []
    for path in paths:
        say(f"reading {path.name}")
        try:
            exports.extend(open_exports(path, settings))
        except DataProblem as problem:
            problems.append(problem)
    if not exports and len(problems) == 1:
        raise problems[0]
    if not exports:
        raise DataProblem(
            "None of the exports can be used." if problems else "There are no exports.",
            " ".join(map(str, problems)) or "Name at least one file.",
        )
    return exports, problems


def _text_rows(export: Export, key: bytes) -> nw.DataFrame[Any]:
    """Give the rows of one export as text, with what is known of the file and the patients' pseudonyms."""
    told_apart_by = how_patients_are_told_apart(export.headings.columns)
    births = {text: each.day for text, each in export.understood.moments.get("birth_date", {}).items() if each.day}
    frame = nw.from_native(export.frame, eager_only=True).with_columns(
        nw.lit(0, dtype=nw.Int64).alias("file_order"),
        nw.lit(export.system).alias("system"),
        nw.lit(export.shape).alias("shape"),
        nw.lit(attendance_logged(export.headings)).alias("attendance_logged"),
        nw.lit(evidence_logged(export.headings)).alias("evidence_logged"),
        nw.col("visit_id").alias("visit_number"),
    )
    return with_patients(frame, told_apart_by, births, key)


def _in_order(parts: list[nw.DataFrame[Any]]) -> nw.DataFrame[Any]:
    """Put the files together, the one whose log ends last at the end."""

    def ends(part: nw.DataFrame[Any]) -> tuple[str, str]:
        return str(part["slot_start"].max() or ""), part["source_file"].to_list()[0]

    ordered = sorted(parts, key=ends)
    numbered = [
        part.with_columns(nw.lit(place, dtype=nw.Int64).alias("file_order")) for place, part in enumerate(ordered)
    ]
    rows = nw.concat(numbered, how="vertical")
    return rows.with_columns((nw.col("source_row") + nw.col("file_order") * ROWS_A_FILE).alias("place"))


def _with_tidy_spelling(rows: nw.DataFrame[Any]) -> nw.DataFrame[Any]:
    """Give names of sites and practitioners that differ only in case or spaces their commonest spelling."""
    for column in VISIT_TEXTS:
        counts = Counter(text for text in rows[column].to_list() if isinstance(text, str))
        best: dict[str, str] = {}
        for text, _ in sorted(counts.items(), key=lambda item: (-item[1], item[0])):
            best.setdefault(_alike(text), text)
        spelling = {text: (" ".join(best[_alike(text)].split()),) for text in counts if not may_identify(text)}
        rows = translated(rows, column, {"__tidy": nw.String}, spelling)
        rows = rows.with_columns(nw.col("__tidy").alias(column)).drop("__tidy")
    return rows


def _alike(text: str) -> str:
    """Bring a name to the form in which spellings are compared."""
    return " ".join(text.casefold().split())


def _parted(rows: Frame) -> tuple[Frame, Frame]:
    """Part the rows that are fit from those with a reason against them; what a step left behind goes."""
    rows = rows.select(*(column for column in rows.collect_schema().names() if not column.startswith("__")))
    no_reason = nw.col("reason").is_null()
    return rows.filter(no_reason), rows.filter(~no_reason)


def ears_and_bookings(kept: Frame) -> tuple[Frame, Frame]:
    """Make ears and bookings of the rows kept, and say which bookings the patient came to.

    Parameters
    ----------
    kept : narwhals frame
        Rows kept, with ``visit_id``.

    Returns
    -------
    tuple of narwhals frame
        Ears and bookings; minutes are not judged yet.
    """
    ears = ears_of(kept)
    return ears, _with_evidence(visits_of(kept), ears).pipe(with_attendance)


def judged(ears: Frame, visits: Frame, settings: Settings) -> tuple[Frame, Frame]:
    """Judge minutes, and leave out ears of bookings that were not kept.

    Parameters
    ----------
    ears, visits : narwhals frame
        From ``ears_and_bookings``.
    settings : Settings

    Returns
    -------
    tuple of narwhals frame
    """
    visits = without_impossible_order(visits).pipe(with_minutes, settings)
    return _of_visits_kept(ears, visits), visits


def _check_nothing_lost(exports: list[Export], *parts: nw.DataFrame[Any]) -> None:
    """Stop if rows read are not rows kept plus rows set aside: that would be a fault of the program."""
    read = {(export.table.file, row) for export in exports for row in export.table.source_rows}
    told = [
        pair for part in parts for pair in zip(part["source_file"].to_list(), part["source_row"].to_list(), strict=True)
    ]
    if len(told) != len(read) or set(told) != read:
        raise AssertionError(f"{len(read)} rows were read, but {len(told)} were kept or set aside")


def _with_evidence(visits: Frame, ears: Frame) -> Frame:
    """Say of each visit whether anything in the log shows that the patient came."""
    seen = ears.select("visit_id").unique("visit_id").with_columns(nw.lit(1.0).alias("__ear"))
    visits = visits.join(seen, on="visit_id", how="left")
    shows = [~nw.col(column).is_null() for column in (*EVIDENCE, "__ear")]
    return visits.with_columns(nw.any_horizontal(*shows, ignore_nulls=False).alias("has_evidence")).drop("__ear")


def _of_visits_kept(ears: Frame, visits: Frame) -> Frame:
    """Leave out what is said of ears in bookings that were not kept: defaults of the records system."""
    attendance = nw.coalesce(nw.col("attendance"), nw.lit(""))
    return ears.join(visits.filter(~attendance.is_in(NOT_KEPT)).select("visit_id"), on="visit_id", how="inner")


def _visit_table(visits: nw.DataFrame[Any]) -> pd.DataFrame:
    """Give the visits their types and their order."""
    frame = visits.to_native().sort_values(["slot_start", "visit_id"], kind="stable")
    return typed_frame(VISITS, _with_booleans(VISITS, frame))


def _ear_table(ears: nw.DataFrame[Any]) -> pd.DataFrame:
    """Give the ears their types and their order."""
    frame = ears.to_native().rename(columns={"ear_minutes": "minutes"})
    frame = frame.assign(filled=frame.notna().sum(axis=1)).sort_values(
        ["visit_id", "ear", "filled"], ascending=[True, True, False]
    )
    named = frame[frame["ear"].notna()]
    if named.duplicated(["visit_id", "ear"]).any():  # "both" in one row and the same ear in another
        named = named.groupby(["visit_id", "ear"], as_index=False).first()
    frame = pd.concat([named, frame[frame["ear"].isna()]]).sort_values(["visit_id", "ear"], kind="stable")
    return typed_frame(EAR_ROWS, _with_booleans(EAR_ROWS, frame))


def _with_booleans(table: Table, frame: pd.DataFrame) -> pd.DataFrame:
    """Turn yes and no into true and false."""
    answers = [column.name for column in table.columns if column.kind == "yes_no" and column.name in frame]
    return frame.assign(**{name: frame[name].map(YES_NO).astype("boolean") for name in answers})


def _set_aside(
    exports: list[Export], kept: nw.DataFrame[Any], unfit: nw.DataFrame[Any], again: nw.DataFrame[Any]
) -> pd.DataFrame:
    """Say of every row left out why, and what to do; nothing shown identifies a patient."""
    by_file = {export.table.file: export for export in exports}
    names = frozenset().union(*(export.names for export in exports))
    files = dict(zip(kept["file_order"].to_list(), kept["source_file"].to_list(), strict=True))
    files |= dict(zip(again["file_order"].to_list(), again["source_file"].to_list(), strict=True))
    told = [
        _aside_row(by_file[row["source_file"]], row, files, names)
        for part in (unfit, again)
        for row in part.to_native().to_dict("records")
    ]
    frame = pd.DataFrame(told, columns=SET_ASIDE.names)
    return typed_frame(SET_ASIDE, frame.sort_values(["source_file", "source_row"]))


def _aside_row(export: Export, row: dict[str, Any], files: dict[int, str], names: frozenset[str]) -> dict[str, Any]:
    """Tell of one row left out."""
    reason = REASONS[row["reason"]]
    column, value = None, None
    if row["reason"].endswith("_date"):
        column = next(
            (
                export.heading_of(each)
                for each in ("date", "slot_start", "started_at")
                if each in export.headings.columns
            ),
            None,
        )
        value = safe_word(row["date_text"], names) if isinstance(row["date_text"], str) else None
    elif row["reason"] == "test_patient":
        column, value = "patient", HIDDEN
    elif "kept_place" in row:
        place = int(row["kept_place"])
        value = f"kept: {files[place // ROWS_A_FILE]} row {place % ROWS_A_FILE}"
    return {
        "source_file": row["source_file"], "source_row": row["source_row"], "reason": reason.why, "column": column,
        "value": value, "remedy": reason.remedy,
    }  # fmt: skip
