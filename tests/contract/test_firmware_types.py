"""The firmware's types, checked against what a board's interpreter offers: MicroPython's stubs for the Pico.

A name without an annotation may be anything: boards, buses, files and the app are known by what they can do. Readings
may be None wherever the code says so; that is left to the tests, not to types. The stubs lie beside other packages,
where mypy takes no stubs from, so they are copied out.
"""

from __future__ import annotations

import importlib.metadata
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
STUBS = ("micropython-rp2-rpi_pico-stubs", "micropython-stdlib-stubs")
CONFIG = """
[mypy]
custom_typeshed_dir = {stubs}
mypy_path = {stubs}:{firmware}
explicit_package_bases = True
no_site_packages = True
follow_imports = silent
strict_optional = False
check_untyped_defs = True
warn_unused_ignores = True
"""


@pytest.fixture(scope="module")
def config(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("stubs")
    for name in STUBS:
        for file in importlib.metadata.files(name) or ():
            if file.suffix == ".pyi" or file.name == "VERSIONS":
                target = folder / str(file)
                target.parent.mkdir(parents=True, exist_ok=True)
                target.write_bytes(Path(str(file.locate())).read_bytes())
    path = folder / "mypy.ini"
    path.write_text(CONFIG.format(stubs=folder, firmware=ROOT / "firmware"))
    return path


def errors(config: Path, *paths: Path) -> list[str]:
    """What mypy finds in these files."""
    done = subprocess.run(
        [sys.executable, "-m", "mypy", "--config-file", str(config), "--cache-dir", str(config.parent / "cache"),
         *map(str, paths)], capture_output=True, text=True, check=False, cwd=ROOT)
    assert done.returncode in (0, 1), done.stdout + done.stderr
    return [line for line in done.stdout.splitlines() if " error: " in line and str(config.parent) not in line]


@pytest.mark.slow
def test_the_firmware_s_types_hold(config: Path) -> None:
    # A manifest is read by the interpreter's own build, which gives it its functions.
    files = sorted(path for path in (ROOT / "firmware").rglob("*.py") if path.name != "manifest.py")
    assert len(files) > 30
    assert errors(config, *files) == []


@pytest.mark.slow
def test_a_wrong_argument_and_a_module_no_board_has_are_seen(config: Path, tmp_path: Path) -> None:
    wrong = tmp_path / "wrong.py"
    wrong.write_text("import machine\nimport dataclasses\nfrom bainboard import wire\n\n\n"
                     "def f() -> int:\n    machine.Pin(3).no_such()\n    return wire.milli('warm')\n")
    found = "\n".join(errors(config, wrong))
    assert "no_such" in found
    assert "dataclasses" in found
    assert "milli" in found
