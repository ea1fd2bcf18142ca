"""Which tests from outside each quantity of the results rests on; and which quantities are no method's figure, and why."""

COUNTED_ROWS = "counted; rows read must equal rows kept plus rows set aside, which every run checks"
OWN_PRICES = "sums and products of the figures above at the clinic's own prices"
OWN_RULE = "read off the figures above by a rule of the house that the answer states"

_MINUTES = (
    "test_visit_minutes.py::test_parts_and_their_model_errors_are_those_of_r",
    "test_visit_minutes.py::test_clusters_of_several_rows_give_the_clustered_errors_of_r",
    "test_visit_models.py::test_hospital_stays_clustered_by_provider_have_the_errors_of_r",
)
_POOLED = (
    "test_visit_models.py::test_reaction_times_are_pooled_as_lme4_pools_them",
    "test_visit_models.py::test_stools_are_pooled_as_nlme_pools_them",
)
_CONFORMAL = (
    "test_visit_quantiles.py::test_exchangeable_cases_are_covered_as_the_theorem_says",
    "test_visit_quantiles.py::test_limits_of_coverage_hold_as_often_as_they_say",
)
_QUANTILES = (
    "test_visit_minutes.py::test_a_gamma_quantile_is_that_of_r",
    "test_visit_quantiles.py::test_engels_lines_are_those_of_quantreg",
)
_PINBALL = ("test_visit_minutes.py::test_the_pinball_loss_of_engels_lines_is_that_of_quantreg",)
_CENSORED = (
    "test_visit_models.py::test_motors_still_running_count_as_in_survreg_with_a_log_normal_time",
    "test_visit_models.py::test_motors_still_running_count_as_in_survreg_with_a_weibull_time",
)
_HEAPING = ("test_visit_quantiles.py::test_ages_without_favourites_and_with_nothing_else_have_the_indices_of_whipple",)
_WAITING = (
    "test_waiting_times.py::test_random_arrivals_wait_as_pollaczek_and_khinchine_say",
    "test_waiting_times.py::test_fixed_slots_and_random_lengths_wait_as_the_formula_says",
    "test_waiting_times.py::test_one_session_runs_minute_for_minute_as_in_r",
    "test_waiting_times.py::test_ten_visits_of_random_length_run_as_computed_exactly_in_r",
)
_NEWSVENDOR = ("test_appointment_rules.py::test_the_cheapest_slot_before_a_second_patient_is_the_newsvendors_stock",)
_STANDARDISED = (
    "test_softening_effects.py::test_standardised_shares_differences_and_ratios_agree_with_r",
    "test_softening_weighting.py::test_shares_differences_ratios_and_ranges_agree_with_r",
)
_GRAMS = (
    "test_softening_weighting.py::test_weighted_grams_are_those_of_statsmodels_treatment_effects",
    "test_softening_weighting.py::test_doubly_robust_grams_are_those_of_statsmodels_treatment_effects",
)
_NUMBER_NEEDED = (
    "test_softening_effects.py::test_number_needed_on_the_birth_weights_agrees_with_r",
    "test_softening_effects.py::test_number_needed_as_barrowman_prints_it",
    "test_softening_effects.py::test_number_needed_across_nought_as_altman_tells_it",
)
_E_VALUE = (
    "test_softening_effects.py::test_e_value_of_the_range_agrees_with_vanderweele_and_ding",
    "test_softening_effects.py::test_e_value_of_a_ratio_agrees_with_vanderweele_and_ding",
)
_POOLED_TRIALS = (
    "test_published_pooling.py::test_random_effects_of_the_bcg_trials_agree_with_metafor",
    "test_published_pooling.py::test_mantel_haenszel_agrees_with_metafor_in_all_three_measures",
    "test_published_pooling.py::test_random_effects_of_the_pregnancy_trials_agree_with_metafor_on_odds",
)
_SHARES = (
    "test_softening_effects.py::test_single_shares_agree_with_r",
    "test_softening_effects.py::test_newcombe_and_wilson_agree_with_his_tables",
)
_EVENTS = (
    "test_quarter_ranges.py::test_none_seen_still_allows_as_many_as_r_says",
    "test_quarter_ranges.py::test_none_in_14_still_allows_19_in_100_as_printed",
)
_DAYS = ("test_softening_trials.py::test_the_curve_of_days_is_a_natural_cubic_spline",)
_PAIRS = ("test_softening_trials.py::test_all_pairs_of_even_groups_have_tukeys_range",)
_WEIBULL = (
    "test_censored_times.py::test_weibull_fits_agree_with_r",
    "test_censored_times.py::test_standard_errors_agree_with_r",
    "test_censored_times.py::test_the_share_survived_agrees_with_r",
)
_COVARIATES = (
    "test_covariate_times.py::test_times_with_covariates_and_their_errors_agree_with_r",
    "test_covariate_times.py::test_lifelines_finds_the_same_curves_between_limits",
    "test_censored_times.py::test_two_eyes_of_a_patient_go_together_as_in_r",
)
_TURNBULL = (
    "test_nonparametric_curve.py::test_breast_cosmesis_masses_agree_with_r",
    "test_nonparametric_curve.py::test_turnbulls_own_table_rounds_to_what_he_printed",
    "test_nonparametric_curve.py::test_parts_looked_at_again_and_again_agree_with_the_plain_shares",
)
_COUNTS = (
    "test_demand_counts.py::test_overdispersed_counts_are_fitted_as_negative_binomial",
    "test_demand_counts.py::test_two_yearly_waves_forecast_a_year_as_in_r",
    "test_demand_counts.py::test_quine_and_medpar_as_in_r_and_in_print",
)
_SUMS = (
    "test_demand_counts.py::test_mean_and_variance_of_a_sum_of_chances_against_enumeration",
    "test_demand_counts.py::test_matched_draws_spread_as_the_enumerated_sum",
)
_TRIALS = (
    "test_forecast_trials.py::test_rolling_trials_miss_lean_and_cover_as_in_the_forecast_package",
    "test_demand_counts.py::test_scaled_error_against_the_seasonal_naive_as_in_the_forecast_package",
)
_CONTROL = (
    "test_control_limits.py::test_single_values_have_the_handbooks_limits_as_printed",
    "test_control_limits.py::test_shares_have_the_handbooks_limits_and_signals",
    "test_control_limits.py::test_rates_have_the_textbooks_limits_and_signals",
)

