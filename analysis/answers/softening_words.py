"""How softening's figures are said: differences, numbers needed, what was left out, what must be true."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from analysis.models.case_mix import FEWEST_IN_LEVEL
from analysis.models.softening import AsAdvised, SofteningFit
from analysis.present import words
from analysis.present.answer import INFORMATION, Check
from analysis.problems import NotEnough
from analysis.stats.effects import BENEFIT, UNCLEAR, NumberNeeded, e_value, mean_difference, risk_ratio
from analysis.stats.estimate import Estimate

AS_THEY_ARE, LIKE_WITH_LIKE = "as they are", "like with like"
ESTIMATORS = {"unadjusted": AS_THEY_ARE, "standardised": LIKE_WITH_LIKE}
ARMS = {"advised": "softening advised", "used": "softening used"}

FACTS = {
    "ears_worked": "number of ears",
    "grade": "grade",
    "impacted": "impaction",
    "debris": "what was found",
    "canal": "canal",
    "age_band": "age",
    "hearing_aid": "hearing aid",
    "booking_kind": "kind of booking",
    "practitioner": "practitioner",
}
LEFT_OUT = {
    "later_attempt": "later attempts at the same ear",
    "too_recent": "too recent to know whether another attempt follows",
    "grade_not_recorded": "without a grade",
    "not_occluding": "not graded partly or fully occluding",
    "contraindicated": "with an operated canal, a perforation or an abnormal eardrum",
    "outcome_not_recorded": "without a recorded outcome",
    "minutes_not_measured": "without measured minutes (filled from the slot, implausible or missing)",
}
CAUTIONS = (
    "Usual reasons against drops or oil: a perforation or a suspected one, grommets, recent ear surgery, infection or "
    "dermatitis of the ear canal, and for some oils a nut or peanut allergy (common practice, no source). Local protocol "
    "and licensed practice decide.",
    "Usual reasons against irrigation: a perforation or a suspected one, grommets, ear surgery, infection or dermatitis of "
    "the ear canal, an only hearing ear, trouble after irrigation before, and a patient who cannot keep still (common "
    "practice, no source). Usual reasons against suction, or for special care with it: recent ear surgery, a painful or "
    "infected canal, an only hearing ear, dizziness at suction, distress at its noise, and a patient who cannot keep still "
    "(common practice, no source). Local protocol and licensed practice decide on both.",
    "These are figures of groups, never advice for one patient.",
)


PROTECTED_MINUTES = (
    "Minutes saved at the ear are no reason to cut the time for consent, history, looking, aftercare and cleaning."
)


def headline(fit: SofteningFit, difference: Estimate, figure: str, of_what: str) -> str:
    """Give the one sentence that answers, with figure, range and period."""
    period = words.months(fit.first_day, fit.last_day)
    if difference.excludes_zero:
        return f"{ARMS[fit.contrast].capitalize()} went with {figure}, comparing like with like, {period}."
    return (
        f"It is not clear that {ARMS[fit.contrast]} changes {of_what}: comparing like with like, "
        f"it went with {figure}, {period}."
    )


def how_sure(fit: SofteningFit, first: str = "") -> str:
    """Say what the range means and what it leaves out."""
    kept_out = f"They leave out what nobody wrote down: anything that steered both {ARMS[fit.contrast]} and the result."
    return f"{first} {words.how_sure(fit.level)} {kept_out}".strip()


def title(fit: SofteningFit, scale: float, short: Callable[[Estimate], str]) -> str:
    """Say beside each other what the groups show like with like and as they are."""
    alike, plain = (
        short(difference) if difference.excludes_zero else "no clear difference"
        for difference in (_difference(fit, "standardised", scale), _difference(fit, "unadjusted", scale))
    )
    return f"{ARMS[fit.contrast].capitalize()} went with {alike} like with like, and with {plain} as the groups are"


def _difference(fit: SofteningFit, estimator: str, scale: float) -> Estimate:
    """Give one comparison's difference in the unit it is said in."""
    return mean_difference(fit.arms[estimator], fit.level).scaled(scale)


def left_out(fit: SofteningFit) -> dict[str, int]:
    """Say why rows were left out, and how many."""
    return left_out_of(fit.left_out, fit.contrast)


def left_out_of(reasons: dict[str, int], contrast: str) -> dict[str, int]:
    """Say reason codes in words."""
    said = LEFT_OUT | {"arm_not_recorded": f"where nothing says whether softening was {contrast}"}
    return {said[reason]: many for reason, many in reasons.items()}


