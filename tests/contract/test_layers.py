"""The layout is the picture: imports go one way, downward, and importing does nothing else."""

import ast
import functools
import subprocess
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[2]
FIRMWARE, HOST = ROOT / "firmware", ROOT / "host"

# Lowest first. A module imports from its own layer (never in a ring) and from those before it.
FIRMWARE_LAYERS = (
    {"bainboard", "bainboard.control", "bainboard.drivers"},  # packages: names only
    {"wire", "answered", "chunks", "framing", "settings", "stages", "refill", "faults", "pins", "pin_check", "outbox",
     "heap_reserve", "drivers.codes", "display_words", "probe_words"},
    {"help_text"},  # words for the PC; no board loads it
    {"store", "log_folder", "transfer", "sensing", "drive", "drivers.onewire_probe", "drivers.ntc", "drivers.platinum",
     "drivers.display", "control.pid", "control.gains", "control.rules"},
    {"commands", "programme", "heat_balance", "rest", "plausibility", "lone_probe", "supervisor", "selftest", "panel",
     "display_text", "flashlog", "experiment", "powerup", "control.cascade"},
    {"fitting"},
    {"board", "warmer", "panel_logic", "saved_profiles"},
    {"documents", "display_task"},
    {"standalone", "starting"},
    {"requests_urgent", "requests_hold", "requests_documents", "requests_log", "requests_board"},
    {"service"},
    {"panel_task"},
    {"app"},
    {"start"},
    {"main"},
)
# The host's rooms, lowest first. A module imports from its own room and from those before it.
ROOMS = (
    "core", "words", "link", "files", "physics", "builds", "record", "archive", "virtual", "display", "chocolates",
    "tuning", "install", "rigs", "calibration", "drill", "plan", "evening", "report", "happenings", "what_if",
    "review", "alarms", "live", "page", "commands", "cli",
)
TOUCHES_HARDWARE = {"machine", "rp2", "esp32", "onewire", "select", "time", "gc", "network", "umachine", "utime",
                    "framebuf", "micropython"}
PLAYS_THE_FIRMWARE = {"bainwright.virtual.python_board", "bainwright.virtual.python_modules"}  # they are a board
# start, heap_reserve: gc; display_task: the display's bus, away from boards that have none
MAY_TOUCH_HARDWARE = {"bainboard.board", "bainboard.display_task", "bainboard.start", "bainboard.heap_reserve", "main"}
ON_EVERY_BOARD = {"binascii", "errno", "hashlib", "math", "os", "struct", "sys"}
HARMLESS_CALLS = {"range", "len", "tuple", "dict", "float", "int", "str", "min", "max"}


def module_name(path: Path, root: Path) -> str:
    """Dotted name of a source file."""
    parts = path.relative_to(root).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


class Made(Mapping[str, Any]):
    """A mapping whose values are made when first asked for: the tests' names must not wait for them."""

    def __init__(self, keys: Iterable[str], make: Callable[[str], Any]) -> None:
        self._keys, self._make = dict.fromkeys(keys), functools.cache(make)

    def __getitem__(self, key: str) -> Any:
        if key not in self._keys:
            raise KeyError(key)
        return self._make(key)

    def __iter__(self) -> Iterator[str]:
        return iter(self._keys)

    def __len__(self) -> int:
        return len(self._keys)


def sources(root: Path, package: str) -> Mapping[str, ast.Module]:
    """Every module under a root, parsed. Stand-ins for a board's own modules, and what is sent to a board to be run
    there, are not the host's.
    """
    paths = {
        module_name(path, root): path
        for path in sorted(root.rglob("*.py"))
        if not {"standins", "board_scripts"} & set(path.parts)
        and (path.is_relative_to(root / package) or path.parent == root)
    }
    return Made(paths, lambda name: ast.parse(paths[name].read_text(encoding="utf-8"), str(paths[name])))


BOARD = sources(FIRMWARE, "bainboard")
PC = sources(HOST, "bainwright")


def imports(tree: ast.AST, known: Mapping[str, ast.Module]) -> set[str]:
    """Every module a tree imports, anywhere in it; `from package import module` counts as the module."""
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"line {node.lineno}: relative import; imports name the package"
            for alias in node.names:
                inner = f"{node.module}.{alias.name}"
                found.add(inner if inner in known else str(node.module))
    return found


