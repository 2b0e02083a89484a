"""The firmware with fewer names: each statement on its line, each constant its value, each name short or public.

That it behaves as the source does, every test on the virtual board shows: what runs there was made this way.
"""

import ast
import importlib
import re
import subprocess
from pathlib import Path

import pytest
from board_tools import micropython

from bainboard import start
from bainwright import virtual
from bainwright.files.firmware import firmware, sources
from bainwright.files.shrink import Module, short_names, shrunk
from bainwright.files.shrink_beside import renamed
from bainwright.files.traced import readable

MPY = 6
# Past 1,260 names MicroPython's table takes another 9 KB at once (measured; py/qstr.c doubles it from 20 on).
MOST_NAMES = 1260
PROBE = """
import gc, sys, micropython
class Fake:
    def __init__(self, *args, **kwargs): pass
for name in ("machine", "onewire", "framebuf"):
    sys.modules[name] = Fake()
sys.modules["machine"].Pin = Fake
sys.path.insert(0, sys.argv[1])
for name in sys.argv[2:]:
    __import__("bainboard." + name)
micropython.qstr_info()
"""


ASK = """
import array, hashlib, io, os, select, sys
def made():
    yield
for thing in ("", b"", bytearray(), [], (), {}, set(), frozenset(), 0, 0.0, range(2), made(), memoryview(b""),
              open(sys.argv[0]), open(sys.argv[0], "rb"), io.BytesIO(), array.array("b"), hashlib.sha256(),
              select.poll(), {}.keys(), Exception(), OSError(), StopIteration(), type, sys.stdin, sys.stdout):
    for name in dir(thing):
        print(name)
"""


def test_a_small_package_is_shrunk_as_written_here():
    files = {
        "p/table.py": (
            b"LOW, HIGH = range(2)\nWAIT_MS = 5 * 1000  # chosen\nROW = (LOW, WAIT_MS)\n_K = -0.5\n"
            b"NAME = 'one'\nROWS = ((LOW, NAME, 'two'), (HIGH, ('three', None)))\n"
        ),
        "p/use.py": (
            b"from p import table\nfrom p.table import HIGH, ROW\n\n_count = 0\n\n\nclass Use:\n"
            b"    def __init__(self, most):\n        self._most = most\n        self.last = None\n\n"
            b"    def _over(self, value):\n        global _count\n        _count += 1\n"
            b'        return f"{value} > {self._most} of {table.WAIT_MS}", ROW[HIGH], table.ROW[table.LOW]\n'
        ),
    }
    assert shrunk(files) == {
        "p/table.py": (
            b"\n  # chosen\n_b = (0, 5000)\n\n"
            b"\n_T = ((0, 'one' if __name__ else \"\", 'two'), (1, ('three' if __name__ else \"\", None)))\n"
        ),
        "p/use.py": (
            b"from p import table\nfrom p.table import _b\n\n_M = 0\n\n\nclass _B:\n"
            b"    def __init__(self, _a):\n        self._u = _a\n        self._u1 = None\n\n"
            b"    def _c(self, _a):\n        global _M\n        _M += 1\n"
            b"        return f'{_a} > {self._u} of {5000}', _b[1], table._b[0]\n"
        ),
    }


@pytest.mark.parametrize(("source", "wanted"), [
    (b"def f(x, y):\n    return x + y\n\n\nf(1, y=2)\n", b"def f(_a, y):\n    return _a + y\n\n\nf(1, y=2)\n"),
    (b"x = 1\ndef f(y=x):\n    return x, y\n", b"x = 1\ndef f(_a=x):\n    return x, _a\n"),
    (b"def f(x):\n    x += 1\n    return lambda y: x * y\n",
     b"def f(_a):\n    _a += 1\n    return lambda _b: _a * _b\n"),
    (b"def f(x):\n    return [x for x in x]\n", b"def f(x):\n    return [x for x in x]\n"),
    (b"def f(x, y):\n    return lambda x: x + y\n", b"def f(x, _a):\n    return lambda _b: _b + _a\n"),
    (b"def f(x):\n    import x\n    return x\n", b"def f(x):\n    import x\n    return x\n"),
    (b"def f(x):\n    return x.x(x)\n", b"def f(_a):\n    return _a.x(_a)\n"),
])  # fmt: skip
def test_a_parameter_is_shortened_where_nothing_else_means_its_name(source, wanted):
    assert shrunk({"p/m.py": source}, b"f, x, y") == {"p/m.py": wanted}


