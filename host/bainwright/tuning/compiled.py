"""Plain Python classes as machine code: their source, translated method by method and compiled by Numba.

The firmware's control law and the built-in plant exist once, as classes. A simulation of millions of seconds cannot
call them, so it takes their source: an object becomes a record (one field per attribute, objects inside nested), a
method a function that takes the record first, None a NaN. The source may use what such classes need: numbers, flags,
comparisons, local names, and calls of its own methods, of methods of nested objects and of plain functions.
"""

from __future__ import annotations

import ast
import dataclasses
import functools
import hashlib
import importlib.util
import inspect
import math
import os
import sys
import textwrap
import types
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np

from bainwright.core.atomic_write import replace_file
from bainwright.core.figures import Figure
from bainwright.core.user_folder import make_user_folder

PRELUDE = '''"""Translated by bainwright.tuning.compiled; made again whenever a source changes."""
from math import exp, pi, pow, sqrt, isnan, nan
from numba import njit

@njit(cache=True)
def bisect_right(points, x):
    at = 0
    while at < len(points) and points[at] <= x:
        at += 1
    return at
'''
KNOWN = {"exp", "pi", "pow", "sqrt", "bisect_right", "min", "max", "abs", "range", "len", "float", "int", "bool"}


def attributes(thing: Any) -> dict[str, Any]:
    """The attributes of an object that a record can hold; properties too if it is frozen, since they cannot change."""
    names = dict(vars(thing)) if hasattr(thing, "__dict__") else {n: getattr(thing, n) for n in thing.__struct_fields__}
    kind: Any = type(thing)
    if dataclasses.is_dataclass(kind) and vars(kind)["__dataclass_params__"].frozen:
        names |= {n: getattr(thing, n) for n, each in vars(kind).items() if isinstance(each, property)}
    return {name: value for name, value in names.items() if not isinstance(value, str)}


def _is_object(value: Any) -> bool:
    return value is not None and not isinstance(value, bool | int | float | np.number)


def dtype_of(thing: Any) -> np.dtype[Any]:
    """The record type of an object: flags stay flags, numbers and None become doubles, objects nest."""
    fields: list[tuple[str, Any]] = []
    for name, value in attributes(thing).items():
        kind = dtype_of(value) if _is_object(value) else np.dtype("b1" if isinstance(value, bool) else "f8")
        fields.append((name, kind))
    return np.dtype(fields, align=True)


def fill(record: Any, thing: Any) -> None:
    """Copy an object's attributes into its record."""
    for name, value in attributes(thing).items():
        if _is_object(value):
            fill(record[name], value)
        else:
            record[name] = math.nan if value is None else value


class _Translator(ast.NodeTransformer):
    """One function: knows which local names are records, and of which class."""

    def __init__(self, unit: Unit, home: types.ModuleType, kinds: dict[str, type]) -> None:
        self.unit, self.home, self.kinds = unit, home, kinds

    def kind(self, node: ast.expr) -> type | None:
        """The class of the record an expression names, if it names one."""
        if isinstance(node, ast.Name):
            return self.kinds.get(node.id)
        if isinstance(node, ast.Attribute):
            owner = self.kind(node.value)
            return self.unit.inside.get((owner, node.attr)) if owner else None
        return None

    def visit_Assign(self, node: ast.Assign) -> Any:
        target, value = node.targets[0], node.value
        pairs = zip(target.elts, value.elts, strict=True) if (
            isinstance(target, ast.Tuple) and isinstance(value, ast.Tuple)) else [(target, value)]
        for to, source in pairs:
            kind = self.kind(source)
            if isinstance(to, ast.Name) and kind is not None:
                self.kinds[to.id] = kind
        return self.generic_visit(node)

    def visit_AnnAssign(self, node: ast.AnnAssign) -> Any:
        assert node.value is not None
        return self.visit(ast.copy_location(ast.Assign([node.target], node.value), node))

    def visit_Compare(self, node: ast.Compare) -> Any:
        left = self.visit(node.left)
        if isinstance(node.ops[0], ast.Is | ast.IsNot):
            test: ast.expr = ast.Call(ast.Name("isnan", ast.Load()), [left], [])
            return ast.UnaryOp(ast.Not(), test) if isinstance(node.ops[0], ast.IsNot) else test
        return ast.Compare(left, node.ops, [self.visit(each) for each in node.comparators])

    def visit_Constant(self, node: ast.Constant) -> Any:
        return ast.Name("nan", ast.Load()) if node.value is None else node

    def visit_Call(self, node: ast.Call) -> Any:
        args = [self.visit(each) for each in node.args]
        keywords = [ast.keyword(each.arg, self.visit(each.value)) for each in node.keywords]
        function = node.func
        if isinstance(function, ast.Attribute):
            owner = self.kind(function.value)
            if owner is not None:
                name = self.unit.method(owner, function.attr)
                return ast.Call(ast.Name(name, ast.Load()), [self.visit(function.value), *args], keywords)
        return ast.Call(self.visit(function), args, keywords)

    def visit_Attribute(self, node: ast.Attribute) -> Any:
        owner = self.kind(node.value)
        if owner is None and isinstance(node.value, ast.Name):
            held = getattr(self.home, node.value.id, None)
            if isinstance(held, types.ModuleType):
                return ast.Name(self.unit.outside(getattr(held, node.attr), node.attr, held), node.ctx)
            if isinstance(held, Figure):
                name = f"{node.value.id}_{node.attr}"
                return ast.Name(self.unit.outside(getattr(held, node.attr), name, self.home), node.ctx)
        if owner is not None and isinstance(vars(owner).get(node.attr), property) and (
                (owner, node.attr) not in self.unit.fields):
            name = self.unit.method(owner, node.attr)
            return ast.Call(ast.Name(name, ast.Load()), [self.visit(node.value)], [])
        return self.generic_visit(node)

    def visit_Name(self, node: ast.Name) -> Any:
        if isinstance(node.ctx, ast.Load) and node.id not in KNOWN and hasattr(self.home, node.id):
            return ast.Name(self.unit.outside(getattr(self.home, node.id), node.id, self.home), node.ctx)
        return node

    def visit_arguments(self, node: ast.arguments) -> Any:
        for each in node.args:
            each.annotation = None
        node.defaults = [self.visit(each) for each in node.defaults]
        return node


