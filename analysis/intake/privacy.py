"""Who a patient is stays out: what identifies, masking, pseudonyms, age bands."""

from __future__ import annotations

import hashlib
import re
import unicodedata
from collections.abc import Callable, Iterable, Mapping

from analysis.intake.check_digits import is_checked_number

HIDDEN = "(hidden)"
MASK = "***"
KEY_BYTES = 32
HASH_BLOCK = 64
PSEUDONYM_LETTERS = 16
ENOUGH = 0.6
"""Share of a column's values that must look alike before the column counts as such."""
LONGEST_SHOWN, LONGEST_LABEL = 60, 200
MOST_LOOKED_AT = 2000
"""Values of a column that are looked at, spread over all."""

EMAIL = re.compile(r"(?<![^\s@,;])[^\s@,;]*@[^\s@,;]+\.[a-z]{2,}", re.IGNORECASE)
WHOLE_PHONE = re.compile(r"(?:\+\d{1,3}[\s().-]?|\(?0)\d[\d\s().-]{7,16}")
WRITTEN_DAY = r"(?:19|20)\d{2}(?:0\d|1[0-2])[0-3]\d\b"
LONG_NUMBER = re.compile(
    rf"(?<![\d/.:-])(?!{WRITTEN_DAY})(?:\+\d[\d ()-]{{7,}}\d|\(?0\d[\d ()-]{{6,}}\d|\d{{3}}[ -]\d{{3}}[ -]\d{{4}}|\d{{6,}})(?![\d:/])"
)
"""Phone and other long numbers; not dates, which must be shown to be mended."""
PLACEHOLDER = re.compile(
    r"0*|x+|9{6,}|unknown|notknown|na|nil|none|null|nan|nk|nr|tbc|tba|tbd|new|newpatient|walkin|nonumber|noid|notgiven|anon(?:ymous)?|missing|pending"
)
"""What is written where there is no patient number, without spaces and signs; taken for a number, all such would be one patient."""
ROUNDED_NUMBER = re.compile(r"\s*\d[.,]\d+[eE]\+?\d+\s*")
"""A long number as a spreadsheet rounds it: many patients then share one."""
GLUED_NUMBER = re.compile(r"[A-Z][a-z]+\d{6,}")
"""The end of a phone number behind a name, where a row was spoilt; staff codes are in capitals or small letters."""
LONG_RUN = re.compile(rf"(?<!\d)(?!{WRITTEN_DAY})\d{{7,}}|(?<=[/.:-])\d{{6,}}")
"""As many digits in a row as no date, time or count has, also glued behind one."""
NATIONAL = re.compile(r"[A-Z]{2} ?\d{2} ?\d{2} ?\d{2} ?[A-D]|\d{7}[A-W][A-I]?")
TEN_DIGITS = re.compile(r"\d{3}[ -]?\d{3}[ -]?\d{4}")
POSTCODE = re.compile(r"(?:\b|(?-i:(?<=[a-z])(?=[A-Z])))[A-Z]{1,2}\d[A-Z\d]? ?\d[A-Z]{2}\b", re.IGNORECASE)
"""Also where a spoilt row glued it to a word: "notesAB1 2CD"."""
TITLED = re.compile(r"\b(?i:mr|mrs|ms|miss|mx|dr|prof|sir|lady|master)\b\.?\s+[\w'\u2019-]+(?:\s+[A-Z][\w'\u2019-]+)?")
NAME = re.compile(
    r"(?:(?:mr|mrs|ms|miss|dr)\.? )?[A-Z][\w'\u2019-]+,? (?:[A-Z]\.? )?(?:[A-Z][\w'\u2019-]+ )*[A-Z][\w'\u2019-]+"
)
STREET = re.compile(
    r"\b\d+[a-z]?,? (?:\w+ ){1,3}(?:street|st|road|rd|lane|ln|avenue|ave|close|drive|way|court|terrace|place|gardens)\b",
    re.IGNORECASE,
)
WHOLE_DATE, SIX_DIGITS = re.compile(r"\b\d{1,4}[./-]\d{1,2}[./-]\d{2,4}\b"), re.compile(r"\d{6,}")
TITLES = frozenset(("mr", "mrs", "ms", "miss", "mx", "dr", "prof", "sir", "lady", "master"))
TEST_PATIENT = re.compile(
    r"\b(?:test(?:ing|er)?|zz+(?:test\w*)?|dummy|training|do not (?:use|book)|demo|fake)\b[\s,._-]*(?:patient|client|person|account|record|one|two|\d+)?",
    re.IGNORECASE,
)
TEST_NUMBER = re.compile(r"(?:test|zz+|dummy|demo)[\w-]*", re.IGNORECASE)
TEST_NUMBER_BEGINS = " tTzZdD"
AGE_BAND_FROM = ((75, "75_and_over"), (60, "60_74"), (40, "40_59"), (18, "18_39"), (0, "under_18"))
OLDEST = 120


