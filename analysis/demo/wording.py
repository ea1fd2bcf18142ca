"""How the invented clinic's two record systems head their columns and word their cells.

Trade words of our own choosing; no existing system's export is imitated. In
each list of words the first is the commonest. Words and headings that only
this clinic uses stand in ``CLINIC_COLUMNS`` and ``CLINIC_WORDS`` and go into
its ``clinic.toml``; all else a general vocabulary should know.
"""

from __future__ import annotations

CSV_HEADERS = {
    "visit_id": "Visit no",
    "patient_number": "Patient no",
    "surname": "Surname",
    "first_name": "Forename",
    "birth_date": "DOB",
    "phone": "Mobile",
    "site": "Clinic",
    "practitioner": "Seen by",
    "booked_on": "Date booked",
    "date": "Appt date",
    "slot_time": "Appt time",
    "slot_minutes": "Slot (min)",
    "arrived_at": "Arrived",
    "started_at": "Start",
    "ended_at": "Finish",
    "attendance": "Status",
    "booking_kind": "Appt type",
    "hearing_aid": "HA",
    "cotton_bud": "Cotton buds",
    "softening_advised": "Oil advised",
    "softener": "Softener",
    "softening_days": "Days softened",
    "in_chair_softener": "Oil in chair",
    "grade": "wax",
    "grade_revised": "regraded",
    "impacted": "impacted",
    "debris": "wax type",
    "canal": "canal",
    "methods": "method",
    "outcome": "outcome",
    "eardrum": "TM",
    "middle_ear": "middle ear",
    "adverse_event": "Complications",
    "onward_referral": "Referred",
    "fee": "Fee",
    "notes": "Notes",
    "unknown": "Tray",
}
"""Our column -> heading of the older system; an ear's heading gets "L " or "R " before it."""

XLSX_HEADERS = {
    "visit_id": "Booking ID",
    "patient_number": "Client number",
    "patient_name": "Client name",
    "birth_date": "Date of birth",
    "phone": "Telephone",
    "email": "E-mail",
    "site": "Location",
    "practitioner": "Clinician",
    "booked_on": "Created on",
    "slot_start": "Scheduled start",
    "slot_minutes": "Booked length",
    "arrived_at": "Checked in",
    "started_at": "In room",
    "ended_at": "Out of room",
    "attendance": "Booking status",
    "booking_kind": "Reason",
    "hearing_aid": "Hearing aids",
    "cotton_bud": "Uses cotton buds",
    "softening_advised": "Pre-softening advised",
    "softener": "Drops",
    "softening_days": "Nights at home",
    "in_chair_softener": "Drops in chair",
    "ear": "Side",
    "grade": "Occlusion",
    "percent_blocked": "% blocked",
    "grade_revised": "Grade revised",
    "impacted": "Impacted?",
    "debris": "Contents",
    "canal": "Canal",
    "methods": "Technique",
    "outcome": "Result",
    "eardrum": "Drum",
    "middle_ear": "Middle ear",
    "adverse_event": "Adverse event",
    "onward_referral": "Onward referral",
    "fee": "Price",
    "notes": "Comments",
    "unknown": "Zone",
}
"""Our column -> heading of the newer system, which writes one row an ear."""

EAR_COLUMNS = (
    "grade", "grade_revised", "impacted", "debris", "canal", "methods", "outcome", "eardrum", "middle_ear",
)  # fmt: skip

CSV_WORDS: dict[str, dict[str, list[str]]] = {
    "attendance": {
        "attended": ["Attended", "Seen", "att"],
        "missed": ["DNA", "Did not attend", "no show"],
        "cancelled_late": ["late canc", "Cancelled < 24h", "canc on the day"],
        "cancelled": ["Cancelled", "canx"],
        "moved": ["Rebooked", "moved"],
    },
    "booking_kind": {
        "new": ["New", "NP", "first visit"],
        "routine_recall": ["Recall", "routine", "12/12 recall"],
        "symptoms_return": ["Blocked again", "symptoms", "return - blocked"],
        "second_attempt": ["2nd attempt", "return after oil"],
    },
    "softener": {
        "none": ["none", "nil", "no oil"],
        "olive_oil": ["olive oil", "Olive Oil", "EVOO"],
        "sodium_bicarbonate": ["sod bic", "bicarb"],
        "almond_oil": ["almond oil"],
        "urea_hydrogen_peroxide": ["urea h2o2"],
        "hydrogen_peroxide": ["peroxide"],
        "glycerol": ["glycerine"],
        "docusate": ["docusate"],
        "other": ["drops from pharmacy"],
    },
    "grade": {
        "clear": ["clear", "no wax", "NIL", "nad"],
        "non_occluding": ["non occ", "small amount", "not blocked", "1/4"],
        "partly_occluding": ["semi occ", "2/3 blocked", "partly occluded", "SEMI", "~80%", "half blocked"],
        "fully_occluding": ["FULL", "fully occluded", "blocked", "full occ", "100%"],
    },
    "debris": {
        "soft_wax": ["soft", "soft wax", "wet wax"],
        "hard_wax": ["hard", "hard wax", "hard & dry wax"],
        "dead_skin": ["dead skin", "keratin"],
        "mixed": ["wax & skin", "mixed"],
        "foreign_body": ["FB - dome", "foreign body"],
    },
    "canal": {
        "ordinary": ["normal", "NAD"],
        "narrow": ["narrow", "small canal"],
        "tortuous": ["tortuous", "bendy"],
        "narrow_and_tortuous": ["narrow & tortuous"],
        "operated": ["mastoid cavity", "previous surgery"],
    },
    "methods": {
        "wide_suction": ["suction", "microsuction", "wide suction"],
        "fine_suction": ["fine suction", "fine end"],
        "hook_or_loop": ["hook", "loop"],
        "forceps": ["crocs", "forceps"],
        "irrigation": ["irrigation", "water"],
    },
    "outcome": {
        "clear": ["cleared", "clear", "wax removed"],
        "non_occluding_left": ["non occ remnant", "small amount left"],
        "occluding_left": ["still occluded", "not cleared", "rebook after oil"],
        "stopped": ["stopped", "abandoned due to pain"],
        "referred": ["refer ENT", "referred"],
        "nothing_to_remove": ["nothing to remove", "no treatment needed"],
    },
    "eardrum": {
        "seen_intact": ["intact", "seen, intact", "NAD"],
        "seen_abnormal": ["seen, abnormal"],
        "not_seen": ["not seen", "unable to view"],
    },
    "middle_ear": {
        "none": ["NAD", "normal"],
        "retraction": ["retraction"],
        "fluid_suspected": ["?fluid"],
        "perforation": ["old perf"],
        "other": ["tympanosclerosis"],
    },
    "adverse_event": {
        "none": ["none", "nil"],
        "discomfort": ["slight pain", "sore ear"],
        "dizziness": ["dizzy"],
        "noise_intolerance": ["too loud"],
        "bleeding": ["small bleed"],
        "infection_later": ["infected later"],
        "suspected_perforation": ["?perforation"],
        "other": ["coughing"],
    },
    "yes_no": {"yes": ["Y", "yes"], "no": ["N", "no"]},
}