REFEREES: dict[str, tuple[str, ...]] = {
    "visit_time.overhead_minutes": _MINUTES,
    "visit_time.added_minutes": _MINUTES,
    "visit_time.minutes_quantile": _QUANTILES,
    "visit_time.coverage_held_out": _CONFORMAL,
    "visit_time.held_out_loss": _PINBALL,
    "visit_time.coverage_by_category": _CONFORMAL,
    "visit_time.coverage_by_month": _CONFORMAL,
    "visit_time.calibrated_minutes": _CONFORMAL,
    "visit_time.pooled_minutes": _POOLED,
    "visit_time.fact_minutes": _MINUTES,
    "visit_time.practitioner_minutes": _POOLED,
    "visit_time.path_share": _SHARES,
    "visit_time.path_minutes": _MINUTES,
    "visit_time.went_on_share": _SHARES,
    "visit_time.minutes_to_clear": _CENSORED,
    "visit_time.minutes_in_chair": _CENSORED,
    "visit_time.heaping_index": _HEAPING,
    "visit_time.minutes_as_recorded": ("test_visit_models.py::test_times_between_limits_are_fitted_as_in_survreg",),
    "slots.slot_minutes": _NEWSVENDOR,
    "slots.on_time_share": _WAITING,
    "slots.mean_wait_minutes": _WAITING,
    "slots.overtime_minutes": _WAITING,
    "slots.idle_minutes": _WAITING,
    "slots.patients_per_session": _WAITING,
    "slots.on_time_share_difference": _WAITING,
    "slots.mean_wait_minutes_difference": _WAITING,
    "slots.overtime_minutes_difference": _WAITING,
    "slots.idle_minutes_difference": _WAITING,
    "slots.patients_per_session_difference": _WAITING,
    "softening.success_share": _STANDARDISED,
    "softening.risk_difference": _STANDARDISED,
    "softening.risk_ratio": _STANDARDISED,
    "softening.number_needed_to_treat": _NUMBER_NEEDED,
    "softening.e_value": _E_VALUE,
    "softening.used_share": _SHARES,
    "softening.visit_minutes": _GRAMS,
    "softening.minutes_saved": _GRAMS,
    "softening.pooled_risk_ratio": _POOLED_TRIALS,
    "softening.combined_risk_ratio": _POOLED_TRIALS,
    "softening.saved_per_100_patients": _STANDARDISED,
    "softening.risk_difference_in_group": _STANDARDISED,
    "softening.difference_between_groups": _STANDARDISED,
    "softening.agent_success_share": _STANDARDISED,
    "softening.agent_difference": _PAIRS,
    "softening.success_share_by_days": _DAYS,
    "softening.longer_less_shorter_days": _DAYS,
    "softening.effective_ears": (
        "test_softening_weighting.py::test_unstabilised_weights_and_their_worth_in_rows_agree_with_r",
    ),
    "softening.other_ears_difference": _STANDARDISED,
    "softening.ears_needed": (
        "test_softening_trials.py::test_ears_said_to_be_needed_find_the_difference_eight_times_in_ten",
    ),
    "recall.grade_at_return": (
        "test_ordered_grades.py::test_coefficients_thresholds_and_errors_are_those_of_r",
        "test_ordered_grades.py::test_a_step_is_the_logistic_regression_of_r_with_both_ears_going_together",
    ),
    "recall.weibull_shape": _WEIBULL,
    "recall.median_months": _WEIBULL,
    "recall.months_until_share_occluded": _WEIBULL,
    "recall.months_until_share_occluded_if_all_return": _WEIBULL,
    "recall.share_occluded_today": _WEIBULL,
    "recall.share_occluded_no_shape": _TURNBULL,
    "recall.group_months_until_share": _WEIBULL,
    "recall.months_until_share_by_window": _WEIBULL,
    "recall.times_as_long_open": _COVARIATES,
    "recall.held_out_score": _COVARIATES,
    "demand.visits": (*_COUNTS, *_SUMS),
    "demand.bookings": (*_COUNTS, *_SUMS),
    "demand.expected_visits": (*_COUNTS, *_SUMS),
    "demand_sites.visits": (
        *_COUNTS,
        *_SUMS,
        "test_shared_out_visits.py::test_a_sites_visits_are_beta_binomial_as_in_scipy",
    ),
    "demand_weeks.visits": (
        *_COUNTS,
        *_SUMS,
        "test_shared_out_visits.py::test_weeks_that_vary_beyond_chance_are_dirichlet_multinomial_as_in_scipy",
    ),
    "demand_weeks.visits_at_site": (
        *_COUNTS,
        *_SUMS,
        "test_shared_out_visits.py::test_a_sites_visits_are_beta_binomial_as_in_scipy",
        "test_shared_out_visits.py::test_weeks_that_vary_beyond_chance_are_dirichlet_multinomial_as_in_scipy",
    ),
    "demand.backtest_coverage": ("test_demand_counts.py::test_rolling_count_regression_covers_as_often_as_in_r",),
    "demand.backtest_scaled_error": (
        "test_demand_counts.py::test_scaled_error_against_the_seasonal_naive_as_in_the_forecast_package",
        "test_demand_counts.py::test_simple_forecasts_miss_as_in_r",
    ),
    "demand_trial.bias": _TRIALS,
    "demand_trial.typical_miss": _TRIALS,
    "demand_trial.coverage": _TRIALS,
    "demand_trial.range_width": _TRIALS,
    "demand_trial.scaled_error": (
        *_TRIALS,
        "test_exponential_smoothing.py::test_simple_smoothing_of_oil_as_in_the_forecast_package_and_in_print",
    ),
    "demand_trial.part_bias": _TRIALS,
    "demand_trial.part_typical_miss": _TRIALS,
    "demand_trial.part_coverage": _TRIALS,
    "demand_trial.part_range_width": _TRIALS,
    "demand_trial.part_scaled_error": _TRIALS,
    "demand_trial.chance_simple_ahead": (
        "test_forecast_trials.py::test_with_every_wave_the_comparison_is_the_t_test",
        "test_forecast_trials.py::test_equal_forecasts_are_seldom_told_apart",
    ),
    "demand_trial.foretold": (*_COUNTS, *_SUMS),
    "demand.second_attempt_share": _SHARES,
    "quarter.share": _SHARES,
    "quarter.difference_of_shares": (
        "test_softening_effects.py::test_newcombe_and_wilson_agree_with_his_tables",
        "test_quarter_ranges.py::test_a_difference_of_ears_is_widened_as_its_clustered_error_says",
    ),
    "quarter.ratio_of_counts": (
        "test_quarter_ranges.py::test_the_ends_of_a_ratio_are_where_the_exact_test_begins_to_reject",
    ),
    "monitoring.watched_share": _CONTROL,
    "monitoring.watched_rate": _CONTROL,
    "monitoring.watched_minutes": _CONTROL,
    "monitoring.usual_share": _CONTROL,
    "monitoring.usual_rate": _CONTROL,
    "monitoring.usual_minutes": _CONTROL,
    "monitoring.signals": _CONTROL,
    "monitoring.share_like_with_like": (
        "test_control_limits.py::test_a_funnel_has_r_s_scores_limits_and_over_dispersion",
    ),
    "monitoring.noise_dose": (
        "test_noise_dose.py::test_minutes_allowed_are_those_printed",
        "test_noise_dose.py::test_a_quiet_day_has_the_dose_printed",
    ),
    "monitoring.noise_daily_level": (
        "test_noise_dose.py::test_a_quiet_day_has_the_level_printed",
        "test_noise_dose.py::test_printed_times_reach_the_directives_levels",
    ),
    "safety.share": _EVENTS,
    "safety.difference_of_shares": ("test_softening_effects.py::test_newcombe_and_wilson_agree_with_his_tables",),
}