def spoken(estimate: Estimate, more: str, less: str, least_decimals: int = 0) -> tuple[str, str]:
    """Say the size of a difference, and its range with sides named where it lies on both.

    A decimal is added where an end of a clear range would read as nought; no more than one, as the charts have.

    Examples
    --------
    >>> spoken(Estimate(6.2, 3.1, 9.3, 0.95, 80, ""), "more", "fewer")
    ('6', 'between 3 and 9')
    >>> spoken(Estimate(-6.2, -9.3, -0.3, 0.95, 80, ""), "more", "fewer")
    ('6.2', 'between 0.3 and 9.3')
    >>> spoken(Estimate(1.2, -3.1, 5.4, 0.95, 80, ""), "more", "fewer")
    ('1', 'between 3 fewer and 5 more')
    >>> spoken(Estimate(0.384, 0.001, 0.767, 0.95, 80, ""), "less", "more", least_decimals=1)
    ('0.4', 'between 0.0 and 0.8')
    """
    sizes = [abs(each) for each in (estimate.value, estimate.low, estimate.high)]
    reads_nought = estimate.excludes_zero and round(min(sizes), least_decimals) == 0
    decimals = max(least_decimals, 1) if reads_nought else least_decimals
    value, low, high = (words.number(size, decimals) for size in sizes)
    if not estimate.excludes_zero:
        return value, f"between {low} {less} and {high} {more}"
    return value, f"between {low} and {high}" if estimate.value > 0 else f"between {high} and {low}"


def short_successes(difference: Estimate) -> str:
    """Say a difference of shares in successes of 100, without its range.

    Examples
    --------
    >>> short_successes(Estimate(0.012, 0.005, 0.019, 0.95, 80, ""))
    '1.2 more successes in 100'
    """
    hundreds = difference.scaled(100)
    value, _ = spoken(hundreds, "more", "fewer")
    return f"{value} {_side(hundreds, 'more', 'fewer')} {'success' if value == '1' else 'successes'} in 100"


def more_successes(difference: Estimate) -> str:
    """Say a difference of shares, with its range, in successes of 100.

    Examples
    --------
    >>> more_successes(Estimate(-0.062, -0.093, -0.031, 0.95, 80, ""))
    '6 fewer successes in 100 first attempts (between 3 and 9)'
    """
    _, ends = spoken(difference.scaled(100), "more", "fewer")
    return f"{short_successes(difference)} first attempts ({ends})"


def short_minutes(saved: Estimate) -> str:
    """Say minutes saved, without their range.

    Examples
    --------
    >>> short_minutes(Estimate(-1.24, -2.79, -0.31, 0.95, 80, ""))
    '1.2 minutes more a visit'
    """
    value, _ = spoken(saved, "less", "more", least_decimals=1)
    return f"{value} minutes {_side(saved, 'less', 'more')} a visit"


def fewer_minutes(saved: Estimate) -> str:
    """Say minutes saved, with their range.

    Examples
    --------
    >>> fewer_minutes(Estimate(1.24, -0.31, 2.79, 0.95, 80, ""))
    '1.2 minutes less a visit (between 0.3 more and 2.8 less)'
    """
    _, ends = spoken(saved, "less", "more", least_decimals=1)
    return f"{short_minutes(saved)} ({ends})"


def _side(estimate: Estimate, more: str, less: str) -> str:
    """Name the side a figure lies on."""
    return more if estimate.value >= 0 else less


def needed_cell(needed: NumberNeeded) -> str:
    """Say a number needed in a table's cell."""
    if needed.form == UNCLEAR:
        return "no clear difference"
    low, high = words.count(needed.low or 0), words.count(needed.high or 0)
    lost = "" if needed.form == BENEFIT else " for one fewer"
    return f"{words.count(needed.value)} ({low} to {high}){lost}"


def needed_sentence(needed: NumberNeeded, contrast: str) -> str:
    """Say how many ears one more success takes, honestly where the range holds none.

    Examples
    --------
    >>> needed_sentence(NumberNeeded("benefit", 16.7, 11.2, 33.0), "advised")
    'That is one more success for about every 17 ears with softening advised (between 11 and 33).'
    """
    ears = f"ears with softening {contrast}"
    if needed.form == UNCLEAR:
        return (
            f"The log fits anything from one more success for every {words.count(needed.benefit_from or 0)} {ears}, "
            f"through no difference at all, to one fewer for every {words.count(needed.harm_from or 0)}."
        )
    what = "one more success" if needed.form == BENEFIT else "one success fewer"
    ends = f"between {words.count(needed.low or 0)} and {words.count(needed.high or 0)}"
    return f"That is {what} for about every {words.count(needed.value)} {ears} ({ends})."


