"""Every planted figure of the invented clinic, in one place.

Nothing here describes a real clinic. A figure marked "near" stays near a
published one named beside it; every other figure is **assumed**.
"""

from __future__ import annotations

import numpy as np

from analysis.schema import CANALS, DEBRIS, GRADES, METHODS

DAY_ZERO = np.datetime64("2023-10-01")
A_DAY = np.timedelta64(1, "D")
LAST_DAY = 1095  # 2026-09-30
FIRST_MONDAY = 1
WARM_UP_WEEKS = 130  # the clinic is older than its log, as real ones are
MONTH_DAYS = 30.4375

SITES = ("Mill Lane", "Quayside")
PRACTITIONERS = ("Ash", "Birch", "Cedar", "Rowan")
KINDS = ("new", "routine_recall", "symptoms_return", "second_attempt")
NEW, RECALL, SYMPTOMS, SECOND = range(4)
ATTENDANCES = ("attended", "missed", "cancelled_late", "cancelled", "moved")
ATTENDED, MISSED, CANCELLED_LATE, CANCELLED, MOVED = range(5)
GRADE_CODES, DEBRIS_CODES, CANAL_CODES, METHOD_CODES = (tuple(each) for each in (GRADES, DEBRIS, CANALS, METHODS))
CLEAR, NON_OCCLUDING, PARTLY, FULLY = range(4)
SOFT, HARD, DEAD_SKIN, MIXED, FOREIGN = range(5)
ORDINARY, NARROW, TORTUOUS, NARROW_AND_TORTUOUS, OPERATED = range(5)
WIDE, FINE, HOOK, FORCEPS, IRRIGATION = range(5)
NO_CODE = -1

# -- the diary --
TEMPLATE_MINUTES = np.array([30, 20, 30, 20])  # by kind; plausible, not the best
SESSION_MINUTES = 210
SESSION_START = {"morning": 9 * 60, "afternoon": 13 * 60 + 15}
TURNAROUND_MINUTES = 2
ATTENDANCE_SHARES = np.array(  # attended, missed, cancelled late, cancelled in time, moved; by kind
    [
        [0.785, 0.095, 0.045, 0.045, 0.03],  # missed about 8 % overall, near Comer's 8.3 % of 5,817 in ENT
        [0.825, 0.070, 0.035, 0.040, 0.03],
        [0.820, 0.075, 0.040, 0.040, 0.025],
        [0.835, 0.065, 0.040, 0.035, 0.025],
    ]
)
REBOOKS = np.array([0.0, 0.60, 0.75, 0.60, 1.0])  # by attendance
# arrivals: most early; near Williams 2014, 7.7 % late
LATE_SHARE, EARLY_MEAN_MINUTES, LATE_MEAN_MINUTES = 0.08, 12.0, 9.0

# -- new patients: calls a month --
CALLS_A_MONTH = 57.0  # at the log's first day
GROWTH_A_YEAR = 0.16
SEASON_SIZE, SEASON_PEAK_MONTH = 0.16, 1  # highest in January
QUIET_GROWTH_BEFORE = 0.05  # a year, before the log begins

# -- people --
AGE_SHARES = np.array([0.04, 0.17, 0.27, 0.31, 0.21])
AGE_EDGES = np.array([5, 18, 40, 60, 75, 96])
HEARING_AID_SHARES = np.array([0.01, 0.03, 0.09, 0.24, 0.46])
COTTON_BUD_SHARES = np.array([0.55, 0.72, 0.70, 0.62, 0.55])  # near 68 % of 239 UK adults (BJGP 2011;61:662)
CANAL_SHARES = np.array([0.835, 0.085, 0.045, 0.02, 0.015])
PERFORATION_SHARE = 0.008

# -- re-occlusion: months from clearance until the canal is half blocked --
WEIBULL_SHAPE = 1.5
SCALE_MONTHS = 30.0
HEARING_AID_FACTOR = 0.68  # Manchaiah 2015 found no such link; common belief has one. Invented either way
COTTON_BUD_FACTOR = 0.85  # Sim 1988 found no link, a 1994 study one on one side only
FRAILTY_VARIANCE = 0.5  # gamma, mean 1, shared by a patient's ears
SPEED_DAYS, SPEED_SPREAD = 45.0, 0.5  # from half blocked towards full

# -- who comes back, and when; near Coppin 2011: 60 % and 73 % back within 2 years --
COMES_BACK = 0.78
SYMPTOM_LAG_DAYS, SYMPTOM_LAG_SHAPE = 24.0, 1.5
TOLERANT_SHARE, TOLERANT_LAG_DAYS = 0.12, 120.0
INVITE_MONTHS, INVITE_MONTHS_AID, SHORT_RECALL_SHARE = 12, 6, 0.4
RECALL_UPTAKE = 0.45
SECOND_ATTEMPT_SHARE = 0.90

