"""Read printed numbers back: which of them are figures of ``results.json``, rounded as they are printed."""

import re
from dataclasses import dataclass
from html import unescape

import numpy as np

MONTHS = "January|February|March|April|May|June|July|August|September|October|November|December"
NUMBER = re.compile(r"(?<![\w.,-])\d[\d,]*(?:\.\d+)?%?(?![\w])")
NO_FIGURE = re.compile(
    rf"(?:\d+ (?:and \d+ )?)?(?:{MONTHS}) \d{{4}}\b|\b(?:19|20)\d\d\b|\b\d+ (?:months? )?in (?:10|20|100|1,000)\b"
    r"|practitioner \d+|[Ii]n 1,000\b|in 100\b|\bQ[1-4]\b|all \d questions"
    r"|within \d+ (?:minutes of|days)|(?:under|fewer than) \d+|last \d+ days|shorter than \d+|longer than \d+ minutes|\d+ minutes after"
    r"|\d+ days before to \d+ days after|(?:by|is) \d+ months|\d+, \d+ and (?=\d+ in 10)"
)
"""Days, years, turns of phrase such as 19 in 20, what a practitioner is called, and rules that are part of a measure's name."""
RANGED = re.compile(
    r"(?P<value>\d[\d,]*(?:\.\d+)?)(?P<percent>%?)[^().;:\d]{0,60}\((?:between )?(?P<low>\d[\d,]*(?:\.\d+)?)%?(?: (?:more|fewer|less))?"
    r" (?:and|to) (?P<high>\d[\d,]*(?:\.\d+)?)%?"
)
"""A figure with its range."""
SCALES = (1.0, 100.0, 1000.0)
EDGE = 1 + 1e-9


def words_of(markup):
    """Take the words of a part of the page, block by block; a chart's text alternative is one."""
    told = re.findall(r'aria-label="([^"]*)"', markup)
    blocks = re.split(r"</?(?:p|li|h2|h3|td|th|figcaption|summary|dt|dd|br)[^>]*>", markup)
    return [unescape(re.sub(r"<[^>]+>", "", each)).strip() for each in (*blocks, *told)]


@dataclass(frozen=True)
class Held:
    """The numbers of result rows: shares and their differences, ratios, and all that is said as it is."""

    shares: np.ndarray
    ratios: np.ndarray
    others: np.ndarray


def figures_of(rows):
    """Sort the numbers of result rows by how they are said."""
    kinds = {"share": [], "ratio": [], "other": []}
    for row in rows:
        ends = [float(row[name]) for name in ("value", "low", "high") if row[name] is not None]
        # A number that is only repeated may be either.
        for kind in (
            ("share", "other") if row["section"] == "page" else (row["unit"] if row["unit"] in kinds else "other",)
        ):
            kinds[kind] += ends
        kinds["share"] += [row["level"]] if row["level"] else []
        kinds["other"] += [float(row["n"])] if row["n"] is not None else []
        kinds["other"] += (
            [row["value"] * row["n"]] if row["unit"] == "share" and row["value"] is not None and row["n"] else []
        )
        named = [
            float(each)
            for each in row["group"].values()
            if isinstance(each, int | float) and not isinstance(each, bool)
        ]
        kinds["share" if named and max(named) <= 1 else "other"] += named
    return Held(*(np.abs(np.array(kinds[kind])) for kind in ("share", "ratio", "other")))


def is_held(token, held, text):
    """Whether a printed number is one of the figures, rounded as it is printed; so many in 100 where the text says so."""
    plain = token.rstrip("%").replace(",", "")
    half = 0.5 * 10.0 ** -len(plain.partition(".")[2]) * EDGE
    cell = re.fullmatch(r"[^\w]*[\d,.]+", text) is not None
    if token.endswith("%"):
        meant = [100 * held.shares, 100 * np.abs(1 - held.shares), 100 * np.abs(1 - held.ratios)]
    else:
        meant = [held.others, held.ratios]
        meant += [100 * held.shares] if cell or "in 100" in text or " 100 " in text else []
        meant += [1000 * held.shares] if cell or "1,000" in text else []
        meant += [10 * held.shares] if "in 10 " in text or "in 10" in text else []
    return any(bool((np.abs(each - float(plain)) <= half).any()) for each in meant)


def strange(text, held):
    """List the numbers of a text that are none of the figures."""
    return [token for token in NUMBER.findall(NO_FIGURE.sub(" ", text)) if not is_held(token, held, text)]
