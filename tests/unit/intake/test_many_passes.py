"""Passes of one ear beyond those told apart are counted, not dropped in silence."""

from analysis.intake.passes import MOST_PASSES
from analysis.intake.taking import take_in
from analysis.settings import Settings


def taken(tmp_path, passes):
    path = tmp_path / "log.csv"
    rows = [f"13/03/2026,09:00,11,L,{step},{'hook' if step % 2 else 'suction'}" for step in range(1, passes + 1)]
    path.write_text("\n".join(["Date,Time,Patient no,Ear,Step,Method", *rows]) + "\n", encoding="utf-8")
    return take_in([path], Settings(), b"k" * 32)


def test_more_passes_than_are_told_apart_are_said(tmp_path):
    made = taken(tmp_path, MOST_PASSES + 2)
    assert len(made.ears["methods"].item().split(">")) == MOST_PASSES
    assert any("1 ear has more than 20 passes" in note for note in made.record["notes"])


def test_as_many_as_are_told_apart_are_all_kept(tmp_path):
    made = taken(tmp_path, MOST_PASSES)
    assert len(made.ears["methods"].item().split(">")) == MOST_PASSES
    assert not any("left out" in note for note in made.record["notes"])