@pytest.mark.parametrize(("source", "wanted"), [
    (b"class C:\n    LOW, HIGH = 0.5, 2  # chosen\n\n    def f(self):\n        return self.LOW + C.HIGH\n",
     b"class C:\n    pass  # chosen\n\n    def f(self):\n        return 0.5 + 2\n"),
    (b"class C:\n    LOW = 1\n    MOST = LOW\n\n    def f(self):\n        return self.LOW, self.MOST\n",
     b"class C:\n    LOW = 1\n    MOST = LOW\n\n    def f(self):\n        return 1, self.MOST\n"),
    (b"class C:\n    LOW = 1\n\n\ndef f(other):\n    return other.LOW, C.LOW\n",
     b"class C:\n    LOW = 1\n\n\ndef f(_a):\n    return _a.LOW, 1\n"),
])  # fmt: skip
def test_a_constant_of_a_class_becomes_its_value_and_stays_where_something_else_may_mean_it(source, wanted):
    assert shrunk({"p/m.py": source}, b"C, LOW, MOST, f") == {"p/m.py": wanted}


def test_a_module_that_is_named_for_its_constants_alone_is_not_imported():
    files = {"p/table.py": b"LOW = 1\n\n\ndef f():\n    pass\n",
             "p/one.py": b"from p import table\n\n\ndef f():\n    return table.LOW\n",
             "p/two.py": b"from p import table\n\n\ndef f():\n    return table.LOW, table.f()\n"}
    found = shrunk(files, b"f")
    assert found["p/one.py"] == b"\n\n\ndef f():\n    return 1\n"
    assert found["p/two.py"] == b"from p import table\n\n\ndef f():\n    return 1, table.f()\n"


def test_a_private_name_of_another_module_is_refused():
    with pytest.raises(ValueError, match="_theirs"):
        shrunk({"p/one.py": b"def f(other):\n    return other._theirs\n"})


def test_no_class_of_the_firmware_inherits():
    """Two classes of one object could give the same short name to two of its attributes."""
    for source in sources()[1].values():
        for node in ast.walk(ast.parse(source)):
            assert not (isinstance(node, ast.ClassDef) and node.bases), node.name


def read(files):
    dotted = {path.removesuffix(".py").replace("/", "."): text for path, text in files.items()}
    return {name: Module(name, text) for name, text in dotted.items()}


def own_names(tree):
    """What each class has and what the module has, as sets of names."""
    for top in tree.body:
        if isinstance(top, ast.ClassDef):
            inner = [node for node in ast.walk(top) if isinstance(node, ast.Attribute)]
            yield {node.attr for node in inner if ast.unparse(node.value) == "self"} | {
                node.id for each in top.body if isinstance(each, ast.Assign | ast.AnnAssign)
                for node in ast.walk(each) if isinstance(node, ast.Name)
            } | {each.name for each in top.body if isinstance(each, ast.FunctionDef)}
    yield {each.name for each in tree.body if isinstance(each, ast.FunctionDef | ast.ClassDef)} | {
        node.id for each in tree.body if isinstance(each, ast.Assign) for target in each.targets
        for node in ast.walk(target) if isinstance(node, ast.Name)
    } | {each.asname or each.name for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) for each in node.names}


def test_no_class_and_no_module_of_the_firmware_has_two_names_that_became_one():
    main, files = sources()
    short = short_names(files, main)
    trees = {path.removesuffix(".py").replace("/", "."): ast.parse(text) for path, text in files.items()}
    outside = {node.attr for tree in trees.values() for node in ast.walk(tree) if isinstance(node, ast.Attribute)
               and isinstance(node.ctx, ast.Store) and ast.unparse(node.value) != "self"}
    assert len(outside) > 30
    modules = read(files)
    checked = 0
    for module, tree in trees.items():
        for names in own_names(tree):
            names = {each for each in names if modules[module].constant(ast.Name(each, ast.Load()), modules) is None}
            keys = {(module if name[0] == "_" else "", name) for name in names} | {("", name) for name in outside}
            found = [short[key] for key in keys if key in short]
            assert len(set(found)) == len(found), module
            checked += len(found)
    assert checked > 1500


