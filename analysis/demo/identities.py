"""Invented names, birth dates, phone numbers and addresses: what must not get through intake.

Names are made of syllables that belong to no real name; phone numbers lie in
ranges that are kept free for drama in Britain (from memory); mail addresses end
in a domain reserved for examples.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.schema import AGE_BANDS

FORENAME_STARTS = ("Quil", "Zostr", "Vrim", "Thackl", "Ombr", "Yald", "Fenw", "Groth", "Ixm", "Jorv", "Klem", "Nusk", "Plov", "Rhaz", "Skelv", "Twyr")  # fmt: skip
FORENAME_ENDS = ("iwenna", "ambor", "éadric", "uloth", "essaby", "onwick", "aridel", "ystan")
SURNAME_STARTS = ("Brax", "Cromb", "Dulv", "Eskh", "Framp", "Gwelk", "Hixl", "Jarb", "Krund", "Lowz", "Mivv", "Ockl", "Prusk", "Quorn", "Rovv", "Snid", "Trelz", "Ulph", "Vask", "Wexh", "Yorb", "Zimph")  # fmt: skip
SURNAME_ENDS = ("alby", "ottersk", "undane", "ivarch", "ermoth", "ackwell", "ysdorp", "ombry", "eddlow", "anquist")
PHONE_PREFIXES = ("07700 900", "01632 960", "0117 4960", "0161 4960", "0131 4960")
BANDS_FROM = dict(zip(AGE_BANDS, (5, 18, 40, 60, 75), strict=True))
BANDS_TO = dict(zip(AGE_BANDS, (18, 40, 60, 75, 97), strict=True))
STREAM = 11


def identities(visits: pd.DataFrame, seed: int) -> pd.DataFrame:
    """Give every patient of the log a name, a birth date, a phone and an address.

    Parameters
    ----------
    visits : pandas.DataFrame
        The table ``VISITS`` of the invented clinic.
    seed : int

    Returns
    -------
    pandas.DataFrame
        One row a patient, by patient_key: forename, surname, birth_date,
        phone, email. The birth date agrees with every age band of the patient.
    """
    rng = np.random.default_rng([seed, STREAM])
    born = _birth_dates(rng, visits)
    n = len(born)
    forename = np.char.add(rng.choice(FORENAME_STARTS, n), rng.choice(FORENAME_ENDS, n))
    surname = np.char.add(rng.choice(SURNAME_STARTS, n), rng.choice(SURNAME_ENDS, n))
    local = [f"{one}.{other}".lower().replace("é", "e") for one, other in zip(forename, surname, strict=True)]
    numbers = rng.integers(0, 1000, n)
    return pd.DataFrame(
        {
            "forename": forename,
            "surname": surname,
            "birth_date": born.to_numpy(),
            "phone": [
                f"{prefix}{number:03d}" for prefix, number in zip(rng.choice(PHONE_PREFIXES, n), numbers, strict=True)
            ],
            "email": [f"{name}{number}@example.org" for name, number in zip(local, numbers, strict=True)],
        },
        index=born.index,
    )


def _birth_dates(rng: np.random.Generator, visits: pd.DataFrame) -> pd.Series:
    """Draw birth dates that put every visit of a patient into its age band."""
    day = visits["slot_start"].dt.normalize().to_numpy().astype("datetime64[D]")
    band = visits["age_band"].astype("str")
    latest = pd.Series(_years_before(day, band.map(BANDS_FROM).to_numpy()), index=visits["patient_key"])
    earliest = pd.Series(_years_before(day, band.map(BANDS_TO).to_numpy()), index=visits["patient_key"])
    latest, earliest = latest.groupby(level=0).min(), earliest.groupby(level=0).max() + pd.Timedelta(days=1)
    room = np.maximum((latest - earliest).dt.days.to_numpy(), 0)
    return earliest + pd.to_timedelta(np.floor(rng.random(len(room)) * (room + 1)), unit="D")


def _years_before(day: np.ndarray, years: np.ndarray) -> np.ndarray:
    """Go back whole years; 29 February becomes 1 March."""
    month = day.astype("datetime64[M]")
    back = (month - 12 * years.astype(int)).astype("datetime64[D]")
    return (back + (day - month)).astype("datetime64[us]")


def planted_strings(people: pd.DataFrame) -> list[str]:
    """List every text that tells who somebody is, in each way the exports write it."""
    born = people["birth_date"].dt
    texts = [
        people["forename"],
        people["surname"],
        people["phone"],
        people["phone"].str.replace(" ", ""),
        people["email"],
        *(born.strftime(style) for style in BIRTH_STYLES),
    ]
    return sorted(set(pd.concat(texts)))


BIRTH_STYLES = ("%d/%m/%Y", "%Y-%m-%d")