COUNTED: dict[str, str] = {
    **dict.fromkeys(
        (
            "intake.rows_in",
            "intake.rows_kept",
            "intake.rows_set_aside",
            "intake.rows_set_aside_share",
            "intake.rows_set_aside_by_reason",
        ),
        COUNTED_ROWS,
    ),
    **dict.fromkeys(
        (
            "intake.fact_recorded",
            "intake.minutes_quality",
            "intake.minutes_quality_by_export",
            "intake.minutes_quality_by_practitioner",
        ),
        "counted; Wilson ranges where there is one, as for every share",
    ),
    "visit_time.filled_visits": "counted by a rule of our own (no source); its ratio is held against an exact test in `test_log_spikes.py`",
    "softening.worth": OWN_PRICES,
    "softening.worth_amount": OWN_PRICES,
    "softening.break_even_price": OWN_PRICES,
    "softening.chance_worth": OWN_PRICES,
    "softening.periods_needed": "simulated in the clinic's own weeks; planted truth in `tests/truth/test_softening_trial_truth.py`",
    "softening.correlation": "a variance ratio of the clinic's own weeks; planted truth as above",
    "softening.test_difference": "a difference of means by period; planted truth as above",
    "softening.test_p_value": "every list that could have been drawn, counted; planted truth as above",
    "softening.standardised_difference": "a difference over its spread; literal tables in `tests/unit/stats`",
    "softening.shared_ground_share": "an overlap of two histograms; literal tables in `tests/unit/stats`",
    "recall.return_share": "planted truth in `tests/truth/test_recall_truth.py`; Coppin 2011 as a bracket of plausibility",
    "recall.only_at_recalls_share": "planted truth in `tests/truth/test_recall_callers_truth.py`",
    "recall.known_before_share": "counted",
    "recall.recall_months": OWN_RULE,
    "recall.least_cost_months": OWN_PRICES,
    "recall.least_cost_months_by_prices": OWN_PRICES,
    "recall.kept_month_cost": OWN_PRICES,
    "recall.yearly_cost": OWN_PRICES,
    "recall.yearly_cost_difference": OWN_PRICES,
    "demand.visits_a_month": "the mean of the months expected; planted truth in `tests/truth/test_demand_truth.py`",
    "demand.visits_a_month_before": "counted",
    "demand.sessions_a_month": OWN_RULE,
    "demand.sessions_needed": OWN_RULE,
    "demand.sessions_of_chair_time": OWN_RULE,
    "demand_capacity.sessions_there": OWN_RULE,
    "demand_capacity.chance_outgrown": OWN_RULE,
    "demand_capacity.chance_outgrown_by_then": OWN_RULE,
    "demand_capacity.wait_weeks": OWN_RULE,
    "demand_capacity.practitioner_days": OWN_RULE,
    "demand_capacity.suction_tips": OWN_RULE,
    "demand_waiting.people_waiting": OWN_RULE,
    "demand_waiting.chance_of_long_wait": OWN_RULE,
    "demand_waiting.sessions_a_week_enough": OWN_RULE,
    "demand_needs.chair_hours": OWN_RULE,
    "demand_needs.minutes_a_visit": OWN_RULE,
    "demand_needs.rooms_at_once": OWN_RULE,
    "demand_needs.fully_occluding_share": OWN_RULE,
    "demand_needs.supplies": OWN_RULE,
    "demand_scenarios.visits_change": OWN_RULE,
    "demand_scenarios.visits_change_a_month": OWN_RULE,
    "demand_scenarios.second_visits_change": OWN_RULE,
    "demand_scenarios.second_visits_change_a_month": OWN_RULE,
    "demand_scenarios.chair_hours_change": OWN_RULE,
    "demand_scenarios.chair_hours_change_a_month": OWN_RULE,
    "demand_scenarios.sessions_change": OWN_RULE,
    "demand_scenarios.sessions_change_a_month": OWN_RULE,
    "demand_scenarios.chance_outgrown": OWN_RULE,
    "demand_scenarios.wait_weeks_at_end": OWN_RULE,
    "demand_scenarios.chance_outgrown_by_then": OWN_RULE,
    "demand_trial.came": "counted",
    "demand_trial.month_miss": "the mean of the differences that `demand_trial.came` and `demand_trial.foretold` tell",
    "demand_trial.month_miss_share": "the same over what came",
    "demand_trial.months_tried": "counted",
    "demand_trial.months_within": "counted",
    "slots.catch_up_every": OWN_RULE,
    "quarter.count": "counted; small counts hidden",
    "monitoring.shares_compared": "counted",
    "monitoring.shares_beyond": "counted",
    "monitoring.income_per_session": "a mean with Student's range; sessions counted by hand in `tests/unit/answers`",
    "safety.count": "counted; small counts hidden",
    "page.rests_on": "counted",
    "page.said": "as its sentence says it; its figure is worked out with the answer's own",
    "page.left_out": "counted; small counts hidden",
    "page.drawn": "as its answer's chart draws it",
    "page.table_figure": "as its answer's table has it",
}