def assumptions(fit: SofteningFit, numbered: bool, days: int | None) -> tuple[str, ...]:
    """Say what would have to be true; ``days`` only where success is the outcome."""
    said = [
        f"The comparison like with like makes both groups alike in {_listed(fit.facts)}. It is right if nothing unrecorded "
        f"made both {ARMS[fit.contrast]} and the result likelier, or less likely.",
        "Grade and what was found are those seen at the visit, after any softening: what softening changed in them is not "
        "credited to it, and ears it cleared altogether are not among those compared.",
    ]
    if days is not None:
        said.append(
            f"Success means clear, or a non-occluding remnant left, and no further attempt on that ear within {words.plural(days, 'day')}."
        )
    if not numbered:
        said.append(
            "The log has no patient numbers: each visit counts as a patient of its own, and a further attempt elsewhere in the log is not seen."
        )
    return tuple(said + _blanks(fit) + _joined(fit))


def _listed(facts: Iterable[str]) -> str:
    """List facts as a person does."""
    return words.joined([FACTS[fact] for fact in facts])


def _blanks(fit: SofteningFit) -> list[str]:
    """Say what was not recorded."""
    said = []
    if fit.mix.unrecorded:
        said.append(
            f"Recorded nowhere, so that the groups could not be made alike in it: {_listed(fit.mix.unrecorded)}."
        )
    some = {fact: many for fact, many in fit.mix.not_recorded.items() if fact not in fit.mix.unrecorded}
    if some:
        facts = words.joined([f"{FACTS[fact]} ({words.count(many)})" for fact, many in some.items()])
        said.append(f"Blanks count as a group of their own, not recorded: {facts}.")
    return said


def _joined(fit: SofteningFit) -> list[str]:
    """Say which rare levels were taken together."""
    if not fit.mix.joined:
        return []
    return [
        f"Groups too rare to stand alone were taken together in {_listed(fit.mix.joined)} (fewer than {FEWEST_IN_LEVEL} of either kind, "
        "or of either result)."
    ]


def success_checks(fit: SofteningFit) -> list[Check]:
    """Say what hangs on adjusting, on the ears left out, on the debris, and on what nobody wrote down."""
    return [
        as_they_are_check(fit, more_successes),
        _variation_check(fit, "contraindicated_kept", "Ears left out as contraindicated", "With them kept in"),
        _variation_check(fit, "debris_not_adjusted", "What was found", "Without making the groups alike in it"),
        _hidden_cause_check(fit),
    ]


def as_they_are_check(fit: SofteningFit, say: Callable[[Estimate], str], scale: float = 1.0) -> Check:
    """Say the difference as it stands beside the one like with like."""
    plain, alike = (say(_difference(fit, name, scale)) for name in ("unadjusted", "standardised"))
    sentence = f"With {ARMS[fit.contrast]}, as the groups are: {plain}. Like with like: {alike}."
    return Check("As they are and like with like", INFORMATION, sentence)


def _variation_check(fit: SofteningFit, variation: str, name: str, how: str) -> Check:
    """Say the figure made otherwise."""
    figure = more_successes(mean_difference(fit.variations[variation], fit.level))
    return Check(name, INFORMATION, f"{how}, the figure is {figure}.")


def _hidden_cause_check(fit: SofteningFit) -> Check:
    """Say how strong an unrecorded cause would have to be."""
    ratio = risk_ratio(fit.arms["standardised"], fit.level)
    hidden = e_value(ratio)
    needed = (
        f"To explain the figure away, something unrecorded would have to make both {ARMS[fit.contrast]} and success "
        f"{words.number(hidden.value, 2)} times as likely, beyond all that is recorded"
    )
    held = f"{words.number(hidden.for_range, 2)} times would bring its range to none"
    ends = held if hidden.for_range > 1 else "its range holds none as it is"
    return Check("An unrecorded cause", INFORMATION, f"{needed}; {ends} (E-value).")


def did_as_advised_checks(did: AsAdvised) -> list[Check]:
    """Say how many softened, advised or not."""
    parts = []
    for share, who in ((did.used_if_advised, "advised to soften"), (did.used_if_not, "not advised")):
        if share is not None:
            parts.append(f"{words.percent(share.value)} of those {who} had done so ({words.between_percent(share)})")
    return (
        [Check("Did as advised", INFORMATION, f"At visits where both are recorded, {'; '.join(parts)}.")]
        if parts
        else []
    )


def not_answered_check(contrast: str, reason: NotEnough) -> Check:
    """Say why one of the two comparisons has no figure."""
    name = ARMS[contrast].capitalize()
    return Check(name, INFORMATION, f"No figure. {reason.why} {reason.record}")
