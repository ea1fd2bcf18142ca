"""Free-text notes with names and numbers in them, as people write them in spite of the rules."""

from __future__ import annotations

import numpy as np
import pandas as pd

SHARE_WITH_NOTE = 0.14
SAYINGS = (
    "{forename} says the left is worse",
    "rang {surname}'s daughter on {phone}",
    "£5 off agreed with {forename} {surname}",
    "{forename} prefers mornings; bus from the quay",
    "email {email} the aftercare leaflet",
    "café opposite will take messages for {surname}",
    "anxious about noise",
    "came with a friend",
)


def notes(rng: np.random.Generator, who: pd.DataFrame) -> pd.Series:
    """Write a note on some rows, most naming the patient."""
    saying = rng.integers(0, len(SAYINGS), len(who))
    noted = rng.random(len(who)) < SHARE_WITH_NOTE
    people = zip(who["forename"], who["surname"], who["phone"], who["email"], strict=True)
    texts = [
        SAYINGS[which].format(forename=forename, surname=surname, phone=phone, email=email) if has_one else ""
        for which, has_one, (forename, surname, phone, email) in zip(saying, noted, people, strict=True)
    ]
    return pd.Series(texts, index=who.index, dtype="object")
