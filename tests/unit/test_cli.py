"""Commands end with 0, 1 or 2, and tell the owner what to do."""

import subprocess
import sys

import pytest

from analysis.cli import main
from analysis.progress import ShownProgress
from analysis.report import notebooks


def test_start_makes_a_folder_that_can_be_read(tmp_path, capsys):
    folder = tmp_path / "my_clinic"
    assert main(["start", str(folder)]) == 0
    assert (folder / "exports").is_dir()
    assert "[recall]" in (folder / "clinic.toml").read_text(encoding="utf-8")
    assert f"earclinic preview {folder}" in capsys.readouterr().out


def test_preview_of_a_clinic_folder_looks_at_all_its_exports_and_asks_there(tmp_path, capsys):
    main(["start", str(tmp_path)])
    for name, grade in (("a.csv", "wobbly"), ("b.txt", "sideways")):
        (tmp_path / "exports" / name).write_text(f"Date,Grade left\n2026-03-02,{grade}\n", encoding="utf-8")
    assert main(["preview", str(tmp_path)]) == 0
    told = capsys.readouterr().out
    assert "a.csv\n" in told
    assert "b.txt\n" in told
    settings = (tmp_path / "clinic.toml").read_text(encoding="utf-8")
    assert '# ? "wobbly"' in settings
    assert '# ? "sideways"' in settings


def test_preview_takes_one_clinic_folder_at_a_time(tmp_path, capsys):
    (tmp_path / "exports").mkdir()
    assert main(["preview", str(tmp_path), "--clinic", str(tmp_path)]) == 1
    assert "Name one clinic folder at a time." in capsys.readouterr().err


def test_start_changes_nothing_the_second_time(tmp_path, capsys):
    main(["start", str(tmp_path)])
    (tmp_path / "clinic.toml").write_text("# mine", encoding="utf-8")
    assert main(["start", str(tmp_path)]) == 1
    assert (tmp_path / "clinic.toml").read_text(encoding="utf-8") == "# mine"
    assert "Nothing was changed" in capsys.readouterr().err


def test_the_demo_keeps_off_a_folder_that_holds_something_else(tmp_path, capsys):
    (tmp_path / "letters.txt").write_text("mine", encoding="utf-8")
    assert main(["demo", str(tmp_path)]) == 1
    assert "Name a new or empty folder" in capsys.readouterr().err


@pytest.mark.parametrize(("options", "ran"), [((), 0), (("--run",), 1)])
def test_notebooks_are_run_only_when_asked(tmp_path, monkeypatch, options, ran):
    assert take_in(tmp_path, "Date,Grade left\n2026-03-02,full\n") == 0
    seen = []
    monkeypatch.setattr(notebooks, "refresh", seen.append)
    assert main(["notebooks", str(tmp_path), "--no-open", *options]) == 0
    assert seen == [tmp_path / "notebooks"] * ran


def test_a_report_before_intake_says_what_to_run(tmp_path, capsys):
    assert main(["report", str(tmp_path)]) == 1
    assert f"earclinic intake {tmp_path}" in capsys.readouterr().err


def take_in(folder, log):
    (folder / "exports").mkdir()
    (folder / "exports" / "log.csv").write_text(log, encoding="utf-8")
    return main(["intake", str(folder), "--quiet"])


def test_a_log_with_nothing_to_mend_ends_well(tmp_path, capsys):
    assert take_in(tmp_path, "Date,Grade left\n2026-03-02,full\n2026-03-03,clear\n") == 0
    assert capsys.readouterr().out == "\nRows read 2, kept 2, set aside 0.\n"


@pytest.mark.parametrize(
    ("row", "value", "kept"), [("2026-03-03,zigzag", "zigzag", 2), ("31/02/2026,full", "31/02/2026", 1)]
)
def test_what_cannot_be_read_is_named_and_the_rest_is_kept(tmp_path, capsys, row, value, kept):
    assert take_in(tmp_path, f"Date,Grade left\n2026-03-02,full\n{row}\n") == 1
    told = capsys.readouterr()
    assert f"Rows read 2, kept {kept}, set aside {2 - kept}." in told.out
    assert "log.csv, row 3" in told.out
    assert f'value "{value}"' in told.out
    assert told.err == ""


def test_a_slip_in_the_year_does_not_stretch_the_log(tmp_path, capsys):
    assert take_in(tmp_path, "Date,Grade left\n2026-03-02,full\n2062-03-03,full\n") == 1
    told = capsys.readouterr().out
    assert "kept 1, set aside 1" in told
    assert 'log.csv, row 3, column "Date", value "2062-03-03": Date more than a year ahead' in told