NOT_MET = {
    "gamma fit with a logarithmic link (hills)": "minutes add up, so the link is the identity; the log link is held to R on the hospital stays",
    "two-way clustered errors (Petersen's firms and years)": "errors are clustered by patient alone; one-way errors are held to R on six sets",
    "right-censored gamma times (leukaemia remissions)": "times cut off at either end are log-normal or Weibull here",
    "exchangeable and serial estimating equations (children of Ohio, respiratory trial, paired eyes)": "patients are clustered, not modelled as correlated; the independent ones are the same figures and are held",
    "probit weights and arm-by-arm regression (birth weights in grams)": "who is advised is modelled by a logistic curve; R's logistic figures on the same births are held",
    "fixed-effect, DerSimonian-Laird, maximum-likelihood and Paule-Mandel pooling; Hine's trials": "trials are pooled by restricted likelihood with Hartung and Knapp's range, which is held on five sets",
    "Cox regression, log-rank tests and frailty (Gehan, kidney catheters, rats, eyes, lungs)": "they maximise or compare without a curve's shape; ours is a curve, and its clustered errors are held to R on the eyes",
    "recurrent infections (granulomatous disease)": "returns are kept by week and kind in a life table, held to enumeration and scipy",
    "a chart of weighted means (EWMA)": "no such chart is drawn",
}
"""Figures from outside that lay at hand and that no method of ours gives, and why."""