def pseudonyms(texts: Iterable[str], key: bytes) -> dict[str, str]:
    """Turn patient numbers into pseudonyms.

    HMAC-SHA-256 under the clinic's own key: the same number gives the same
    pseudonym in every file and year, and without the key nobody can go back
    by trying numbers. Leading zeros, spaces and letter case do not count,
    because spreadsheets drop the first and people vary the others.

    Parameters
    ----------
    texts : iterable of str
        Distinct patient numbers.
    key : bytes
        The clinic's secret.

    Returns
    -------
    dict
        Text to 16 hexadecimal letters; texts without a letter or digit are left out.

    Examples
    --------
    >>> made = pseudonyms(["0042", "42", " 42 ", "A7", "-"], b"secret")
    >>> made["0042"] == made["42"] == made[" 42 "], made["A7"] == made["42"], "-" in made
    (True, False, False)
    """
    plain = {text: number for text in texts if (number := plain_number(text))}
    return dict(zip(plain, keyed("number", plain.values(), key), strict=True))


def named_pseudonyms(names: Mapping[str, str], key: bytes) -> dict[str, str]:
    """Turn names, with birth dates where there are any, into pseudonyms.

    Parameters
    ----------
    names : mapping
        Any text to what identifies: the result of ``identity``.
    key : bytes

    Returns
    -------
    dict
    """
    known = {text: identity for text, identity in names.items() if identity}
    return dict(zip(known, keyed("name", known.values(), key), strict=True))


def keyed(kind: str, texts: Iterable[str], key: bytes) -> list[str]:
    """Hash texts of one kind under a key.

    HMAC as in RFC 2104, spelt out: the two blocks that depend on the key alone
    are hashed once, which halves the time of a million patients; a test holds it
    equal to the library's.

    Parameters
    ----------
    kind : str
        ``number`` or ``name``: equal texts of two kinds are not the same patient.
    texts : iterable of str
    key : bytes

    Returns
    -------
    list of str
        16 hexadecimal letters each.

    Examples
    --------
    >>> keyed("number", ["42"], b"secret") == list(pseudonyms(["0042"], b"secret").values())
    True
    """
    block = (key if len(key) <= HASH_BLOCK else hashlib.sha256(key).digest()).ljust(HASH_BLOCK, b"\0")
    inner = hashlib.sha256(bytes(byte ^ 0x36 for byte in block) + f"{kind}|".encode())
    outer = hashlib.sha256(bytes(byte ^ 0x5C for byte in block))
    made = []
    for text in texts:
        within, around = inner.copy(), outer.copy()
        within.update(text.encode())
        around.update(within.digest())
        made.append(around.hexdigest()[:PSEUDONYM_LETTERS])
    return made


def plain_number(text: str) -> str:
    """Bring a patient number to the form that is compared.

    Examples
    --------
    >>> plain_number(" 00-A7 "), plain_number("417.0"), plain_number("000"), plain_number("n/k"), plain_number("9.43E+09")
    ('a7', '417', '', '', '')
    """
    if ROUNDED_NUMBER.fullmatch(text):
        return ""
    if not (text.isascii() and text.isalnum()):  # most are, and need no search
        text = re.sub(r"[\W_]", "", re.sub(r"\.0+$", "", text.strip()))
    short = text.casefold().lstrip("0")
    return "" if PLACEHOLDER.fullmatch(short) else short


