"""Look, edit, look again: what is not understood shrinks to nothing."""

import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

from analysis import cli
from analysis.intake.open_questions import (
    ASKED,
    MARK,
    MOST_ASKED,
    as_toml,
    open_questions,
    put_questions,
    with_questions,
)
from analysis.intake.preview import preview
from analysis.intake.preview_text import MOST_OF_A_KIND, WIDTH, preview_text
from analysis.problems import DataProblem
from analysis.settings import Settings, settings_from_toml

CORPORA = [Path(__file__).parent / name for name in ("corpus", "corpus_words")]
GIVEN = {
    corpus / name: expected.get("settings", "")
    for corpus in CORPORA
    for name, expected in tomllib.loads((corpus / "expected.toml").read_text(encoding="utf-8")).items()
}
FILES = [pytest.param(path, id=path.name) for path in sorted(GIVEN)]
ODD = """Date,Patient no,L wax,Outcome L,Which drops,Room,Chair
2026-03-02,1,wobbly,gone well,olive oil,3,a
2026-03-03,2,full,cleared,magic,3,b
2026-03-04,3,wobbly,cleared,"magic, spice",4,a
2026-03-05,4,"say ""ah"" first",cleared,,4,b
"""


def accepted(toml):
    """Take the mark off every open question, as an owner would who agrees with each and needs no column that is to be named."""
    lines = [
        line.removeprefix(MARK).replace('= "?"', '= "ignore"') if line.startswith(f'{MARK}"') else line
        for line in toml.splitlines()
    ]
    return "\n".join(lines) + "\n"


@pytest.mark.parametrize("path", FILES)
def test_once_each_question_is_answered_nothing_is_open(path):
    given = GIVEN[path]
    first = preview(path, settings_from_toml(given))
    toml = accepted(with_questions(given, open_questions([first])))
    again = preview(path, settings_from_toml(toml))
    assert (again.unknown_words, open_questions([again])) == ((), {})
    assert "All headings and words are understood." in preview_text(again)


def test_each_answer_leaves_one_question_less(tmp_path):
    (tmp_path / "odd.csv").write_text(ODD, encoding="utf-8")
    toml, counts = "", []
    for _ in range(7):
        seen = preview(tmp_path / "odd.csv", settings_from_toml(toml))
        toml = with_questions(toml, open_questions([seen]))
        counts.append(sum(line.startswith(f'{MARK}"') for line in toml.splitlines()))
        toml = toml.replace(f'{MARK}"', '"', 1).replace('\n"Room" = "?"', '\n"Room" = "ignore"')
        toml = toml.replace('\n"Chair" = "?"', '\n"Chair" = "ignore"')
    assert counts == [7, 6, 5, 4, 3, 2, 1]
    seen = preview(tmp_path / "odd.csv", settings_from_toml(toml))
    assert with_questions(toml, open_questions([seen])).count(MARK) == 0


def test_the_command_asks_in_the_clinics_own_file_and_changes_nothing_that_holds(tmp_path, capsys):
    (tmp_path / "odd.csv").write_text(ODD, encoding="utf-8")
    mine = '# mine\n[export]\nday_first = true\n\n[words.grade]\n"say \\"ah\\" first" = ""\n'
    (tmp_path / "clinic.toml").write_text(mine, encoding="utf-8")
    assert cli.main(["preview", str(tmp_path / "odd.csv"), "--clinic", str(tmp_path), "--quiet"]) == 0
    written = (tmp_path / "clinic.toml").read_text(encoding="utf-8")
    read, before = settings_from_toml(written), settings_from_toml(mine)
    assert replace(read, words={part: words for part, words in read.words.items() if words}) == before
    assert written.startswith('# mine\n[export]\nday_first = true\n\n[words.grade]\n# ? "wobbly" = ""  # 2 rows\n')
    assert "6 open questions stand in clinic.toml as remarks." in capsys.readouterr().out
    assert cli.main(["preview", str(tmp_path / "odd.csv"), "--clinic", str(tmp_path), "--quiet"]) == 0
    assert (tmp_path / "clinic.toml").read_text(encoding="utf-8") == written
    (tmp_path / "clinic.toml").write_text(accepted(written), encoding="utf-8")
    assert cli.main(["preview", str(tmp_path / "odd.csv"), "--clinic", str(tmp_path), "--quiet"]) == 0
    left = (tmp_path / "clinic.toml").read_text(encoding="utf-8")
    assert MARK not in left
    assert tomllib.loads(left)["words"]["softener"] == {"magic": "", "magic, spice": ""}