# -- wax when first seen --
BOTH_EARS_SHARE, NO_WAX_SHARE = 0.45, 0.07
FIRST_LAG_DAYS, FIRST_LAG_SHAPE = 50.0, 1.2
HARD_SHARES = np.array([0.0, 0.15, 0.27, 0.52])  # by grade
OTHER_DEBRIS_SHARES = np.array([0.62, 0.0, 0.18, 0.18, 0.02])  # of what is not hard
IMPACTED_SHARES = np.array([[0.0, 0.01, 0.05, 0.16], [0.0, 0.02, 0.12, 0.40]])  # not hard, hard; by grade
WORK_ON_NON_OCCLUDING = 0.35

# -- softening --
SIGNAL_SHARES = np.array([0.06, 0.35, 0.92])  # nothing, one of hard and full, both: what the call lets one suspect
ADVISED_SHARES = np.array([[0.14, 0.10, 0.14, 0.90], [0.82, 0.72, 0.82, 0.95]])  # no signal, signal; by kind
USED_SHARES = np.array([[0.08, 0.16], [0.74, 0.80]])  # not advised, advised; by signal
SUCCESS_AT_BEST = 2.75
SUCCESS_LESS = {
    "fully": -0.90,
    "hard": -1.20,
    "impacted": -0.60,
    "narrow": -0.60,
    "operated": -0.40,
    "dead_skin": -0.25,
}
SUCCESS_SOFTENED = 0.85
SUCCESS_PRACTITIONER = np.array([0.0, 0.15, -0.15, 0.05])
EASE_SPREAD = 0.4  # what a patient's two ears share
FAILURE_SHARES = np.array([0.78, 0.17, 0.05])  # still occluding, stopped, referred
REFERRED_AFTER_TWO = 0.80  # near the guidance to refer after two failures, NG98 as restated

# -- minutes; near: 15-30 minutes booked for suction (NHS leaflet), 10.8 minutes a nurse's irrigation (Pothier 2008) --
OVERHEAD_MINUTES = 10.0
EAR_MINUTES = np.array(  # rows: grade; columns: wide, fine, hook, forceps, irrigation. No source has times by grade
    [
        [0.75, 0.75, 0.75, 0.75, 0.75],
        [2.0, 2.5, 2.2, 2.0, 3.0],
        [3.2, 4.2, 4.0, 3.6, 5.0],
        [5.0, 6.8, 7.4, 6.2, 7.6],
    ]
)
LOOKED_AT_MINUTES = 0.75  # an ear left alone, whatever its grade
SOFTENED_FACTOR = 0.75  # a softened occluding ear's part, first attempt or later
PRACTITIONER_MINUTES = np.array([0.0, -1.0, 1.2, 2.0])
KIND_MINUTES = np.array([3.0, 0.0, 0.5, 1.5])
IN_CHAIR_SHARE, IN_CHAIR_MINUTES = 0.06, 3.0  # of visits with a hard, impacted ear
MINUTES_SHAPE = 9.0  # gamma; coefficient of variation 0.33, low end of 0.35-0.85 (Cayirli and Veral, from memory)

METHOD_WEIGHTS = np.array([0.44, 0.32, 0.11, 0.03, 0.10])
METHOD_HABITS = np.array(  # by practitioner
    [[1.4, 0.8, 1.0, 1.0, 0.6], [0.6, 1.8, 1.0, 1.0, 0.5], [1.0, 1.0, 2.0, 1.0, 0.15], [1.0, 0.8, 0.7, 1.0, 2.4]]
)
AGENT_SHARES = {
    "olive_oil": 0.62,
    "sodium_bicarbonate": 0.19,
    "almond_oil": 0.06,
    "urea_hydrogen_peroxide": 0.05,
    "hydrogen_peroxide": 0.03,
    "glycerol": 0.02,
    "docusate": 0.02,
    "other": 0.01,
}
ADVERSE_SHARES = {  # as a log notes them; questionnaires find far more (45 % free of any, 2010), major about 1 in 1,000
    "none": 0.9555,
    "discomfort": 0.022,
    "dizziness": 0.009,
    "noise_intolerance": 0.006,
    "bleeding": 0.004,
    "infection_later": 0.0025,
    "suspected_perforation": 0.0006,
    "other": 0.0004,
}
FEES = np.array([75.0, 60.0, 70.0, 25.0])
FEE_RISE_DAY, FEE_RISE = 457, 5.0  # 2025-01-01
