"""Print on which PCs bainwright installs from wheels alone. Run by hand: python tests/bench/wheels.py [PYTHON ...]

For each system and version of Python, pip looks for a wheel of every requirement, and of what these require; it
downloads and installs nothing. pip evaluates the markers of the second kind for the PC it runs on, so a package that
is required on Windows alone is not looked for.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path

from packaging.requirements import Requirement

PROJECT = Path(__file__).parents[2] / "pyproject.toml"
PYTHONS = ("3.11", "3.12", "3.13", "3.14")
GLIBC = ("2_17", "2_24", "2_27", "2_28")  # the newest is Debian 10's; a wheel for an older one runs as well
LIMIT_S = 240.0


def linux(machine: str) -> list[str]:
    """The wheels that a Linux with glibc 2.28 takes."""
    return [f"manylinux2014_{machine}", *(f"manylinux_{version}_{machine}" for version in GLIBC)]


# What a system is called, sys.platform, platform.machine() and its tags.
SYSTEMS = (
    ("Linux x86-64", "linux", "x86_64", linux("x86_64")),
    ("Linux aarch64", "linux", "aarch64", linux("aarch64")),
    ("macOS 14, ARM", "darwin", "arm64", ["macosx_14_0_arm64"]),
    ("macOS 14, Intel", "darwin", "x86_64", ["macosx_14_0_x86_64"]),
    ("Windows x86-64", "win32", "AMD64", ["win_amd64"]),
    ("Windows ARM", "win32", "ARM64", ["win_arm64"]),
)


def wanted(system: str, machine: str, python: str) -> list[str]:
    """What the project requires on such a PC."""
    lines = tomllib.loads(PROJECT.read_text(encoding="utf-8"))["project"]["dependencies"]
    here = {"sys_platform": system, "platform_machine": machine, "python_version": python}
    found = [Requirement(line) for line in lines]
    return [f"{each.name}{each.specifier}" for each in found if each.marker is None or each.marker.evaluate(here)]


def look(requirements: list[str], tags: list[str], python: str) -> str:
    """How many wheels pip would install, or the first requirement without one."""
    with tempfile.TemporaryDirectory() as folder:
        report = Path(folder) / "report.json"
        command = [sys.executable, "-m", "pip", "install", "--dry-run", "--quiet", "--ignore-installed",
                   "--only-binary=:all:", "--target", folder, "--report", str(report), "--implementation", "cp",
                   "--python-version", python, *(part for tag in tags for part in ("--platform", tag)),
                   *requirements]  # fmt: skip
        said = subprocess.run(command, capture_output=True, text=True, check=False, timeout=LIMIT_S)
        if said.returncode == 0:
            return f"{len(json.loads(report.read_text())['install'])} wheels"
    errors = [line.removeprefix("ERROR: ") for line in said.stderr.splitlines() if line.startswith("ERROR: ")]
    return errors[-1] if errors else said.stderr.strip()[-200:]


def main() -> None:
    """The table."""
    for python in sys.argv[1:] or PYTHONS:
        for name, system, machine, tags in SYSTEMS:
            found = look(wanted(system, machine, python), tags, python)
            print(f"{python:5} {name:16} {found}", flush=True)


if __name__ == "__main__":
    main()