def ours(known: Mapping[str, ast.Module], package: str) -> Mapping[str, set[str]]:
    """For each module, those of its own package it imports."""
    return Made(known, lambda name: {
        other for other in imports(known[name], known) if other == package or other.startswith(package + ".")
    })


BOARD_IMPORTS, PC_IMPORTS = ours(BOARD, "bainboard"), ours(PC, "bainwright")


def firmware_layer(name: str) -> int:
    """Index of a firmware module's layer."""
    short = name if name in FIRMWARE_LAYERS[0] else name.removeprefix("bainboard.")
    found = [i for i, layer in enumerate(FIRMWARE_LAYERS) if short in layer]
    assert found, f"{name} has no layer: give it one in FIRMWARE_LAYERS"
    return found[0]


def room(name: str) -> int:
    """Index of a host module's room; the package itself lies below all of them."""
    if name == "bainwright":
        return -1
    first = name.split(".")[1]
    if first == "__main__":
        return len(ROOMS)
    assert first in ROOMS, f"{name} is in no room: give its folder a place in ROOMS"
    return ROOMS.index(first)


def upward(name: str, others: set[str]) -> list[str]:
    """Those of a host module's imports that lie in a higher room than its own."""
    return sorted(other for other in others if room(other) > room(name))


def ring(graph: Mapping[str, set[str]]) -> list[str]:
    """The modules of some ring of imports, or none."""
    left = {name: set(others) & set(graph) - {name} for name, others in graph.items()}
    while True:
        free = [name for name, others in left.items() if not others & set(left)]
        if not free:
            return sorted(left)
        for name in free:
            del left[name]


# A longer module has two ideas, unless it says why not.
MOST_LINES = 400
LONG = {
    "bainboard.supervisor": "the table of checks and what each row looks at: one page, read from top to bottom",
    "bainboard.app": "one pass of the loop, and what its parts report: split, its order could not be read",
    "bainboard.programme": "one state machine; its steps share what a step back must restore",
}


@pytest.mark.parametrize(("root", "known"), [(FIRMWARE, BOARD), (HOST, PC)], ids=["firmware", "host"])
def test_no_module_is_long_without_a_reason(root, known):
    lines = {name: len((root / (name.replace(".", "/") + ".py")).read_text(encoding="utf-8").splitlines())
             for name in known if (root / (name.replace(".", "/") + ".py")).exists()}
    assert len(lines) > 30
    long = {name for name, count in lines.items() if count > MOST_LINES}
    assert long == {name for name in LONG if name in lines}


def test_there_are_modules_to_judge():
    assert {"bainboard.wire", "bainboard.app", "main"} <= set(BOARD)
    assert {"bainwright.core.errors", "bainwright.link.protocol"} <= set(PC)


@pytest.mark.parametrize("name", BOARD)
def test_firmware_imports_go_downward(name):
    up = {other for other in BOARD_IMPORTS[name] if firmware_layer(other) > firmware_layer(name)}
    assert not up, f"{name} imports upward: {sorted(up)}"


@pytest.mark.parametrize("name", PC)
def test_host_imports_go_downward(name):
    assert not upward(name, PC_IMPORTS[name]), f"{name} imports upward"


def test_an_upward_import_on_the_host_is_seen():
    assert upward("bainwright.core.errors", {"bainwright.cli"}) == ["bainwright.cli"]
    assert upward("bainwright.physics.air", {"bainwright.virtual.plant", "bainwright.files.rig"}) == [
        "bainwright.virtual.plant"
    ]
    with pytest.raises(AssertionError, match="in no room"):
        room("bainwright.stray")


def test_an_import_inside_a_function_counts():
    lazy = ast.parse("def late():\n    from bainwright import cli\n    import bainwright.virtual.plant\n")
    assert upward("bainwright.core.errors", imports(lazy, PC)) == ["bainwright.cli", "bainwright.virtual.plant"]


def test_nothing_imports_the_command_line():
    found = [name for name, others in PC_IMPORTS.items() if "bainwright.cli" in others]
    assert found in ([], ["bainwright.__main__"])


@pytest.mark.parametrize("graph", [BOARD_IMPORTS, PC_IMPORTS], ids=["firmware", "host"])
def test_no_modules_import_each_other_in_a_ring(graph):
    assert ring(graph) == []


