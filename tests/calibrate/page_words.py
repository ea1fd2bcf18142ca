"""The words of the study's page."""

from __future__ import annotations

from typing import Any

QUANTITIES = {
    "overhead_minutes": "minutes before any ear",
    "added_minutes": "minutes an ear adds",
    "minutes_quantile": "minutes a share of visits stay within",
    "risk_difference": "softening: successes in 100",
    "risk_ratio": "softening: ratio of successes",
    "minutes_saved": "softening: minutes saved",
    "return_share": "patients in 100 who come back",
    "months_until_share_occluded": "months until occluding",
    "visits": "visits a month ahead",
}
PARTS = {
    "non_occluding": "not occluding", "partly_occluding": "partly occluding", "fully_occluding": "fully occluding",
    "unadjusted": "as they are", "standardised": "like with like", "weighted": "weighted alike", "doubly_robust": "doubly robust",
    "everyone": "everyone", "hearing_aid": "hearing aid", "no_hearing_aid": "no hearing aid",
    "0.3": "30 in 100", "0.5": "half", "0.8": "8 in 10", "0.9": "9 in 10",
    "month 1": "first", "month 2": "second", "month 3": "third",
}  # fmt: skip


def quantity_said(row: dict[str, Any]) -> str:
    """Name a figure in plain words."""
    parts = [PARTS.get(part, part) for part in str(row["of"]).split(", ") if part]
    return QUANTITIES[row["quantity"]] + (f" ({', '.join(parts)})" if parts else "")


def headed(clinics: dict[str, int], told_to: dict[int, float]) -> list[str]:
    """Head the page: how many clinics, and how to make it again."""
    asked = "; ".join(f"{many:,} of about {visits} visits" for visits, many in clinics.items())
    known = ", ".join(f"at {visits:,} visits to ± {100 * error:.1f}" for visits, error in told_to.items())
    return [
        "# Do the ranges hold as often as they say?",
        "",
        f"Invented clinics whose truth is known, asked as the answers ask: {asked}. Everything here is invented.",
        "Made by `make calibrate`; every number in full stands in `calibration.json`. After each ± stands the Monte Carlo",
        "error: one standard error of what so few simulated clinics can tell. A true 95% over 500 clinics is told to about",
        f"± 1.0, over 40 clinics to about ± 3.4. Here, worlds taken together, it is told {known}; a single world's rows are",
        'hardly more than an illustration. `make calibrate OPTIONS="--clinics 100"` writes this page again from more clinics.',
        "",
        "![How often 95% ranges held the truth](calibration.svg)",
        "",
    ]


AIMS = [
    "## The study, in the form Morris, White and Crowther (2019) ask for",
    "",
    "- **Aims.** Whether each core figure is right on average, whether its range holds the truth as often as it says, how often",
    "  an effect is claimed where there is none, and how much worse than the best the recommended slots and recall months are.",
    "- **Data.** The invented clinic's own generator (`analysis/demo`), its planted figures changed world by world as listed",
    "  below. About 300 visits and one practitioner, 1,000 and two, 10,000 and four, 100,000 and twenty (ten would be overfull by",
    "  the end, and people would wait); the long form (`--long`) asks every world at 100,000 too. Three years of log unless the",
    "  world says otherwise. In the first thirteen worlds the assumptions written beside the answers hold; the last five",
    "  break one each.",
    "- **Estimands.** The core quantities of `analysis/result_rows.py`. Minutes: of the log's own ears. Softening: the mean",
    "  difference over the clinic's own eligible ears (or visits). Months: over the log's cleared ears, each counted once.",
    "  Quantiles: of all visits of that kind in that world. Visits ahead: what came in the months after the log ended.",
    "- **Methods.** The models as the answers call them, with default settings. Kinds of booking are not split by further facts.",
    "- **Measures.** *Off by*: figure less that clinic's truth, on average. *Spread of figures*: the standard deviation of that",
    "  miss (the empirical standard error). *Their standard error*: what the figures' own ranges suppose. Coverage of 50%, 80%",
    "  and 95% ranges. Where a row holds several figures of a clinic (ears by method, kinds of booking) the clinic counts once.",
    "  The last column: *met* if 95% ranges hold in 93 to 97 of 100; *within chance* if not, but no further off than twice the",
    "  Monte Carlo error; else *too narrow* or *too wide*.",
    "",
    "Differences in success and shares are told in 100. The comparison *as they are* is there to show what it would mislead to.",
    "",
]

SAID = {
    "alarms": [
        "## False alarms: softening changes nothing, yet the 95% range leaves out none",
        "",
        "One in twenty is what 95% means. Of the groups as they are, confounding alone makes most ranges claim harm.",
    ],
    "by_world": [
        "## World by world: how often the 95% ranges held",
        "",
        "Each row rests on its own clinics only; the ± says how little a row can show by itself.",
    ],
    "misspecified": [
        "## Where an assumption is broken",
        "",
        "Only the figures that the broken assumption touches, beside the same figures of the world as told.",
        "",
        "- *Log-normal minutes* move little: means, quantiles and differences do not need the gamma.",
        "- *Multiplicative ears* are put down wrongly: the visit's own minutes come out too short and small ears too long, while",
        "  whole visits' quantiles and the minutes softening saves stay right. Slots rest on whole visits.",
        "- *Regrowth at two speeds* fits neither curve: months come out late with a hearing aid, and fewer seem to come back.",
        "- *Unrecorded hardness* hides most of what softening does. No check can see what nobody wrote down; the answer names",
        "  the facts that are recorded nowhere, and says how strong a hidden cause would have to be.",
        "- *The demo itself*: people wait longer than the setting supposes, so months come out later; what the caller said moves",
        "  the figure of advice slightly.",
    ],
    "warnings": [
        "### How the answers warn",
        "",
        "In how many clinics a check fired. What fires as often in the world as told is no warning. At 10,000 visits *does the",
        "recall curve fit* finds regrowth at two speeds, and *which way foretells best* finds ears that multiply; at 1,000 visits",
        "neither can. *Names facts recorded nowhere* always fires where hardness is not written down.",
    ],
    "regret": [
        "## Regret: how much dearer than the best possible the recommended choice is",
        "",
        "Slots: cost of a session at the default prices, in sessions of a log of 100,000 visits of the same world, against the best",
        "slots there for the same kinds of booking. Months: cost of a year for an ear, on the planted curve, against the best month.",
        "Catch-up gaps are recommended only where they save 2 in 100, so slots may lie that far off by rule.",
    ],
}
