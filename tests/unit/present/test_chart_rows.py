"""Rows of a chart stand in groups, clear of each other, and break before they meet their figures."""

from itertools import pairwise

from analysis.present.chart_rows import HEADING_HEIGHT, LINE_HEIGHT, MARK_ABOVE_END, ROW_HEIGHT, laid_rows


def laid(*labels, beside="18 minutes"):
    return laid_rows(labels, [beside] * len(labels))


def test_neighbours_that_begin_alike_stand_under_one_heading():
    rows, height = laid("Missed, this quarter", "Missed, a year before", "New, this quarter")
    assert [(row.heading, row.label) for row in rows] == [
        ("Missed", "this quarter"),
        ("", "a year before"),
        ("", "New, this quarter"),
    ]
    assert height == HEADING_HEIGHT + 3 * ROW_HEIGHT


def test_what_begins_alike_further_down_is_a_group_of_its_own():
    rows, _ = laid("A, one", "B, one", "A, two")
    assert [row.heading for row in rows] == ["", "", ""]


def test_the_last_comma_parts_what_is_shared_from_the_rest():
    rows, _ = laid("wax, hard, left", "wax, hard, right")
    assert [(row.heading, row.label) for row in rows] == [("wax, hard", "left"), ("", "right")]


def test_a_long_label_is_broken_and_its_row_is_higher():
    rows, height = laid("a return with symptoms at another site")
    assert rows[0].label.count("<br>") == 1
    assert height == ROW_HEIGHT + LINE_HEIGHT
    assert rows[0].place == height - MARK_ABOVE_END


def test_marks_stand_a_row_apart():
    rows, _ = laid("A, one", "A, two", "B, one", "B, two", "a return with symptoms at another site")
    gaps = [below.place - above.place for above, below in pairwise(rows)]
    assert min(gaps) >= ROW_HEIGHT
    assert all(row.heading_place < row.place - ROW_HEIGHT / 2 for row in rows)


def test_names_from_the_log_are_not_markup():
    rows, _ = laid("<b>North</b>, left", "<b>North</b>, right")
    assert rows[0].heading == "&lt;b&gt;North&lt;/b&gt;"