def test_a_name_that_objects_of_micropython_or_of_a_board_have_stays(tmp_path):
    """Oracles: the interpreter, and the stand-ins for the hardware that every test on the virtual board runs on."""
    main, files = sources()
    changed = {name for module, name in short_names(files, main) if not module}
    (tmp_path / "ask.py").write_text(ASK)
    said = subprocess.run([micropython(), tmp_path / "ask.py"], capture_output=True, text=True, check=True).stdout
    assert {"append", "decode", "close", "popitem", "errno"} < set(said.split())
    assert not changed & set(said.split())
    standins = Path(virtual.__file__).parent / "standins"
    for name in ("machine", "onewire", "rp2", "select"):
        for node in ast.walk(ast.parse((standins / f"{name}.py").read_text(encoding="utf-8"))):
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                theirs = {each.name for each in node.body if isinstance(each, ast.FunctionDef)}
                assert not changed & {node.name, *theirs}, node.name


def test_a_program_beside_the_firmware_is_written_with_its_names():
    short = {("", "ask"): "_a", ("", "give"): "_a", ("", "last"): "_b", ("", "One"): "_c", ("p.m", "_own"): "_d"}
    program = (
        "from other import One as Own\nfrom p.m import One\nclass Mine(One):\n"
        "    def ask(self):\n        return self.last, 'ask'\n")
    assert renamed(program, short) == (
        "from other import One as Own\nfrom p.m import _c as One\n\nclass Mine(One):\n\n"
        "    def _a(self):\n        return (self._b, 'ask')")
    with pytest.raises(ValueError, match="Mine: ask and give"):
        renamed("class Mine:\n    def ask(self):\n        self.give = 1\n", short)


def test_another_version_of_one_module_changes_few_of_the_others_names():
    """So an install of it sends few files; with names numbered in order it changed all after the new one."""
    main, files = sources()
    path = "bainboard/warmer.py"
    before = shrunk(files, main)
    after = shrunk({**files, path: files[path] + b"\n\ndef looked_at_once_more(first_s):\n    return first_s\n"}, main)
    assert before[path] != after[path]
    assert sum(before[each] != after[each] for each in files) <= 8


def test_a_traceback_from_a_board_is_read_with_the_names_of_the_source():
    main, files = sources()
    short = short_names(files, main)
    at, code = short["bainboard.supervisor", "_see_water"], short["", "water_c"]
    trace = (f'Traceback (most recent call last):\n  File "bainboard.app", line 40, in __init__\n'
             f"  File \"bainboard.supervisor\", line 1, in {at}\nAttributeError: no attribute '{code}'\n")
    lines = readable(trace).splitlines()
    assert lines[:3] == [*trace.splitlines()[:2], '  File "bainboard.supervisor", line 1, in _see_water']
    assert "water_c" in lines[3]


def test_every_function_stays_on_its_line():
    main, files = sources()
    for path, source in shrunk(files, main).items():
        before, after = [
            [(node.lineno, node.name) for node in ast.walk(ast.parse(text)) if isinstance(node, ast.FunctionDef)]
            for text in (files[path], source)
        ]
        assert [line for line, _ in before] == [line for line, _ in after], path
        for (_, name), (_, now) in zip(before, after, strict=True):
            assert now == name or re.fullmatch(r"_[A-Za-z]\d?", now), path


def test_a_constant_is_what_python_makes_of_its_definition():
    """Oracle: CPython, which runs the module."""
    modules = read(sources()[1])
    checked = 0
    for name, module in modules.items():
        if name.rpartition(".")[2] in ("board", "app", "start", "display_task", "__init__"):
            continue  # they load a board's own modules, or are packages
        real = importlib.import_module(name)
        for each in [name for name in vars(real) if name.isupper()]:
            try:
                value = module.value(each, modules)
            except KeyError:
                continue
            assert (value, type(value)) == (getattr(real, each), type(getattr(real, each))), (name, each)
            checked += 1
    assert checked > 400


def test_all_modules_with_panel_and_display_have_room_for_more_names(tmp_path):
    for path, content in firmware(MPY).files.items():
        (tmp_path / path).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / path).write_bytes(content)
    (tmp_path / "probe.py").write_text(PROBE)
    command = [micropython(), "-X", "heapsize=1M", tmp_path / "probe.py", tmp_path]
    said = subprocess.run([*command, *start.LAYERS, "display_task"], capture_output=True, text=True, check=True).stdout
    names = int(re.search(r"n_qstr=(\d+)", said)[1])
    assert 500 < names < MOST_NAMES - 50