def test_rows_set_aside_are_told_reason_by_reason_with_the_remedy(tmp_path, capsys):
    log = "Date,Patient no,Grade left\n2026-03-02,1,full\n,2,full\n,3,clear\nTOTAL,,\n2026-03-02,1,full\n"
    assert take_in(tmp_path, log) == 0
    told = capsys.readouterr().out.splitlines()
    assert told[1] == "Rows read 5, kept 1, set aside 4."
    assert told[2].startswith("- no date, 2 rows (log.csv rows 3, 4). What to do: fill in the date of the visit")
    assert told[3:] == [
        "- a line of totals, 1 row (log.csv row 5). What to do: nothing, or leave such lines out of the export.",
        "- the same row again, 1 row (log.csv row 6). What to do: nothing; the first of the rows is kept.",
    ]


def test_a_log_that_was_taken_in_says_so_when_the_command_ends_with_one(tmp_path, capsys):
    assert take_in(tmp_path, "Date,Grade left\n2026-03-02,full\n2026-03-03,zigzag\n") == 1
    assert "you can go on. This command ends with code 1, which says only" in capsys.readouterr().out


@pytest.mark.parametrize("column", ["", '"Waxiness L" = "ignore"'])
def test_a_log_left_without_grades_is_warned_of(tmp_path, capsys, column):
    (tmp_path / "clinic.toml").write_text(f"[columns]\n{column}\n", encoding="utf-8")
    take_in(tmp_path, "Date,Patient no,Waxiness L\n2026-03-02,1,half full\n2026-03-03,2,blocked solid\n")
    assert "No column of grades (how full of wax an ear was) is read" in capsys.readouterr().out


def test_settings_changed_after_intake_are_told_with_what_to_run(tmp_path, capsys):
    settings = tmp_path / "clinic.toml"
    settings.write_text('[words.grade]\n"bunged" = "clear"\n', encoding="utf-8")
    take_in(tmp_path, "Date,Grade left\n2026-03-02,full\n2026-03-03,bunged\n")
    capsys.readouterr()
    settings.write_text(
        '[export]\nengine = "pandas"\n[recall]\nshare = 0.3\n[words.grade]\n"bunged" = "clear"\n', encoding="utf-8"
    )
    main(["notebooks", str(tmp_path), "--no-open", "--quiet"])
    assert "clinic.toml changed" not in capsys.readouterr().out
    settings.write_text('[columns]\n"Room" = "ignore"\n[words.grade]\n"bunged" = "fully_occluding"\n', encoding="utf-8")
    main(["notebooks", str(tmp_path), "--no-open", "--quiet"])
    told = capsys.readouterr().out
    assert "[columns] and [words] in clinic.toml changed after the log was taken in" in told
    assert f"run first: earclinic intake {tmp_path}" in told


def test_many_rows_of_one_reason_are_named_as_a_few(tmp_path, capsys):
    take_in(tmp_path, "Date,Grade left\n2026-03-02,full\n" + ",clear\n" * 9)
    assert "no date, 9 rows (log.csv rows 3, 4, 5, 6, 7 and more)" in capsys.readouterr().out


def test_a_folder_that_is_not_there_is_told(tmp_path, capsys):
    assert main(["intake", str(tmp_path / "nowhere")]) == 1
    assert "There is no such folder." in capsys.readouterr().err


def test_misuse_exits_with_two():
    with pytest.raises(SystemExit) as ended:
        main(["tidy-up"])
    assert ended.value.code == 2


def test_progress_names_each_step_and_its_seconds(capsys):
    seconds = iter([0.0, 1.5, 1.5, 4.0])
    progress = ShownProgress(clock=lambda: next(seconds))
    progress("reading")
    progress("fitting")
    progress.finish()
    assert capsys.readouterr().err == "  reading ... 1.5 s\n  fitting ... 2.5 s\n"


def test_a_reader_who_has_read_enough_gets_no_traceback(tmp_path):
    export = tmp_path / "log.csv"
    export.write_text("Date,Time,Patient no,L wax\n" + "13/03/2026,09:00,1,full\n" * 30, encoding="utf-8")
    run = "import sys; from analysis.cli import main; sys.exit(main(sys.argv[1:]))"
    command = f'"{sys.executable}" -c "{run}" preview --no-write "{export}" | sh -c \'exec 0<&-; sleep 3\''
    told = subprocess.run(command, shell=True, capture_output=True, text=True, check=False)  # noqa: S602 (our own words)
    assert "BrokenPipe" not in told.stderr
    assert "Traceback" not in told.stderr