def test_a_ring_is_found_and_its_absence_too():
    assert ring({"a": {"b"}, "b": {"c"}, "c": {"a"}, "d": {"a"}}) == ["a", "b", "c", "d"]
    assert ring({"a": {"b", "c"}, "b": {"c"}, "c": set()}) == []


@pytest.mark.parametrize("name", BOARD)
def test_only_board_and_main_touch_the_hardware_and_the_clock(name):
    touched = imports(BOARD[name], BOARD) & TOUCHES_HARDWARE
    assert not touched or name in MAY_TOUCH_HARDWARE, f"{name} imports {sorted(touched)}"


@pytest.mark.parametrize("name", BOARD)
def test_firmware_imports_only_what_every_board_has(name):
    foreign = {each for each in imports(BOARD[name], BOARD) if each.split(".")[0] not in ("bainboard", "main")}
    allowed = ON_EVERY_BOARD | (TOUCHES_HARDWARE if name in MAY_TOUCH_HARDWARE else set())
    assert foreign <= allowed, f"{name} imports {sorted(foreign - allowed)}"


def test_drivers_know_nothing_of_the_firmware_but_their_codes():
    for name, found in BOARD_IMPORTS.items():
        if name.startswith("bainboard.drivers."):
            assert found <= {"bainboard.drivers", "bainboard.drivers.codes"}, name


@pytest.mark.parametrize("name", PC)
def test_the_host_imports_only_firmware_that_runs_without_a_board(name):
    taken = {other for other in imports(PC[name], BOARD) if other.startswith("bainboard.")}
    if name in PLAYS_THE_FIRMWARE:
        return
    assert not taken & {"bainboard.board", "bainboard.app", "bainboard.service", "bainboard.standalone"}, name


def effect(node: ast.stmt) -> str | None:
    """What a statement at the top of a module does beyond naming things, or None."""
    if isinstance(node, (ast.Import, ast.ImportFrom, ast.FunctionDef, ast.ClassDef)):
        return None
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
        return None
    if isinstance(node, (ast.Assign, ast.AnnAssign)):
        calls = [each for each in ast.walk(node) if isinstance(each, ast.Call) and not harmless(each)]
        return ast.unparse(calls[0]) if calls else None
    if isinstance(node, ast.Try):  # a capability, detected once
        inner = [*node.body, *[each for handler in node.handlers for each in handler.body], *node.orelse]
        return next((found for found in map(effect, inner) if found), None)
    if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING" and not node.orelse:
        return next((found for found in map(effect, node.body) if found), None)
    return ast.unparse(node)


def harmless(call: ast.Call) -> bool:
    """A call that only makes a value."""
    if isinstance(call.func, ast.Name):
        return call.func.id in HARMLESS_CALLS
    return isinstance(call.func, ast.Attribute) and call.func.attr in ("join", "items", "values", "keys")


@pytest.mark.parametrize("name", [name for name in BOARD if name != "main"])
def test_importing_firmware_does_nothing(name):
    found = [line for line in map(effect, BOARD[name].body) if line]
    assert found == [], f"{name} acts when imported: {found}"


def test_an_effect_at_import_is_seen():
    for source in ("pin = Pin(3)", "print(1)", "for i in x: f(i)", "try:\n import a\nexcept ImportError:\n go()"):
        assert any(effect(node) for node in ast.parse(source).body), source
    for source in ('"""Words."""', "x = [1, 2]", "Y = {r[0]: r for r in x}", "import a", "def f(): g()"):
        assert not any(effect(node) for node in ast.parse(source).body), source


WATCHED_IMPORT = """
import sys, threading
seen = []
def watch(event, args):
    made = event == "open" and isinstance(args[1], str) and set(args[1]) & set("wax+")
    if made or event in ("subprocess.Popen", "socket.bind", "socket.connect", "os.mkdir", "os.remove", "os.fork"):
        seen.append((event, str(args)[:200]))
sys.addaudithook(watch)
for name in sys.argv[1:]:
    __import__(name)
assert not seen, seen
assert threading.active_count() == 1, threading.enumerate()
"""


def test_importing_the_host_writes_starts_and_says_nothing():
    names = [name for name in PC if not name.endswith("__main__")]
    done = subprocess.run(
        [sys.executable, "-B", "-c", WATCHED_IMPORT, *names],
        env={"PYTHONPATH": f"{FIRMWARE}:{HOST}", "PATH": ""}, capture_output=True, text=True, check=False,
    )
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
