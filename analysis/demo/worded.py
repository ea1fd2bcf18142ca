"""Codes put into a system's words."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from analysis.schema import METHOD_JOIN

Words = dict[str, list[str]]


def worded(rng: np.random.Generator, codes: pd.Series, words: Words) -> pd.Series:
    """Write each code in one of its words, the first most often; empty where there is no code."""
    text = pd.Series("", index=codes.index, dtype="object")
    known = codes.astype("object").where(codes.notna(), "")
    draw = rng.random(len(codes))
    for code, choices in words.items():
        here = (known == code).to_numpy()
        weights = 0.55 ** np.arange(len(choices))
        upto = weights.cumsum() / weights.sum()
        picked = np.searchsorted(upto, draw[here], side="right").clip(max=len(choices) - 1)
        text[here] = np.array(choices, dtype=object)[picked]
    return text


def yes_no(rng: np.random.Generator, values: pd.Series, words: Words) -> pd.Series:
    """Write yes and no; empty where neither is recorded."""
    codes = values.astype("object").map({True: "yes", False: "no"})
    return worded(rng, codes, words)


def worded_methods(rng: np.random.Generator, methods: pd.Series, words: Words, steps: Sequence[str]) -> pd.Series:
    """Write sequences of methods, in the system's words and with its stops."""
    parts = methods.fillna("").str.split(METHOD_JOIN)
    first, second = parts.str[0], parts.str[1]
    stop = pd.Series(rng.choice(steps, len(methods)), index=methods.index)
    one, other = worded(rng, first, words), worded(rng, second, words)
    return one.where(second.isna(), one + stop + other)
