"""The sheet of what to record prints on exactly one side of A4, whatever the log lacks."""

import re

import numpy as np
import pandas as pd
import pytest

from analysis.clinic import Clinic
from analysis.report.sheet import write_sheet
from analysis.schema import EAR_ROWS, VISITS, typed_frame
from tests import log_world as world

NOTHING = Clinic(typed_frame(VISITS, pd.DataFrame()), typed_frame(EAR_ROWS, pd.DataFrame()))
LOGS = {"nothing yet": NOTHING, "half a log": world.clean_clinic(np.random.default_rng(4), days=30)}


@pytest.fixture(params=LOGS)
def page(request, browser, tmp_path):
    opened = browser.new_page(viewport={"width": 390, "height": 800})
    opened.goto(write_sheet(LOGS[request.param], tmp_path).as_uri())
    yield opened
    opened.close()


def test_it_prints_on_one_page(page):
    printed = page.pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", printed)) == 1
    assert re.search(rb"/MediaBox\s*\[\s*0 0 59[45]\.\d+ 84[12]\.", printed)


def test_it_fits_a_phone(page):
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
