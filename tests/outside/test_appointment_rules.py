"""Appointment rules against what Bailey and Welch (1952) and Ho and Lau (1992) report of them.

Bailey (1952), J. R. Stat. Soc. B 14, 185-199, and Welch and Bailey (1952), Lancet 259, 1105-1108: patients at
intervals of the mean consultation, two at the start, keep the consultant busier at little cost in waiting. Ho and
Lau (1992), Management Science 38, 1750-1764: missed bookings matter most to a rule's cost, then the coefficient of
variation of the minutes, then the number of patients. How known: what the papers found was read in a summary of them;
no figure of theirs is used, only directions and their order, so no tolerance is needed.

The newsvendor's textbook example (demand Normal(50, 20), price 7, cost 5, so that a share of 2/7 is to be met: 38.68)
and the same for a uniform demand from 50 to 80 were read in a calculator's page and computed again in R 4.2.2 (stats).
A slot is such a stock: minutes too few make the next patient wait, minutes too many leave the room idle.
"""

import numpy as np
import pytest
from scipy import stats

from analysis.planning.session import Bookings, SessionFigures, run_sessions
from analysis.planning.session_rules import SessionRules, run_rules
from tests.outside.referee import approx

MEAN, SESSIONS = 5.0, 20_000


def session(*, patients: int = 25, missed: float = 0.0, spread: float = 0.6, two: bool = False) -> SessionFigures:
    """Slots of the mean consultation; minutes from a gamma distribution with a coefficient of variation."""
    rng = np.random.default_rng(1952)
    shape, power = (patients, SESSIONS), 1 / spread**2
    minutes = rng.gamma(power, MEAN / power, shape)
    bookings = Bookings(np.zeros(shape, int), minutes, rng.random(shape) >= missed, np.zeros(shape))
    return run_rules(np.array([MEAN]), bookings, SessionRules(patients * MEAN, two_first=two))


def test_two_at_the_start_save_the_consultants_time_and_cost_less_than_a_visit_of_waiting_each():
    plain, two = session(), session(two=True)
    assert two.idle_minutes < plain.idle_minutes
    assert two.overtime_minutes < plain.overtime_minutes
    assert plain.mean_wait_minutes < two.mean_wait_minutes < plain.mean_wait_minutes + MEAN


@pytest.mark.parametrize("dearer", [10.0, 30.0])
@pytest.mark.parametrize("missed", [0.0, 0.1, 0.2])
def test_two_at_the_start_cost_less_whenever_the_consultants_time_is_dear(dearer, missed):
    def cost(two: bool) -> float:
        found = session(missed=missed, two=two)
        return found.cost(price_wait=1.0, price_idle=dearer, price_overtime=dearer)

    assert cost(two=True) < cost(two=False)


def test_missed_bookings_move_the_idle_minutes_more_than_the_spread_and_the_spread_more_than_the_patients():
    def idle_share(**other: float) -> float:
        patients = int(other.get("patients", 25))
        return session(**other).idle_minutes / (patients * MEAN)

    missed = abs(idle_share(missed=0.2) - idle_share(missed=0.0))
    spread = abs(idle_share(spread=0.5) - idle_share(spread=0.2))
    patients = abs(idle_share(patients=30) - idle_share(patients=20))
    assert missed > spread > patients


@pytest.mark.parametrize(
    ("minutes", "textbook"), [(stats.norm(50, 20), 38.6810235613427), (stats.uniform(50, 30), 58.5714285714286)]
)
def test_the_cheapest_slot_before_a_second_patient_is_the_newsvendors_stock(minutes, textbook):
    took = minutes.ppf((np.arange(4000) + 0.5) / 4000)
    both = np.stack([took, np.zeros(len(took))])
    slots = np.arange(textbook - 3, textbook + 3, 0.02)

    def cost(slot: float) -> float:
        runs = run_sessions(np.array([[0.0], [slot]]), both, np.ones(both.shape, bool))
        return 2 * runs.wait_minutes[1].mean() + 5 * runs.idle_minutes.mean()

    # 4,000 even steps of the distribution and slots 0.02 minutes apart: right to 0.05 minutes
    assert slots[int(np.argmin([cost(slot) for slot in slots]))] == approx(textbook, abs=0.05)
