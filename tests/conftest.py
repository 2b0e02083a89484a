"""What all tests share: records go below each test's own folder, and slow files are marked."""

import os
import tempfile
from collections.abc import Iterator
from typing import Any

import hypothesis
import pytest

from bainwright.virtual import interpreter

os.environ["BAIN_HOME"] = "."  # never the user's home
_RUNTIME = tempfile.TemporaryDirectory(prefix="bain")  # deleted at this process's end
os.environ["XDG_RUNTIME_DIR"] = _RUNTIME.name  # holds and boards of other tests are none of this one's
# One thread of linear algebra a test process: the matrices are small, and more threads only wait for each other.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

hypothesis.settings.register_profile("bainwright", deadline=None)  # a test is judged by what it sees, not by the clock
hypothesis.settings.load_profile("bainwright")

# Files that take over three seconds of one core. They play whole holds, compile or fit; the inner loop leaves them out.
SLOW = {
    "test_abuse", "test_air_and_water", "test_alone", "test_board_check", "test_board_models", "test_calibrate",
    "test_campaign", "test_chocolates", "test_collect", "test_collect_damage", "test_collect_joined",
    "test_collect_lives", "test_collect_virtual", "test_control_world", "test_cooled_evening", "test_drawings",
    "test_drill", "test_every_figure", "test_fastsim", "test_finding", "test_float", "test_frozen",
    "test_happenings", "test_hardware_pages", "test_heartbeat_gate", "test_heater_size", "test_hold", "test_holds",
    "test_host_moves_no_duty", "test_identify", "test_install", "test_install_cuts", "test_memory_in_a_hold",
    "test_mpremote", "test_night_drift", "test_orders", "test_page", "test_page_warmers", "test_panel_on_board",
    "test_panel_view", "test_picture", "test_plan", "test_plan_grid", "test_plan_heat", "test_plan_on_board",
    "test_plan_page", "test_plan_seed", "test_plan_simulated", "test_plan_times", "test_power", "test_python_board",
    "test_rigs", "test_search", "test_show", "test_shrink", "test_tune", "test_virtual_board",
    "test_virtual_board_console", "test_virtual_board_ends", "test_virtual_board_flash",
    "test_virtual_board_probes", "test_virtual_hold", "test_watch", "test_what_if", "test_whole_evening",
    "test_wire_fuzz",
}

# Files whose tests share something that takes seconds to make: one process runs all of such a file.
SHARED = {
    "test_collect_virtual", "test_cooled_evening", "test_firmware_types", "test_flashlog_littlefs", "test_happenings",
    "test_heater_size", "test_install_cuts", "test_layers", "test_mpremote", "test_night_drift", "test_page_past_holds",
    "test_tune", "test_what_if", "test_whole_evening",
}


def pytest_xdist_auto_num_workers(config: pytest.Config) -> int:
    """One process more than there are cores: a slow test of a virtual board waits for it a third of its time."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return cores + (config.option.markexpr != "not slow")


@pytest.hookimpl(tryfirst=True)  # before the groups are read
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark slow tests and shared ones, and order them; of the firmware's checks the inner loop runs CPython's."""
    for item in items:
        if item.path.stem in SHARED:
            item.add_marker(pytest.mark.xdist_group(item.path.stem))
        elsewhere = item.path.stem == "test_on_three" and not item.name.startswith("test_cpython")
        if item.path.stem in SLOW or elsewhere:
            item.add_marker(pytest.mark.slow)
    # What takes long comes first, so that no process is left alone with it at the end.
    items.sort(key=lambda item: (item.path.stem not in SHARED, item.get_closest_marker("slow") is None))


# -- a PC without MicroPython ------------------------------------------------------------------------------------------

_HERE = interpreter.find()
_require = interpreter.require_micropython
_lacked: list[str] = []  # what the test that runs needs it for


def _require_and_note(what: str = "a virtual board") -> interpreter.Interpreter:
    if interpreter.find() is None:
        _lacked.append(what)
    return _require(what)


if _HERE is None:
    interpreter.require_micropython = _require_and_note


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]) -> Iterator[Any]:
    """Where no MicroPython fits, skip the tests that fail because they need one; the others run."""
    report: pytest.TestReport = yield
    if call.when == "setup":
        lacked, _lacked[:] = list(_lacked), []
    else:
        lacked = _lacked
    said = call.excinfo is not None and "needs MicroPython" in str(call.excinfo.value)  # by a fixture that many share
    if _HERE is None and report.failed and (lacked or said):
        report.outcome = "skipped"
        report.longrepr = (str(item.path), 0, "Skipped: it needs MicroPython, and none fits on this PC")
    return report