def identity(name: str, birth_day: str = "") -> str:
    """Bring a name to the form in which patients are told apart.

    Titles, order, case, accents and punctuation do not count.

    Examples
    --------
    >>> identity("Mrs. Ann O'Wax", "1950-01-02") == identity("O'WAX, Ann", "1950-01-02")
    True
    >>> identity("Mr.")
    ''
    """
    text = unicodedata.normalize("NFKD", name)
    text = "".join(letter for letter in text if not unicodedata.combining(letter)).casefold()
    words = sorted(
        word
        for word in re.sub(r"['\u2019]", "", text).replace(",", " ").replace(".", " ").split()
        if word not in TITLES
    )
    return f"{' '.join(words)}|{birth_day}" if words else ""


def age_band(years: float) -> str | None:
    """Give the age band of an age in whole years; None for an impossible age.

    Examples
    --------
    >>> age_band(17.9), age_band(18), age_band(75), age_band(-1), age_band(150)
    ('under_18', '18_39', '75_and_over', None, None)
    """
    if not 0 <= years <= OLDEST:
        return None
    return next(band for low, band in AGE_BAND_FROM if years >= low)


def is_test_name(text: str) -> bool:
    """Tell whether a name was made up to try the records system out.

    Examples
    --------
    >>> is_test_name("TEST, Patient"), is_test_name("Zz Test"), is_test_name("Ann Tester-Hill"), is_test_name("Testa, Maria")
    (True, True, False, False)
    """
    words = re.sub(r"[^\w ]", " ", text).strip()
    match = TEST_PATIENT.search(words)
    hyphened = re.search(r"\w-\w", text)
    return match is not None and not hyphened


def is_test_number(text: str) -> bool:
    """Tell whether a patient number was made up to try the records system out.

    Examples
    --------
    >>> is_test_number("TEST01"), is_test_number("ZZ-3"), is_test_number("T-104")
    (True, True, False)
    """
    return text[:1] in TEST_NUMBER_BEGINS and TEST_NUMBER.fullmatch(text.strip()) is not None


