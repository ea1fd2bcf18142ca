"""Answers made up for tests of the page: one of each shape, with awkward names in them."""

import numpy as np
import pandas as pd

from analysis.present.answer import INFORMATION, PASSED, Answer, Basis, Check, ResultRow, no_answer
from analysis.present.charts import Bar, Line, line_chart, range_chart
from analysis.present.theme import NAMED, RECOMMENDED, TODAY
from analysis.problems import NotEnough
from analysis.report.five_sentences import Sentence
from analysis.report.page import Page, Part, Question

AWKWARD = "</script><script>window.escaped=1</script><b>North & South</b>"
BASIS = Basis(
    used=9120,
    of_what="visits",
    left_out={"had minutes filled from the slot": 812, "had an implausible time": 41, "were missed": 0},
    first_day=pd.Timestamp("2023-10-02"),
    last_day=pd.Timestamp("2026-09-30"),
    method="A gamma model of minutes a visit, with a part for each ear, fitted to the log.",
)


def booking() -> Answer:
    """An answer with a range chart in two colours and a wide table."""
    kinds = ["new", "routine_recall", "symptoms_return", "second_attempt"]
    bars = []
    for kind, now, then in zip(
        ["New patient", "Routine recall", "Return with symptoms", "Second attempt"],
        [30, 30, 30, 20],
        [35, 25, 30, 25],
        strict=True,
    ):
        bars += [
            Bar(f"{kind}, today", now, now, now, TODAY, f"{now} minutes"),
            Bar(f"{kind}, recommended", then, then - 4, then + 5, RECOMMENDED, f"{then} minutes"),
        ]
    table = pd.DataFrame(
        {
            "booking_kind": kinds,
            "hearing_aid": pd.array([True, False, None, True], dtype="boolean"),
            "slot_minutes": [35.0, 25.0, 30.0, 25.0],
            "value": [31.24, 22.8, np.nan, 21.0],
            "low": [29.1, 21.2, np.nan, 17.5],
            "high": [33.6, 24.4, np.nan, 25.1],
            "patients": pd.array([2210, 4105, 3, 180], dtype="Int64"),
            "day": pd.to_datetime(["2026-01-03", None, "2026-02-28", "2026-09-30"]),
        }
    )
    return Answer(
        "How long should we book?",
        "Book 35 minutes for a new patient and 25 for a routine recall: 88% of patients would start on time (between 84% and 91%), against 71% today.",
        "Ranges are 95% ranges: about 19 in 20 such ranges hold the true figure. They take the next year's patients to be like this log's.",
        table,
        range_chart(bars, x_title="minutes in the chair", from_zero=True),
        "New patients need longer than they are given, routine recalls less",
        "Four kinds of booking, each with today's slot and the recommended one. New patient: today 30, recommended 35 minutes.",
        ("Patients come as punctually as they did in this log.",),
        ("Slots are for the diary, never for hurrying a patient.",),
        (Check("Held-out visits", PASSED, "84 in 100 visits took no longer than the nine-in-ten figure."),),
        BASIS,
        (ResultRow("slots", "slot_minutes", {"policy": "recommended", "booking": "new"}, 35.0, np.nan, np.inf, 0.95, "minutes", 2210, "simulated"),),
    )  # fmt: skip


def recall() -> Answer:
    """An answer with a line chart with bands and one named category more."""
    months = np.arange(0, 25)
    lines = []
    for label, scale, colour in [
        ("hearing aid", 9.0, RECOMMENDED),
        ("no hearing aid", 15.0, TODAY),
        (AWKWARD[9:12] + "other", 15.5, NAMED[0]),
    ]:
        share = 1 - np.exp(-((months / scale) ** 1.4))
        lines.append(Line(label, months.tolist(), share, share * 0.85, np.minimum(share * 1.15, 1), colour))
    table = pd.DataFrame(
        {
            "site": [AWKWARD, "South"],
            "unit": ["share", "months"],
            "value": [0.301, 9.25],
            "low": [0.004, 8.0],
            "high": [0.4, 10.75],
        }
    )
    return Answer(
        "When should we call people back?",
        "Call hearing-aid wearers back after 5 months and others after 9: until then no more than 3 in 10 ears are occluding again.",
        "Ranges are 95% ranges.",
        table,
        line_chart(lines, x_title="months since the ear was cleared", y_title="share of ears occluding again", percent=True),
        "Ears with a hearing aid fill up almost twice as fast",
        "Share of ears occluding again by month since clearance. With a hearing aid 30% after 5 months; without, after 9.",
        (f"Patients of {AWKWARD} are as in this log.",),
        (),
        (Check("Fit", INFORMATION, "The curve lies within the range of the steps counted directly."),),
        BASIS,
    )  # fmt: skip


def softening() -> Answer:
    """An answer the log cannot give."""
    return no_answer(
        "Does softening first pay?",
        NotEnough("Only 31 ears were softened first.", "Record for each visit whether softening was used."),
    )


def made_up_page(*, invented: bool = True) -> Page:
    """A page of these answers."""
    booked, called, softened = Question(booking()), Question(recall()), Question(softening())
    return Page(
        clinic=f"Two Rivers {AWKWARD}",
        quarter_label="July to September 2026",
        standfirst="From a log of 11,020 bookings, 2 October 2023 to 30 September 2026. Of 11,400 rows read, 11,020 were kept and 380 set aside, each with its reason.",
        summary=tuple(Sentence(each.answer.headline, each.answer.question) for each in (booked, softened, called)),
        parts=(Part("How long to book", (booked,)), Part("Softening and recall", (softened, called))),
        how_sure="Ranges are 95% ranges: about 19 in 20 such ranges hold the true figure.",
        cautions=("These figures decide nothing about one patient.", "Local protocol decides."),
        footer="Made by earclinic 0.1.0 with settings 0123456789ab.",
        invented=invented,
    )