XLSX_WORDS: dict[str, dict[str, list[str]]] = {
    "attendance": {
        "attended": ["Completed"],
        "missed": ["No show", "FTA"],
        "cancelled_late": ["Late cancellation"],
        "cancelled": ["Cancelled by patient", "Cancelled by clinic"],
        "moved": ["Rescheduled"],
    },
    "booking_kind": {
        "new": ["New patient", "Initial assessment"],
        "routine_recall": ["Routine recall", "Wax club"],
        "symptoms_return": ["Return with symptoms", "urgent: blocked"],
        "second_attempt": ["Second attempt", "re-attempt"],
    },
    "softener": {
        "none": ["Not used", "none"],
        "olive_oil": ["Olive oil", "house drops"],
        "sodium_bicarbonate": ["Sodium bicarbonate"],
        "almond_oil": ["Almond oil"],
        "urea_hydrogen_peroxide": ["Urea hydrogen peroxide"],
        "hydrogen_peroxide": ["Hydrogen peroxide"],
        "glycerol": ["Glycerol"],
        "docusate": ["Docusate sodium"],
        "other": ["unsure which"],
    },
    "ear": {"left": ["Left", "L"], "right": ["Right", "R"]},
    "grade": {
        "clear": ["Clear", "wax free", "none"],
        "non_occluding": ["Non-occluding", "minimal", "a quarter full"],
        "partly_occluding": ["Partly occluding", "part blocked", "two thirds blocked", "semi-occ", "about 60 %"],
        "fully_occluding": ["Fully occluding", "total occlusion", "completely blocked", "Full"],
    },
    "debris": {
        "soft_wax": ["Soft wax", "sticky"],
        "hard_wax": ["Hard wax", "dry"],
        "dead_skin": ["Dead skin", "skin debris"],
        "mixed": ["Wax and dead skin"],
        "foreign_body": ["Foreign body"],
    },
    "canal": {
        "ordinary": ["Ordinary"],
        "narrow": ["Narrow"],
        "tortuous": ["Tortuous", "sharp bend"],
        "narrow_and_tortuous": ["Narrow and tortuous"],
        "operated": ["Operated"],
    },
    "methods": {
        "wide_suction": ["Wide-bore suction", "wide suction"],
        "fine_suction": ["Fine-bore suction", "the quiet one"],
        "hook_or_loop": ["Curette", "wax hook"],
        "forceps": ["Forceps"],
        "irrigation": ["Irrigation"],
    },
    "outcome": {
        "clear": ["Clear", "Fully cleared"],
        "non_occluding_left": ["Non-occluding remnant left"],
        "occluding_left": ["Still occluding", "unable to clear"],
        "stopped": ["Stopped early"],
        "referred": ["Referred on"],
        "nothing_to_remove": ["Nothing to remove"],
    },
    "eardrum": {
        "seen_intact": ["Intact", "Seen and intact"],
        "seen_abnormal": ["Abnormal"],
        "not_seen": ["Not seen", "obscured"],
    },
    "middle_ear": {
        "none": ["None"],
        "retraction": ["Retraction pocket"],
        "fluid_suspected": ["Fluid suspected"],
        "perforation": ["Perforation"],
        "other": ["Other"],
    },
    "adverse_event": {
        "none": ["None"],
        "discomfort": ["Discomfort"],
        "dizziness": ["Dizziness"],
        "noise_intolerance": ["Noise not tolerated"],
        "bleeding": ["Bleeding"],
        "infection_later": ["Infection"],
        "suspected_perforation": ["Suspected perforation"],
        "other": ["Other"],
    },
    "yes_no": {"yes": ["Yes", "TRUE"], "no": ["No", "FALSE"]},
}

CSV_STEPS = (" > ", " then ", " + ")
XLSX_STEPS = (" > ", ", ")
"""What stands between the methods of a sequence."""

CLINIC_COLUMNS = {"Nights at home": "softening_days"}
CLINIC_WORDS = {
    "booking_kind": {"Wax club": "routine_recall"},
    "softener": {"house drops": "olive_oil", "EVOO": "olive_oil"},
    "methods": {"the quiet one": "fine_suction"},
}

UNREADABLE_GRADES = ("see letter", "as last time", "hm", "wobbly")
"""Words that no vocabulary should claim to know."""
