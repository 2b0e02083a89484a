"""Every check_*.py three times: CPython, MicroPython, and Python with single-precision floats.

Those that play whole holds leave CPython out: its floats are MicroPython's here, and its language the third way's.
"""

import importlib
import struct

import numpy as np
import pytest
import single_precision

from conftest import HERE, MODULES, names_in, run_apart, run_one_apart

CASES = [(module, name) for module in MODULES for name in names_in(HERE / (module + ".py"))]
IDS = ["-".join(case) for case in CASES]
WHOLE_HOLDS = ("check_supervisor_acts", "check_supervisor_faults", "check_heat_balance")
SHORT = [case for case in CASES if case[0] not in WHOLE_HOLDS]


@pytest.mark.parametrize(("module", "name"), SHORT, ids=["-".join(case) for case in SHORT])
def test_cpython(module, name):
    getattr(importlib.import_module(module), name)()


@pytest.mark.parametrize(("module", "name"), CASES, ids=IDS)
def test_micropython(module, name):
    run_one_apart("micropython", module, name)


@pytest.mark.parametrize(("module", "name"), CASES, ids=IDS)
def test_float32(module, name):
    run_one_apart("float32", module, name)


# -- the harness itself -------------------------------------------------------------------------------------------

SAMPLE = """
def test_that_holds():
    assert 1 + 1 == 2

def test_that_fails():
    assert 1 + 1 == 3

def test_that_breaks():
    raise KeyError("lost")
"""


@pytest.mark.parametrize("way", ["micropython", "float32"])
def test_a_failing_check_is_reported_with_its_traceback(way, tmp_path):
    (tmp_path / "check_sample.py").write_text(SAMPLE)
    found, _ = run_apart(way, "check_sample", tmp_path)
    assert found["test_that_holds"] is None
    assert "AssertionError" in found["test_that_fails"]
    assert "KeyError" in found["test_that_breaks"]


@pytest.mark.parametrize("way", ["micropython", "float32"])
def test_a_module_that_cannot_be_imported_fails_its_tests(way, tmp_path):
    (tmp_path / "check_broken.py").write_text("import no_such_module\n\ndef test_it():\n    pass\n")
    with pytest.raises(pytest.fail.Exception, match="no verdict"):
        run_one_apart(way, "check_broken", "test_it", tmp_path)


RECURRENCE = """
class Leaky:
    def __init__(self, gain):
        self.total = 0.0
        self.gain = gain

    def step(self, x):
        self.total += self.gain * (x - self.total) / 7 + 0.001
        return self.total ** 2 - -self.total

leaky = Leaky(0.3)
out = [leaky.step(i * 0.1) for i in range(500)]
big = 16777217 * 1.0
listed = [1]
same = listed
listed += [2]
"""


def test_rewritten_code_agrees_with_numpy_single_precision_to_the_bit():
    """Oracle: numpy's float32 scalars, which round every operation to IEEE 754 single precision."""
    single_precision.install_builtins()
    space = {"__name__": "sample"}
    exec(single_precision.rewrite(RECURRENCE, "sample"), space)
    total, want = np.float32(0.0), []
    for i in range(500):
        x = np.float32(i) * np.float32(0.1)
        total = total + (np.float32(0.3) * (x - total) / np.float32(7) + np.float32(0.001))
        want.append(total**2 + total)
    assert np.array_equal(np.array(space["out"], dtype=np.float32), np.array(want, dtype=np.float32))
    assert all(value == struct.unpack("f", struct.pack("f", value))[0] for value in space["out"])
    assert space["big"] == 16777216.0
    assert space["same"] == [1, 2]
