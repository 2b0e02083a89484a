"""Run the tests on each Python that is there: python tests/each_python.py [PYTHON ...] [-- PYTEST OPTIONS]

A PYTHON is a command or a path; without one, python3.11 to python3.14 are looked for. Each gets an environment of its
own, .venv-3.12 for example, made when it is first needed. What follows -- goes to pytest: -- -m 'not slow' runs the
inner loop.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[1]
USUAL = ("python3.11", "python3.12", "python3.13", "python3.14")
ASK = "import sys; print('%d.%d' % sys.version_info[:2])"


def version(python: str) -> str | None:
    """Its version as 3.12; None if it does not run."""
    try:
        said = subprocess.run([python, "-c", ASK], capture_output=True, text=True, check=False)
    except OSError:
        return None
    return said.stdout.strip() if said.returncode == 0 else None


def prepared(python: str, number: str) -> Path | None:
    """The Python of its environment, with the project and its test tools; None if they cannot be installed."""
    inside = ROOT / f".venv-{number}" / "bin" / "python"
    if not inside.exists():
        subprocess.run([python, "-m", "venv", str(inside.parents[1])], check=True)
    done = subprocess.run([str(inside), "-m", "pip", "install", "-q", "-e", f"{ROOT}[test]"], check=False)
    return inside if done.returncode == 0 else None


def main() -> int:
    """Run the suite on each; fails if it fails on one, or if there is none."""
    given, options = sys.argv[1:], []
    if "--" in given:
        at = given.index("--")
        given, options = given[:at], given[at + 1 :]
    results = {}
    for python in given or USUAL:
        number = version(python)
        if number is None:
            print(f"{python}: not there", flush=True)
            continue
        print(f"{python}: Python {number}", flush=True)
        inside = prepared(python, number)
        run = inside and subprocess.run([str(inside), "-m", "pytest", *options], cwd=ROOT, check=False)
        results[number] = "not installed" if run is None else "passed" if run.returncode == 0 else "FAILED"
    for number, result in results.items():
        print(f"Python {number}: {result}")
    return 0 if set(results.values()) == {"passed"} else 1


if __name__ == "__main__":
    sys.exit(main())
