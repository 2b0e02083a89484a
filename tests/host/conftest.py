"""What tests of the host share: a folder of their own, and a page with a phone that is paired."""

import pytest
from page_tools import Phone, code_of, scene_at, served


@pytest.fixture
def here(tmp_path, monkeypatch):
    """A folder of the test's own, where the process is."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def undrawn(monkeypatch):
    """Reports without their pictures, which take most of a report's time: for tests that look at none."""
    def begun(folder, *_, **__):
        for name in ("hold.png", "hold.svg"):
            (folder / name).touch()

    monkeypatch.setattr("bainwright.display.picture.draw_hold", begun)


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
