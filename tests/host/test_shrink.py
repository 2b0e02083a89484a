"""The firmware with fewer names: each statement on its line, each constant its value, each name short or public.

That it behaves as the source does, every test on the virtual board shows: what runs there was made this way.
"""

import ast
import importlib
import re
import subprocess

import pytest
from board_tools import micropython

from bainboard import start
from bainwright.files.firmware import firmware, sources
from bainwright.files.shrink import Module, shrunk

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
            b"\n  # chosen\nROW = (0, 5000)\n\n"
            b"\nROWS = ((0, 'one' if __name__ else \"\", 'two'), (1, ('three' if __name__ else \"\", None)))\n"
        ),
        "p/use.py": (
            b"from p import table\nfrom p.table import ROW\n\n_a = 0\n\n\nclass Use:\n"
            b"    def __init__(self, _d):\n        self._b = _d\n        self.last = None\n\n"
            b"    def _c(self, _d):\n        global _a\n        _a += 1\n"
            b"        return f'{_d} > {self._b} of {5000}', ROW[1], table.ROW[0]\n"
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
    assert shrunk({"p/m.py": source}) == {"p/m.py": wanted}


@pytest.mark.parametrize(("source", "wanted"), [
    (b"class C:\n    LOW, HIGH = 0.5, 2  # chosen\n\n    def f(self):\n        return self.LOW + C.HIGH\n",
     b"class C:\n    pass  # chosen\n\n    def f(self):\n        return 0.5 + 2\n"),
    (b"class C:\n    LOW = 1\n    MOST = LOW\n\n    def f(self):\n        return self.LOW, self.MOST\n",
     b"class C:\n    LOW = 1\n    MOST = LOW\n\n    def f(self):\n        return 1, self.MOST\n"),
    (b"class C:\n    LOW = 1\n\n\ndef f(other):\n    return other.LOW, C.LOW\n",
     b"class C:\n    LOW = 1\n\n\ndef f(_a):\n    return _a.LOW, 1\n"),
])  # fmt: skip
def test_a_constant_of_a_class_becomes_its_value_and_stays_where_something_else_may_mean_it(source, wanted):
    assert shrunk({"p/m.py": source}) == {"p/m.py": wanted}


def test_a_module_that_is_named_for_its_constants_alone_is_not_imported():
    files = {"p/table.py": b"LOW = 1\n\n\ndef f():\n    pass\n",
             "p/one.py": b"from p import table\n\n\ndef f():\n    return table.LOW\n",
             "p/two.py": b"from p import table\n\n\ndef f():\n    return table.LOW, table.f()\n"}
    found = shrunk(files)
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


def test_every_function_stays_on_its_line_and_public_names_stay():
    _, files = sources()
    for path, source in shrunk(files).items():
        before, after = [
            [(node.lineno, node.name) for node in ast.walk(ast.parse(text)) if isinstance(node, ast.FunctionDef)]
            for text in (files[path], source)
        ]
        assert [line for line, _ in before] == [line for line, _ in after], path
        for (_, name), (_, now) in zip(before, after, strict=True):
            assert now == name or re.fullmatch(r"_[A-Za-z]\d?", now), path


def test_a_constant_is_what_python_makes_of_its_definition():
    """Oracle: CPython, which runs the module."""
    modules = {path.removesuffix(".py").replace("/", "."): Module(text) for path, text in sources()[1].items()}
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