def what_it_identifies(texts: Iterable[str]) -> str:
    """Say what a column's values look like, where they look identifying.

    Parameters
    ----------
    texts : iterable of str
        Distinct values.

    Returns
    -------
    str
        ``email addresses``, ``phone numbers``, ``national numbers``, ``postcodes``,
        ``street addresses``, ``names`` or ``free text``; empty where nothing identifies.

    Examples
    --------
    >>> what_it_identifies(["07700 900123", "+44 7700 900456"]), what_it_identifies(["hook", "suction"])
    ('phone numbers', '')
    """
    values = [text for text in texts if text]
    values = values[:: len(values) // MOST_LOOKED_AT + 1]
    if not values:
        return ""
    for label, pattern in (("email addresses", EMAIL), ("street addresses", STREET), ("postcodes", POSTCODE)):
        if _share(values, pattern.search) >= ENOUGH:
            return label
    if _share(values, WHOLE_PHONE.fullmatch) >= ENOUGH:
        return "phone numbers"
    if _share(values, is_checked_number) >= ENOUGH or _share(values, _is_national_number) >= ENOUGH:
        return "national numbers"
    if len(values) >= 3 and _share(values, NAME.fullmatch) >= ENOUGH:
        return "names"
    if _share(values, lambda text: len(text) > LONGEST_SHOWN or len(text.split()) > 6) >= 0.2:
        return "free text"
    return ""


def _share(values: list[str], test: Callable[[str], object]) -> float:
    """Give the share of values that pass a test."""
    return sum(bool(test(value)) for value in values) / len(values)


def _is_national_number(text: str) -> bool:
    """Tell a national number: letters in their places, or ten digits of which the last checks the rest by eleven."""
    if NATIONAL.fullmatch(text):
        return True
    if not TEN_DIGITS.fullmatch(text):
        return False
    digits = [int(letter) for letter in text if letter.isdecimal()]
    check = 11 - sum(weight * digit for weight, digit in zip(range(10, 1, -1), digits[:9], strict=True)) % 11
    return check % 11 == digits[9]


def may_identify(text: str) -> bool:
    """Tell whether a single value of a column kept as text could tell who a patient is.

    Examples
    --------
    >>> may_identify("07700 900123"), may_identify("ann@example.org"), may_identify("V-1042")
    (True, True, False)
    """
    return bool(EMAIL.search(text) or WHOLE_PHONE.fullmatch(text) or _is_national_number(text))


def lone_person(text: str) -> bool:
    """Tell whether what stands in few rows as a site is a patient's address, name, number or birth date, as after a home visit.

    Examples
    --------
    >>> lone_person("7 Quarry Lane"), lone_person("Mrs Hill"), lone_person("QP7731999"), lone_person("04/05/1948")
    (True, True, True, True)
    >>> lone_person("North room"), lone_person("Hill Street"), lone_person("Site 2")
    (False, False, False)
    """
    return any(pattern.search(text) for pattern in (STREET, POSTCODE, TITLED, WHOLE_DATE, SIX_DIGITS)) or "@" in text


def no_name_of(column: str, text: str) -> bool:
    """Tell whether a cell can be no practitioner or site, because a phone, mail or street address stands in it.

    A spoilt row moves such cells there. A site may be called after its street.

    Examples
    --------
    >>> no_name_of("practitioner", "ring 07700 900123"), no_name_of("practitioner", "7 Hill Lane"), no_name_of("site", "7 Hill Lane")
    (True, True, False)
    >>> no_name_of("practitioner", "Ash"), no_name_of("practitioner", "AUD012345"), no_name_of("practitioner", "Ash900123")
    (False, False, True)
    """
    if len(text) > LONGEST_LABEL or may_identify(text) or WHOLE_PHONE.search(text):
        return True
    return bool(GLUED_NUMBER.search(text)) or (column != "site" and tells_who(text))


def tells_who(text: str) -> bool:
    """Tell whether a phone, a mail or a street address stands anywhere in a text; a whole story counts as one.

    Examples
    --------
    >>> tells_who("7 Quarry Lane, near the mill"), tells_who("L wax")
    (True, False)
    """
    if len(text) > LONGEST_LABEL:  # searching it would take long, and no label is that long
        return True
    return any(pattern.search(text) for pattern in (EMAIL, WHOLE_PHONE, STREET, POSTCODE))


def name_words(texts: Iterable[str]) -> frozenset[str]:
    """Collect the single words of names, so that they can be masked wherever they turn up.

    Examples
    --------
    >>> sorted(name_words(["Dr Ann O'Wax", "Hill, Jo"]))
    ['ann', 'hill', "o'wax"]
    """
    words = (word for text in texts for word in re.findall(r"[^\W\d_][\w'\u2019-]*", text.casefold()))
    return frozenset(word for word in words if len(word) >= 3 and word not in TITLES)


def safe_to_show(text: str, names: frozenset[str] = frozenset()) -> str:
    """Mask what could tell who a patient is in a text that must be shown.

    Emails, phone and other long numbers, street addresses, postcodes, titles with names and every
    word of a patient's name in the same files are masked; a long text is free
    text and is hidden whole.

    Parameters
    ----------
    text : str
    names : frozenset of str, optional
        Words of patients' names, from ``name_words``.

    Returns
    -------
    str

    Examples
    --------
    >>> safe_to_show("cleared, Mrs Hill happy"), safe_to_show("call 07700 900123"), safe_to_show("2/3 blocked")
    ('cleared, *** happy', 'call ***', '2/3 blocked')
    """
    if len(text) > LONGEST_SHOWN:
        return HIDDEN
    for pattern in (EMAIL, TITLED, STREET, POSTCODE, LONG_NUMBER, LONG_RUN):
        text = pattern.sub(MASK, text)
    if names:
        text = re.sub(r"[^\W\d_][\w'\u2019-]*", lambda match: MASK if match[0].casefold() in names else match[0], text)
    return text
