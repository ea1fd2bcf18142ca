"""Numbers whose last signs check the others, as national numbers are made."""

from __future__ import annotations

import re

SEPARATORS = re.compile(r"[\s./-]")
LETTERS_OF_23 = "TRWAGMYFPDXBNJZSQVHLCKE"


def is_checked_number(text: str) -> bool:
    """Tell whether a text is a number that its own check digits confirm.

    Four ways of checking that national numbers of many countries use (from memory,
    no source): the remainder by eleven of weighted digits, the doubling of every
    other digit, a two-digit remainder by 97, and a letter for the remainder by 23.
    A number made at random passes each about once in ten times or less, so a
    column counts as such only where most of its values pass.

    Examples
    --------
    >>> [is_checked_number(each) for each in ("943 476 5919", "111222333", "12345678Z", "V-1042", "20260301")]
    [True, True, True, False, False]
    """
    plain = SEPARATORS.sub("", text.strip()).upper()
    if re.fullmatch(r"[XYZ]?\d{7,8}[A-Z]", plain):
        return _letter_of_23(plain)
    if not re.fullmatch(r"\d{9,15}", plain):
        return False
    digits = [int(letter) for letter in plain]
    if len(digits) == 15:
        return _by_97(plain)
    tests = {9: (_by_eleven_down, _doubled), 10: (_by_eleven, _doubled), 11: (_doubled,), 12: (_doubled,)}
    return any(test(digits) for test in tests.get(len(digits), ()))


def _by_eleven(digits: list[int]) -> bool:
    """Check ten digits: weights 10 to 2, and eleven less the remainder is the last."""
    check = 11 - sum(weight * digit for weight, digit in zip(range(10, 1, -1), digits[:9], strict=True)) % 11
    return check % 11 == digits[9]


def _by_eleven_down(digits: list[int]) -> bool:
    """Check nine digits: weights 9 to 2 and less one for the last add up to a multiple of eleven."""
    weights = (9, 8, 7, 6, 5, 4, 3, 2, -1)
    return any(digits) and sum(weight * digit for weight, digit in zip(weights, digits, strict=True)) % 11 == 0


def _doubled(digits: list[int]) -> bool:
    """Check by doubling every other digit from the last but one."""
    total = sum(digits[-1::-2]) + sum(sum(divmod(2 * digit, 10)) for digit in digits[-2::-2])
    return any(digits) and total % 10 == 0


def _by_97(text: str) -> bool:
    """Check the last two digits: 97 less the remainder of the others."""
    return 97 - int(text[:13]) % 97 == int(text[13:])


def _letter_of_23(text: str) -> bool:
    """Check the letter behind eight digits."""
    number = text[:-1].translate(str.maketrans("XYZ", "012"))
    return len(number) == 8 and LETTERS_OF_23[int(number) % 23] == text[-1]
