"""What intake's record and the log's parts say: columns dropped, words not known, habits of timing."""

import pandas as pd

from analysis.answers.trust_record import minutes_by_part_checks, minutes_by_part_rows, record_checks
from analysis.clinic import Clinic
from analysis.schema import EAR_ROWS, VISITS, typed_frame
from analysis.settings import settings_from_toml

RECORD = {
    "files": [
        {"headings": {"identifying": ["Surname", "Patient no"], "looked_identifying": {"Desk": "names"}}},
        {"headings": {"identifying": ["Surname"], "looked_identifying": {}}},
    ],
    "words": {
        "grade": {"understood": 90, "unknown": {"hm": {"count": 5}, "as last time": {"count": 4}}},
        "outcome": {"understood": 99, "unknown": {}},
    },
}


def clinic(toml: str = "") -> Clinic:
    """Make a clinic of two exports and two practitioners: Ann times her visits, Zoe rounds them."""
    rows = [
        {
            "source_file": file, "practitioner": who, "attendance": "attended", "minutes": 20.0,
            "slot_start": pd.Timestamp(day) + pd.Timedelta(minutes=30 * place),
            "minutes_quality": "timed" if who == "Ann" else "rounded",
        }
        for file, who, day, visits in (
            ("jane_smith.csv", "Ann", "2026-01-05 09:00", 30), ("jane_smith.csv", "Zoe", "2026-01-06 09:00", 10),
            ("new.csv", "Zoe", "2026-02-02 09:00", 20),
        )
        for place in range(visits)
    ]  # fmt: skip
    visits = pd.DataFrame(rows)
    visits["visit_id"] = [f"v{place}" for place in visits.index]
    return Clinic(typed_frame(VISITS, visits), typed_frame(EAR_ROWS, pd.DataFrame()), settings=settings_from_toml(toml))


def test_columns_dropped_and_words_not_known_are_told():
    dropped, unknown = record_checks(RECORD)
    assert dropped.sentence.startswith("Desk, Patient no and Surname: dropped before anything was kept")
    assert unknown.sentence.startswith("Occlusion grade in 9 rows.")


def test_an_empty_record_has_nothing_to_tell():
    assert record_checks({}) == []


def test_habits_of_timing_are_told_by_export_and_by_practitioner_without_names():
    by_export, by_practitioner = [check.sentence for check in minutes_by_part_checks(clinic())]
    assert by_export.startswith("Timed from 0% (export of February 2026) to 75% (export of January 2026)")
    assert by_practitioner.startswith("Timed from 0% (practitioner 2) to 100% (practitioner 1)")
    told = " ".join([by_export, by_practitioner, *(str(row.group) for row in minutes_by_part_rows(clinic()))])
    assert not [name for name in ("jane", "smith", "Ann", "Zoe") if name in told]


def test_practitioners_are_named_where_the_clinic_wants_it():
    toml = "[clinic]\nshow_practitioner_names = true"
    assert "practitioner Zoe" in minutes_by_part_checks(clinic(toml))[1].sentence


def test_shares_of_a_part_add_up_to_one():
    rows = minutes_by_part_rows(clinic())
    parts = {tuple(group.items()) for row in rows for group in [{k: v for k, v in row.group.items() if k != "quality"}]}
    for part in parts:
        assert sum(row.value for row in rows if set(part) <= set(row.group.items())) == 1


def test_two_exports_of_the_same_days_are_told_apart():
    log = clinic()
    visits = log.visits.assign(source_file=["one.csv", "two.csv"] * 30, slot_start=pd.Timestamp("2026-01-05 09:00"))
    groups = {row.group["export"] for row in minutes_by_part_rows(Clinic(visits, log.ears)) if "export" in row.group}
    assert groups == {f"export of January 2026, number {place}" for place in (1, 2)}


def test_few_visits_say_nothing_of_habits():
    log = clinic()
    assert minutes_by_part_rows(Clinic(log.visits.iloc[:15], log.ears)) == []
    assert minutes_by_part_checks(Clinic(log.visits.iloc[:15], log.ears)) == []