def test_a_column_that_nothing_suggests_is_never_ignored_by_taking_off_the_marks(tmp_path):
    (tmp_path / "odd.csv").write_text(ODD, encoding="utf-8")
    asked = open_questions([preview(tmp_path / "odd.csv", Settings())])["columns"]
    assert asked[1] == (f'{MARK}"Room" = "?"', f'{MARK}"Chair" = "?"')
    assert asked[0].startswith('for "?" write one of our columns, or "ignore" only where it is not needed')
    settings = settings_from_toml('[columns]\n"Room" = "?"')
    with pytest.raises(
        DataProblem, match=r'"columns\.Room": This column is not named yet\. For the question mark write'
    ):
        preview(tmp_path / "odd.csv", settings)


def test_grades_below_a_strange_heading_are_proposed_as_grades(tmp_path):
    text = "Date,Patient no,Waxiness R,Waxiness L\n1/3/26,1,clear,half full\n2/3/26,2,blocked solid,clear\n"
    (tmp_path / "log.csv").write_text(text, encoding="utf-8")
    seen = preview(tmp_path / "log.csv", Settings())
    assert open_questions([seen])["columns"][1] == (
        f'{MARK}"Waxiness R" = "grade_right"', f'{MARK}"Waxiness L" = "grade_left"',
    )  # fmt: skip


def test_without_a_clinic_folder_the_questions_have_a_file_of_their_own(tmp_path, monkeypatch):
    (tmp_path / "odd.csv").write_text(ODD, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    assert cli.main(["preview", "odd.csv", "--no-write", "--quiet"]) == 0
    assert not Path("clinic_part.toml").exists()
    assert cli.main(["preview", "odd.csv", "--quiet"]) == 0
    Path("clinic_part.toml").write_text(accepted(Path("clinic_part.toml").read_text()), encoding="utf-8")
    assert cli.main(["preview", "odd.csv", "--quiet"]) == 0
    assert MARK not in Path("clinic_part.toml").read_text()


def test_two_files_ask_once(tmp_path):
    (tmp_path / "a.csv").write_text(ODD, encoding="utf-8")
    (tmp_path / "b.csv").write_text(ODD, encoding="utf-8")
    both = open_questions([preview(tmp_path / name, Settings()) for name in ("a.csv", "b.csv")])
    assert both["words.grade"][1][0] == f'{MARK}"wobbly" = ""  # 4 rows'
    assert len(both["columns"][1]) == 2


def test_parts_written_in_another_way_are_left_alone():
    asked = {"words.grade": ("our codes", (f'{MARK}"wobbly" = ""',))}
    mine = '[words]\ngrade = { "bunged" = "clear" }\n'
    merged = with_questions(mine, asked)
    assert tomllib.loads(merged) == tomllib.loads(mine)
    assert f"{MARK}[words.grade]" in merged
    assert with_questions(merged, {}) == mine


def test_headings_that_preview_made_go_when_nothing_is_asked_below_them(tmp_path):
    path = tmp_path / "clinic.toml"
    asked = with_questions("", {"columns": ("ours", (f'{MARK}"Room" = "ignore"',))})
    assert asked.startswith(f"[columns]{ASKED}\n")
    path.write_text(asked, encoding="utf-8")
    assert put_questions(path, []) == "Nothing is open any more."
    assert path.read_text(encoding="utf-8") == ""


def test_a_word_that_may_hold_a_name_is_counted_and_not_written_down(tmp_path):
    text = "Date,Patient name,L wax\n2026-03-02,Orla Fennimore,as Fennimore says\n"
    (tmp_path / "log.csv").write_text(text, encoding="utf-8")
    toml = as_toml(open_questions([preview(tmp_path / "log.csv", Settings())]))
    assert "Fennimore" not in toml
    assert "1 more text" in toml


def test_five_thousand_different_words_are_summed_up(tmp_path):
    rows = "".join(f"2026-03-02,{number},odd {number}\n" for number in range(5000))
    rows += "2026-03-02,x,full\n" * 3 + "2026-03-02,y,occulded\n"
    (tmp_path / "log.csv").write_text(f"Date,Patient no,L wax\n{rows}", encoding="utf-8")
    seen = preview(tmp_path / "log.csv", Settings())
    text = preview_text(seen)
    assert len(seen.words) == 5002
    assert text.count('"odd ') == MOST_OF_A_KIND + MOST_ASKED
    assert "and 4,980 more (4,980 rows): 0 understood, 4,980 not" in text.replace("\n", " ")
    assert '"occulded"' in text
    assert f"and {5000 - MOST_ASKED:,} more words" in text


@pytest.mark.parametrize("path", FILES)
def test_it_reads_well_on_a_screen_of_80_columns(path):
    text = preview_text(preview(path, settings_from_toml(GIVEN[path])))
    assert [line for line in text.splitlines() if len(line) > WIDTH] == []


def test_the_confidence_is_stated(tmp_path):
    (tmp_path / "log.csv").write_text("Date,Patient no,L wax\n2026-03-02,1,occulded\n", encoding="utf-8")
    text = " ".join(preview_text(preview(tmp_path / "log.csv", Settings())).split())
    assert "at least 80% of its letters" in text
    assert "fully_occluding (guessed, 88% alike)" in text
