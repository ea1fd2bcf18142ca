"""Does softening first pay: success at the first attempt, and minutes, with it and without."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd

from analysis.answers import softening_figures as show
from analysis.answers import softening_words as say
from analysis.answers.drawn_patients import of_drawn_patients
from analysis.answers.softening_asked import asked_of
from analysis.answers.softening_honesty import doubt_from_other_ears
from analysis.clinic import Clinic
from analysis.models.softening import SofteningFit, did_as_advised, fit_minutes, fit_softening
from analysis.present.answer import Answer, Basis, Check, no_answer
from analysis.problems import NotEnough
from analysis.stats.effects import mean_difference, number_needed

PAY = "Does softening first pay?"
SAVE = "Does softening first save minutes?"
CONTRASTS = ("advised", "used")
Fits = dict[str, SofteningFit]
Refusals = dict[str, NotEnough]


@of_drawn_patients
def does_softening_pay(clinic: Clinic) -> Answer:
    """Say how many more first attempts succeed with softening beforehand.

    Parameters
    ----------
    clinic : Clinic
        The log and its settings; ``softening.second_attempt_days`` says what
        undoes a success, ``softening.fewest_ears`` how many ears are enough.

    Returns
    -------
    Answer
        Softening advised (what a booking message changes) and softening used
        (what the ear received), each as it stands and like with like. The
        headline speaks of advice, or of use where advice is not recorded.
        Rows: ``success_share``, ``risk_difference``, ``risk_ratio``,
        ``number_needed_to_treat``, ``e_value``, ``used_share``, and
        ``other_ears_difference`` where ears on which softening should do
        little show a difference.
    """
    try:
        asked = asked_of(clinic)
    except NotEnough as reason:
        return no_answer(PAY, reason)
    table = asked.table
    days = clinic.settings.softening.second_attempt_days
    fits, refusals = _fitted(
        lambda contrast: fit_softening(
            table,
            contrast=contrast,
            level=clinic.settings.level,
            fewest_ears=clinic.settings.softening.fewest_ears,
            followed_until=asked.followed_until,
        )
    )
    if not fits:
        return no_answer(PAY, refusals["advised"])
    lead = next(iter(fits.values()))
    difference = mean_difference(lead.arms["standardised"], lead.level)
    figure, did = say.more_successes(difference), did_as_advised(table, level=lead.level)
    doubt, doubt_rows = doubt_from_other_ears(asked, lead.contrast)
    return Answer(
        PAY,
        say.headline(lead, difference, figure, "success at the first attempt"),
        how_sure=say.how_sure(lead, say.needed_sentence(number_needed(difference), lead.contrast)),
        table=show.success_table(fits),
        chart=show.difference_chart(fits, 100, "more successes in 100 first attempts with softening"),
        chart_title=say.title(lead, 1, say.short_successes),
        chart_text=show.chart_text(fits, say.more_successes),
        assumptions=say.assumptions(lead, _numbered(table), days),
        cautions=say.CAUTIONS,
        checks=(*say.success_checks(lead), *doubt, *say.did_as_advised_checks(did), *_refusal_checks(refusals)),
        basis=_basis(lead, "ears", "Logistic regression, averaged over the clinic's own case mix; patients clustered."),
        rows=(
            *(row for fit in fits.values() for row in show.success_rows(fit)),
            *doubt_rows,
            *show.did_as_advised_rows(did),
        ),
    )


@of_drawn_patients
def does_softening_save_minutes(clinic: Clinic) -> Answer:
    """Say how many minutes a first-attempt visit is shorter with softening beforehand.

    Parameters
    ----------
    clinic : Clinic
        The log and its settings; ``softening.fewest_ears`` is taken as the
        fewest visits.

    Returns
    -------
    Answer
        Softening advised and softening used, each as it stands and like with
        like. Rows: ``minutes_saved``, ``visit_minutes``.
    """
    try:
        table = asked_of(clinic).table
    except NotEnough as reason:
        return no_answer(SAVE, reason)
    level = clinic.settings.level
    fewest = clinic.settings.softening.fewest_ears
    fits, refusals = _fitted(lambda contrast: fit_minutes(table, contrast=contrast, level=level, fewest_visits=fewest))
    if not fits:
        return no_answer(SAVE, refusals["advised"])
    lead = next(iter(fits.values()))
    saved = mean_difference(lead.arms["standardised"], level).scaled(-1)
    figure = say.fewer_minutes(saved)
    return Answer(
        SAVE,
        say.headline(lead, saved, figure, "the length of a visit"),
        how_sure=say.how_sure(lead),
        table=show.minutes_table(fits),
        chart=show.difference_chart(fits, -1, "minutes saved a visit with softening"),
        chart_title=say.title(lead, -1, say.short_minutes),
        chart_text=show.chart_text(fits, say.fewer_minutes, scale=-1),
        assumptions=say.assumptions(lead, _numbered(table), None),
        cautions=(*say.CAUTIONS, say.PROTECTED_MINUTES),
        checks=(say.as_they_are_check(lead, say.fewer_minutes, -1), *_refusal_checks(refusals)),
        basis=_basis(lead, "visits", "Least squares on both ears' facts; patients clustered."),
        rows=tuple(row for fit in fits.values() for row in show.minutes_rows(fit)),
    )


def _fitted(fit: Callable[[str], SofteningFit]) -> tuple[Fits, Refusals]:
    """Fit both comparisons; keep the reason where one has no figure."""
    fits: Fits = {}
    refusals: Refusals = {}
    for contrast in CONTRASTS:
        try:
            fits[contrast] = fit(contrast)
        except NotEnough as reason:
            refusals[contrast] = reason
    return fits, refusals


def _refusal_checks(refusals: Refusals) -> list[Check]:
    """Say why one of the two comparisons has no figure."""
    return [say.not_answered_check(contrast, reason) for contrast, reason in refusals.items()]


def _numbered(table: pd.DataFrame) -> bool:
    """Say whether the log has patient numbers."""
    return bool(table["patient_key"].notna().any())


def _basis(fit: SofteningFit, of_what: str, method: str) -> Basis:
    """Say what the leading figure rests on."""
    return Basis(fit.rows, of_what, say.left_out(fit), fit.first_day, fit.last_day, method)
