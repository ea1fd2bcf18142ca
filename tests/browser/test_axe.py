"""What axe-core finds wrong for readers with a screen reader, a keyboard or weak sight."""

import pytest
from axe_playwright_python.sync_playwright import Axe


@pytest.mark.parametrize("width", [390, 1280])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing(opened, width, scheme):
    page = opened(width, scheme=scheme)
    page.evaluate("document.querySelectorAll('details').forEach(each => each.open = true)")
    found = Axe().run(page).response["violations"]
    page.evaluate("document.querySelectorAll('details').forEach(each => each.open = false)")
    assert [(each["id"], each["nodes"][0]["html"][:150], len(each["nodes"])) for each in found] == []
