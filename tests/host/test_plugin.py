"""Plants of others, loaded by FILE.py:NAME."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from bainwright.core.errors import PlantError
from bainwright.files.rig import load_rig
from bainwright.virtual.plugin import load_plant
from bainwright.virtual.world import build_world

GOOD = """
from dataclasses import dataclass, field
import beside

calls = []

@dataclass
class Urn:
    temps_c: dict = field(default_factory=dict)

    def __post_init__(self):
        calls.append(1)

    def step(self, power_w, dt_s):
        self.temps_c = {"water": beside.START_C, "bowl": 30.0}

def factory():
    return Urn()

class NoStep:
    temps_c = {"water": 20.0}

class NoTemps:
    def step(self, power_w, dt_s):
        pass

class NeedsMore:
    def __init__(self, litres):
        pass

class Broken:
    def __init__(self):
        raise RuntimeError("no such table")

figure = 3
"""


@pytest.fixture
def plant_file(tmp_path: Path) -> Path:
    (tmp_path / "beside.py").write_text("START_C = 41.5\n")
    path = tmp_path / "urn.py"
    path.write_text(GOOD)
    return path


@pytest.mark.parametrize("name", ["Urn", "factory"])
def test_class_or_factory_is_called_once_with_nothing(plant_file, name):
    """A dataclass, an import from beside it, and a plant whose temperatures are read after its first step."""
    world = build_world(load_rig("pot"), f"{plant_file}:{name}", None, 1)
    assert world.true_c("water") == 41.5
    assert world.has_bowl
    assert sys.modules["bainwright_plant_urn"].calls == [1]


def refused(spec: object) -> str:
    with pytest.raises(PlantError) as refusal:
        load_plant(str(spec))
    assert refusal.value.exit_code == 2
    return str(refusal.value)


@pytest.mark.parametrize("spec", ["urn.py", "urn.py:", ":Urn", "", "urn.py:not a name"])
def test_spec_of_another_form_is_refused(spec):
    """The form is told."""
    assert "FILE.py:NAME" in refused(spec)


@pytest.mark.parametrize(
    ("name", "words"),
    [("Um", "defines no 'Um'"), ("Urm", "did you mean Urn?"), ("figure", "cannot be called: got int"),
     ("NoStep", "has no step"), ("NoTemps", "has no temps_c"), ("NeedsMore", "TypeError"), ("Broken", "no such table")],
)
def test_plant_that_is_none_is_refused_in_words(plant_file, name, words):
    """Nothing of a stranger's code reaches the user as a traceback."""
    assert words in refused(f"{plant_file}:{name}")


def test_file_that_is_absent_or_fails_is_refused_in_words(tmp_path):
    """Absent, no Python by its name, wrong syntax, an import that is missing, a script that leaves."""
    assert "there is no plant file" in refused(tmp_path / "none.py:Urn")
    text = tmp_path / "urn.txt"
    text.write_text(GOOD)
    assert "not Python" in refused(f"{text}:Urn")
    broken = {"def": "SyntaxError", "import nowhere_at_all": "nowhere_at_all", "raise SystemExit(3)": "SystemExit"}
    for source, words in broken.items():
        path = tmp_path / "bad.py"
        path.write_text(source)
        assert words in refused(f"{path}:Urn")
