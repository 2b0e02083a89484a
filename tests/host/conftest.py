"""What the tests of the page share."""

import pytest
from page_tools import Phone, code_of, scene_at, served


@pytest.fixture(scope="module")
def page():
    """One page for the tests that leave it as it was."""
    with served(scene_at(ask="pour")) as page:
        yield page


@pytest.fixture(scope="module")
def phone(page):
    """A phone that is paired with it."""
    phone = Phone(page)
    phone.pair(code_of(page))
    return phone