class Unit:
    """Code that is translated together: give it objects, ask for methods, then take the module's text.

    Parameters
    ----------
    things : object
        Examples of the classes, in the shape they are simulated in.
    """

    def __init__(self, *things: Any) -> None:
        self.inside: dict[tuple[type, str], type] = {}
        self.fields: set[tuple[type, str]] = set()
        self._made: dict[str, str] = {}
        self._constants: dict[str, Any] = {}
        for thing in things:
            self._look(thing)

    def _look(self, thing: Any) -> None:
        for name, value in attributes(thing).items():
            self.fields.add((type(thing), name))
            if _is_object(value):
                self.inside[type(thing), name] = type(value)
                self._look(value)

    def method(self, owner: type, name: str) -> str:
        """The name of the function translated from a method or a property."""
        full = f"{owner.__name__}_{name.lstrip('_')}" + ("_" if name.startswith("_") else "")
        if full not in self._made:
            found = inspect.getattr_static(owner, name)
            function: Any = found.fget if isinstance(found, property) else found
            self._translate(full, function, {"self": owner})
        return full

    def outside(self, value: Any, name: str, home: types.ModuleType) -> str:
        """The name of a module's constant or function, which is added to the unit."""
        if isinstance(value, types.FunctionType):
            full = f"{value.__module__.rpartition('.')[2]}_{value.__name__}"
            if full not in self._made:
                self._translate(full, value, {})
            return full
        if home is math and name in KNOWN:
            return name
        full = f"{home.__name__.rpartition('.')[2]}_{name}"
        assert isinstance(value, bool | int | float | tuple), f"{home.__name__}.{name} cannot be compiled"
        self._constants[full] = value
        return full

    def _translate(self, full: str, function: types.FunctionType, kinds: dict[str, type]) -> None:
        self._made[full] = ""  # before the body, which may call it
        tree = ast.parse(textwrap.dedent(inspect.getsource(function)))
        made = tree.body[0]
        assert isinstance(made, ast.FunctionDef)
        if isinstance(made.body[0], ast.Expr) and isinstance(made.body[0].value, ast.Constant):
            made.body.pop(0)  # its docstring
        made.name, made.returns = full, None
        made.decorator_list = [ast.parse("njit(cache=True, error_model='numpy')", mode="eval").body]
        home = sys.modules[function.__module__]
        made = _Translator(self, home, dict(kinds)).visit(made)
        self._made[full] = ast.unparse(ast.fix_missing_locations(made))

    def text(self) -> str:
        """The module's text, in any order of functions: names are looked up when compiled."""
        constants = "\n".join(f"{name} = {value!r}" for name, value in sorted(self._constants.items()))
        return "\n".join([PRELUDE, constants, *(self._made[name] for name in sorted(self._made))]) + "\n"


@functools.cache
def function(plain: Any) -> Any:
    """A plain function over numbers and arrays, compiled."""
    unit = Unit()
    name = unit.outside(plain, plain.__name__, sys.modules[plain.__module__])
    return getattr(load(unit.text()), name)


def load(text: str, extra: str = "") -> types.ModuleType:
    """A module from its text, stored in the user's cache so that Numba finds what it compiled before.

    Parameters
    ----------
    text : str
        Of a `Unit`.
    extra : str
        More source that uses it.
    """
    text += extra
    name = "bain_" + hashlib.sha256(text.encode()).hexdigest()[:16]
    if name in sys.modules:
        return sys.modules[name]
    path = _cache() / f"{name}.py"
    if not path.is_file() or path.read_text(encoding="utf-8") != text:
        replace_file(path, text)
    spec = importlib.util.spec_from_file_location(name, path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


def _cache() -> Path:
    """A folder of the user's own; without a writable home, a temporary one."""
    home = os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache"
    folder = Path(home) / "bainwright"
    with suppress(OSError):
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    return folder if os.access(folder, os.W_OK) else make_user_folder()  # nobody else's: code of it is run


def records(things: Mapping[int, Any] | list[Any]) -> np.ndarray[Any, Any]:
    """An array of records of objects with the same shape."""
    items = list(things.values()) if isinstance(things, Mapping) else things
    array = np.zeros(len(items), dtype_of(items[0]))
    for at, thing in enumerate(items):
        fill(array[at], thing)
    return array
