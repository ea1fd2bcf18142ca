"""Names of what is counted of a quarter's first attempts: wax, methods and their order, findings."""

from __future__ import annotations

from itertools import permutations

from analysis.schema import DEBRIS, METHODS, MIDDLE_EARS

BEGUN = {method: f"begun_with_{method}" for method in METHODS}
THEN = {(first, then): f"{first}_then_{then}" for first, then in permutations(METHODS, 2)}
FOUND = {debris: f"found_{debris}" for debris in DEBRIS}
MIDDLE = {finding: f"middle_ear_{finding}" for finding in MIDDLE_EARS}
IMPACTED, NOT_IMPACTED = "impacted", "not_impacted"
ONE_METHOD, MORE_METHODS = "one_method", "more_methods"
DRUM_UNUSUAL, DRUM_UNSEEN, DRUM_INTACT = "drum_unusual", "drum_unseen", "drum_intact"

CASE_MIX_BASES = {
    **dict.fromkeys((IMPACTED, NOT_IMPACTED), "with_impaction"),
    **dict.fromkeys(FOUND.values(), "with_debris"),
    **dict.fromkeys(BEGUN.values(), "with_method"),
    **dict.fromkeys((ONE_METHOD, MORE_METHODS), "with_method"),
    **dict.fromkeys(THEN.values(), "with_method"),
    **dict.fromkeys((DRUM_INTACT, DRUM_UNUSUAL, DRUM_UNSEEN), "with_drum"),
    **dict.fromkeys(MIDDLE.values(), "with_middle_ear"),
}
"""What each share is of."""
CASE_MIX_SUMS: dict[str, tuple[tuple[str, ...], ...]] = {
    "with_method": (tuple(BEGUN.values()), (ONE_METHOD, MORE_METHODS)),
    MORE_METHODS: (tuple(THEN.values()),),
    "with_debris": (tuple(FOUND.values()),),
    "with_middle_ear": (tuple(MIDDLE.values()),),
    "with_impaction": ((IMPACTED, NOT_IMPACTED),),
    "with_drum": ((DRUM_UNUSUAL, DRUM_UNSEEN, DRUM_INTACT),),
}
"""Which counts make up which."""
