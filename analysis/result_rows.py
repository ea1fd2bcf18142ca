"""What each row of ``results.json`` means: section, quantity, group keys and unit."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Quantity:
    """One quantity of the results: the keys of its group in alphabetical order, its unit, and what it means."""

    section: str
    name: str
    keys: tuple[str, ...]
    unit: str
    meaning: str


_BY_ESTIMATOR = ("contrast", "estimator")

QUANTITIES = (
    Quantity("intake", "rows_in", (), "rows", "rows read from the exports"),
    Quantity("intake", "rows_kept", (), "rows", "rows used"),
    Quantity("intake", "rows_set_aside", (), "rows", "rows that could not be used; with those kept they make up those read"),
    Quantity("intake", "rows_set_aside_by_reason", ("reason",), "rows", "the same by reason, in plain words"),
    Quantity("intake", "fact_recorded", ("fact",), "share", "share of the rows concerned that have the fact (a column's name); for minutes, timed or rounded ones"),
    Quantity("intake", "minutes_quality", ("quality",), "share", "share of attended visits whose minutes are known in this way"),
    Quantity("intake", "minutes_quality_by_export", ("export", "quality"), "share", "the same for the visits of one export, which is called by the days of its bookings"),
    Quantity("intake", "minutes_quality_by_practitioner", ("practitioner", "quality"), "share", "the same for one practitioner's visits (by number, unless the clinic shows names)"),
    Quantity("visit_time", "overhead_minutes", (), "minutes", "minutes of a visit before any ear is worked on"),
    Quantity("visit_time", "added_minutes", ("grade", "method"), "minutes", "minutes an ear adds, by its grade as first seen and the first method"),
    Quantity("visit_time", "minutes_quantile", ("booking", "q"), "minutes", "minutes that this share (q) of the visits of a kind of booking stay within"),
    Quantity("visit_time", "coverage_held_out", ("q",), "share", "share of later visits within the minutes foretold from the log before them; should be near q"),
    Quantity("visit_time", "held_out_loss", ("form", "practitioners"), "minutes", "mean pinball loss at 0.5, 0.8 and 0.9 on later visits of one way of foretelling; its range is that of the difference from the least loss, added to the least"),
    Quantity("visit_time", "coverage_by_category", ("booking", "q"), "share", "share of later visits of a booking category (or all) within the minutes the log before them gave for q; should be near q"),
    Quantity("visit_time", "coverage_by_month", ("month", "q"), "share", "the same by month; low and high are the limits that 99 in 100 months keep within by chance"),
    Quantity("visit_time", "calibrated_minutes", ("booking", "q"), "minutes", "minutes that this share (q) of a booking category's visits stay within, put right on the latest quarter of the log"),
    Quantity("visit_time", "pooled_minutes", ("grade", "method"), "minutes", "minutes an ear adds, a sparse grade and first method drawn towards its grade"),
    Quantity("visit_time", "fact_minutes", ("fact", "of"), "minutes", "minutes that go with a fact of an ear or a visit, beyond its grade and first method"),
    Quantity("visit_time", "practitioner_minutes", ("practitioner",), "minutes", "minutes more than the log's average practitioner for the same ears (by number, unless the clinic shows names); none under 30 visits"),
    Quantity("visit_time", "path_share", ("first", "then"), "share", "share of the ears begun with a method that went on to another; then without a name is nothing else"),
    Quantity("visit_time", "path_minutes", ("first", "then"), "minutes", "minutes an ear of that path adds, all paths on the same mix of grades"),
    Quantity("visit_time", "went_on_share", ("grade", "then"), "share", "share of the ears of a grade begun with fine suction that went on to a method"),
    Quantity("visit_time", "minutes_to_clear", ("ears", "fullest", "q"), "minutes", "minutes within which this share (q) of visits have cleared their occluding ears, were none stopped before"),
    Quantity("visit_time", "minutes_in_chair", ("ears", "fullest", "q"), "minutes", "minutes within which this share (q) of the same visits are over"),
    Quantity("visit_time", "heaping_index", ("by", "part"), "ratio", "times as often as by chance that minutes are multiples of five, over all, by practitioner or by export; 1 is chance, 5 is always"),
    Quantity("visit_time", "filled_visits", ("by", "part"), "visits", "attended visits left out because their end was copied from the slot"),
    Quantity("visit_time", "minutes_as_recorded", ("q", "taken"), "minutes", "minutes that this share (q) of visits stay within, with rounded minutes taken as_written or as_intervals"),
    Quantity("slots", "slot_minutes", ("booking", "policy"), "minutes", "minutes to book for a kind of booking; policy is current or recommended"),
    Quantity("slots", "on_time_share", ("policy",), "share", "share of patients called within 5 minutes of their slot, or of arriving if later"),
    Quantity("slots", "mean_wait_minutes", ("policy",), "minutes", "mean wait from the slot, or from arriving if later"),
    Quantity("slots", "overtime_minutes", ("policy",), "minutes", "minutes a session runs over, on average"),
    Quantity("slots", "idle_minutes", ("policy",), "minutes", "minutes a session's room stands ready with nobody in it, on average"),
    Quantity("slots", "patients_per_session", ("policy",), "patients", "patients seen in a full half-day session, on average"),
    Quantity("slots", "on_time_share_difference", ("contrast",), "share", "the same, recommended less current"),
    Quantity("slots", "mean_wait_minutes_difference", ("contrast",), "minutes", "the same, recommended less current"),
    Quantity("slots", "overtime_minutes_difference", ("contrast",), "minutes", "the same, recommended less current"),
    Quantity("slots", "idle_minutes_difference", ("contrast",), "minutes", "the same, recommended less current"),
    Quantity("slots", "patients_per_session_difference", ("contrast",), "patients", "the same, recommended less current"),
    Quantity("softening", "success_share", ("arm", *_BY_ESTIMATOR), "share", "share of first attempts that succeeded; arm is softened or not_softened"),
    Quantity("softening", "risk_difference", _BY_ESTIMATOR, "share", "success share softened less not softened; contrast is advised or used, estimator unadjusted (as they are), standardised (like with like), weighted, overlap_weighted or doubly_robust"),
    Quantity("softening", "risk_ratio", _BY_ESTIMATOR, "ratio", "success share softened over not softened"),
    Quantity("softening", "number_needed_to_treat", (*_BY_ESTIMATOR, "form", "side"), "ears", "ears to soften for one more (benefit) or one fewer (harm) success; without a clear difference one row a side, running to infinity"),
    Quantity("softening", "e_value", _BY_ESTIMATOR, "ratio", "how strongly an unrecorded fact would have to be tied to softening and to success to explain the difference away; low is that of the range's end nearest 1"),
    Quantity("softening", "used_share", ("advised",), "share", "share of visits at which softening had been used, by whether it was advised"),
    Quantity("softening", "visit_minutes", ("arm", *_BY_ESTIMATOR), "minutes", "mean minutes in the chair of a first-attempt visit"),
    Quantity("softening", "minutes_saved", _BY_ESTIMATOR, "minutes", "minutes not softened less softened; negative is longer"),
    Quantity("softening", "pooled_risk_ratio", ("evidence",), "ratio", "share cleared, first named over second, in the published studies of one question, pooled where there are several"),
    Quantity("softening", "combined_risk_ratio", ("evidence",), "ratio", "the clinic's own ratio on use counted together with published trials at the set weight; only where that is above 0"),
    Quantity("softening", "worth", ("item",), "money", "worth of advising 100 bookings to soften, at the set prices; item is all or a part of it, a cost below 0"),
    Quantity("softening", "worth_amount", ("item",), "in 100 bookings", "visits avoided, minutes saved, people who use an agent because of the advice, days they wait, discomforts fewer"),
    Quantity("softening", "break_even_price", (), "money", "worth of a visit at which advising pays for itself"),
    Quantity("softening", "chance_worth", (), "share", "how likely advising is worth more than it costs, over the uncertainty of the figures"),
    Quantity("softening", "periods_needed", ("difference", "power", "unit"), "periods", "weeks (or days) a fair test of advice needs"),
    Quantity("softening", "correlation", ("within",), "share", "how alike two ears of a patient, or ears of different patients in the same week (or day), end"),
    Quantity("softening", "test_difference", (), "share", "success share in periods with advice less without, in a test that ran"),
    Quantity("softening", "test_p_value", (), "share", "how often so large a difference comes of the random list alone"),
    Quantity("softening", "saved_per_100_patients", ("contrast", "estimator", "outcome"), "per 100", "second visits, minutes or visits with an event that softening spares in 100 first-attempt visits"),
    Quantity("softening", "risk_difference_in_group", ("contrast", "fact", "level"), "share", "the difference, like with like, among ears of one grade, or impacted or not"),
    Quantity("softening", "difference_between_groups", ("contrast", "fact"), "share", "the second group's difference less the first's"),
    Quantity("softening", "agent_success_share", ("agent",), "share", "success share had all softened ears compared had this agent"),
    Quantity("softening", "agent_difference", ("agent", "other_agent"), "share", "the first agent's share less the second's; ranges hold for all pairs together"),
    Quantity("softening", "success_share_by_days", ("days",), "share", "success share had all ears compared been softened for so many days"),
    Quantity("softening", "longer_less_shorter_days", ("days", "other_days"), "share", "that share at the longer days less that at the shorter"),
    Quantity("softening", "standardised_difference", ("contrast", "fact", "weighting"), "", "how far apart both groups are in a fact, in spreads: the largest over its levels"),
    Quantity("softening", "effective_ears", ("arm", "contrast", "weighting"), "ears", "how many equally weighted ears the weighted ones are worth"),
    Quantity("softening", "shared_ground_share", ("contrast",), "share", "how far the groups' spreads of chances of softening lie over each other"),
    Quantity("softening", "other_ears_difference", ("contrast", "which_ears"), "share", "the difference on ears that were not occluding (beside an occluding one at the same visit, or all where those are too few), where softening should do little"),
    Quantity("softening", "ears_needed", ("contrast", "points"), "ears", "ears of both groups together that show a difference of so many points of 100 in 8 logs of 10"),
    Quantity("recall", "weibull_shape", (), "", "shape of the curve; above 1 the chance of occluding again grows with time"),
    Quantity("recall", "return_share", (), "share", "share of patients who come back at all after the log first clears an ear of theirs"),
    Quantity("recall", "median_months", ("group",), "months", "months until half of the group's ears are occluding again"),
    Quantity("recall", "months_until_share_occluded", ("group", "share"), "months", "months until that share is occluding again"),
    Quantity("recall", "months_until_share_occluded_if_all_return", ("group", "share"), "months", "the same, were no patient gone for good"),
    Quantity("recall", "recall_months", ("group",), "months", "recommended recall, in whole months, rounded down"),
    Quantity("recall", "share_occluded_today", ("group", "months"), "share", "share occluding again at today's recall interval"),
    Quantity("demand", "visits", ("kind", "month"), "visits", "attended visits expected; kind is a kind of booking or all; one row a level of range"),
    Quantity("demand", "bookings", ("month",), "bookings", "bookings expected, with missed and cancelled ones"),
    Quantity("demand", "expected_visits", ("month", "part"), "visits", "expected visits by where they come from: known patients, later returns, new patients, not seen before"),
    Quantity("demand", "sessions_needed", ("month",), "sessions", "half-day sessions that hold the expected bookings"),
    Quantity("demand", "sessions_of_chair_time", ("month",), "sessions", "half-day sessions of minutes in the chair alone"),
    Quantity("demand", "second_attempt_share", (), "share", "share of known patients' visits followed by a second attempt within the set days"),
    Quantity("demand", "backtest_coverage", ("level",), "share", "share of past months within the range said a month ahead; should be near the level"),
    Quantity("demand", "backtest_scaled_error", ("against",), "ratio", "size of past misses against a simple method's; below 1 is better"),
    Quantity("quarter", "count", ("measure", "part", "period"), "count", "bookings, visits or first attempts; part is all, a site or a practitioner (by number, unless the clinic shows names); a hidden count has no value"),
    Quantity("quarter", "share", ("measure", "part", "period"), "share", "the same as a share"),
    Quantity("quarter", "difference_of_shares", ("against", "measure", "part"), "share", "this quarter's share less that of an earlier quarter"),
    Quantity("quarter", "ratio_of_counts", ("against", "measure", "part"), "ratio", "this quarter's count over that of an earlier quarter"),
    Quantity("safety", "count", ("measure", "part", "period"), "count", "visits with an adverse event; part is all; a hidden count has no value"),
    Quantity("safety", "share", ("measure", "part", "period"), "share", "the same as a share"),
    Quantity("safety", "difference_of_shares", ("against", "measure", "part"), "share", "this quarter's share less that of an earlier quarter"),
)  # fmt: skip
"""Every quantity the answers emit, in the order of the sections."""
