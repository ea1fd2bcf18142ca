"""Words can be read: contrast at least 4.5 to 1 on paper and in the dark, marks at least 2 to 1.

The contrast ratio is that of the Web Content Accessibility Guidelines 2.2,
success criterion 1.4.3 (W3C Recommendation, 2023).
"""

import pytest

from analysis.present import theme


def luminance(colour):
    channels = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    linear = [each / 12.92 if each <= 0.04045 else ((each + 0.055) / 1.055) ** 2.4 for each in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    low, high = sorted([luminance(one), luminance(other)])
    return (high + 0.05) / (low + 0.05)


MARKS = [theme.RECOMMENDED, theme.TODAY, *theme.NAMED, *theme.GRADE_BLUES.values()]


def test_contrast_of_black_on_white_is_as_published():
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


@pytest.mark.parametrize("mark", [theme.INK, theme.QUIET, *MARKS])
def test_words_can_be_read(mark):
    words = theme.lettering(mark)
    assert contrast(words, theme.PAPER) >= 4.5
    assert contrast(theme.DARK[words], theme.DARK[theme.PAPER]) >= 4.5


@pytest.mark.parametrize("mark", [theme.RECOMMENDED, theme.TODAY, theme.GRADE_BLUES["partly_occluding"]])
def test_marks_that_carry_an_answer_stand_out(mark):
    assert contrast(mark, theme.PAPER) >= 3
    assert contrast(theme.DARK[mark], theme.DARK[theme.PAPER]) >= 3


def test_grades_stay_ordered_in_both_schemes():
    light = [contrast(colour, theme.PAPER) for colour in theme.GRADE_BLUES.values()]
    dark = [contrast(theme.DARK[colour], theme.DARK[theme.PAPER]) for colour in theme.GRADE_BLUES.values()]
    assert light == sorted(light)
    assert dark == sorted(dark)
