"""How grades, impaction, methods and findings of first attempts are called."""

from __future__ import annotations

from analysis.models.case_mix_names import (
    BEGUN,
    DRUM_INTACT,
    DRUM_UNSEEN,
    DRUM_UNUSUAL,
    FOUND,
    IMPACTED,
    MIDDLE,
    MORE_METHODS,
    NOT_IMPACTED,
    ONE_METHOD,
    THEN,
)
from analysis.schema import DEBRIS, METHODS, MIDDLE_EARS

CASE_MIX = {
    IMPACTED: "impacted",
    NOT_IMPACTED: "not impacted",
    **{name: f"found: {DEBRIS[debris]}" for debris, name in FOUND.items()},
    **{name: f"begun with {METHODS[method]}" for method, name in BEGUN.items()},
    ONE_METHOD: "one method only",
    MORE_METHODS: "went on to a second method",
    **{name: f"{METHODS[first]}, then {METHODS[then]}" for (first, then), name in THEN.items()},
    DRUM_INTACT: "drum seen, intact",
    DRUM_UNUSUAL: "drum seen, abnormal",
    DRUM_UNSEEN: "drum not seen",
    **{name: f"middle ear: {MIDDLE_EARS[finding]}" for finding, name in MIDDLE.items()},
}
ASSUMPTIONS = (
    "Grade and impaction as first seen; methods in the order they were written down. A later method follows from what the "
    "first one met, so a sequence says what was done, never which method works better.",
    "What was found is what was written down; who wrote nothing may have seen something.",
    "Two ears of one patient tend to go together; ranges are widened for it.",
)
CAUTIONS = (
    "Which method suits an ear is for local protocols and licensed practice, never for a share.",
    "A finding counted here is no diagnosis, and no count replaces what follows for that patient.",
)
