"""Both ears in one cell."""

import pytest

from analysis.intake.both_ears import Sided, split_sides


@pytest.mark.parametrize(
    ("text", "left", "right"),
    [
        ("L full, R clear", "full", "clear"), ("R: clear; L: full", "full", "clear"), ("both partial", "partial", "partial"),
        ("Left ear full and right ear clear", "full", "clear"), ("bilateral occlusion", "occlusion", "occlusion"),
        ("L&R semi", "semi", "semi"), ("full left", "full", ""), ("full left, clear right", "full", "clear"),
    ],
)  # fmt: skip
def test_cut(text, left, right):
    assert split_sides(text) == Sided(left=left, right=right)


@pytest.mark.parametrize("text", ["semi occ", "left", "both", "full", "wax L full"])
def test_left_whole(text):
    assert split_sides(text) == Sided(rest=text)


def test_wax_left_behind_is_not_the_left_ear():
    assert split_sides("small amount left", may_trail=False) == Sided(rest="small amount left")
