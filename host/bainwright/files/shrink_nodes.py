"""What `shrink` asks of a source's tree and of the values in it."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from string import ascii_letters
from typing import Any

WORD = re.compile(r"\w{0,10}", re.ASCII)  # texts that MicroPython interns: one object wherever they are written


def own(class_name: str, name: str) -> ast.Attribute:
    """A class's own constant, as `Class.NAME`."""
    return ast.Attribute(ast.Name(class_name, ast.Load()), name, ast.Load())


def short(at: int) -> str:
    """The short name of that number."""
    return "_" + ascii_letters[at % 52] + str(at // 52 or "")


def short_of(node: ast.AST) -> str:
    """The short name that a parameter was given; empty for any other node."""
    return getattr(node, "short", "")


def name_of(node: ast.AST) -> str:
    """What a name or a parameter is called in the source."""
    return node.arg if isinstance(node, ast.arg) else getattr(node, "id", "")


def all_names(node: ast.AST) -> list[str]:
    """Every name that a node itself writes."""
    match node:
        case ast.Name(id=name) | ast.Attribute(attr=name) | ast.arg(arg=name):
            return [name]
        case ast.FunctionDef(name=name) | ast.ClassDef(name=name):
            return [name]
        case ast.Global(names=names):
            return names
        case ast.ImportFrom():
            return [each.asname or each.name for each in node.names]
    return []


def at_module(tree: ast.Module) -> Iterator[ast.AST]:
    """Every node that gives the module a name when it is loaded, among others."""
    for node in tree.body:
        if isinstance(node, ast.ClassDef):
            yield node
        else:
            yield from (each for each in outside_functions(node) if not isinstance(each, ast.Attribute))


def is_local(function: ast.FunctionDef | ast.Lambda, name: str) -> bool:
    """Does the name belong to a function, or to one in it?"""
    own = [each.arg for each in ast.walk(function.args) if isinstance(each, ast.arg)]
    inside = [node for part in body(function) for node in ast.walk(part)]
    wide = any(isinstance(node, ast.Global) and name in node.names for node in inside)
    stored = any(is_stored(node) and name_of(node) == name for node in inside)
    return name in own or (not wide and (stored or any(
        (isinstance(node, ast.FunctionDef | ast.ClassDef) and node.name == name)
        or (isinstance(node, ast.ExceptHandler) and node.name == name) for node in inside)))


def root(node: ast.AST) -> str:
    """The name before the first point, as `machine` of `machine.Pin().value`."""
    while isinstance(node, ast.Attribute | ast.Call | ast.Subscript):
        node = node.func if isinstance(node, ast.Call) else node.value
    return name_of(node)


def texts(inside: list[ast.AST]) -> set[str]:
    """The texts among nodes."""
    return {node.value for node in inside if isinstance(node, ast.Constant) and isinstance(node.value, str)}


def foreign(inside: list[ast.AST], package: str) -> set[str]:
    """The names that are asked of modules outside the package, as `value` of `machine.Pin().value()`."""
    theirs = {
        each.asname or each.name for node in inside if isinstance(node, ast.Import)
        or (isinstance(node, ast.ImportFrom) and (node.module or "").partition(".")[0] != package)
        for each in node.names
    }
    return theirs | {node.attr for node in inside if isinstance(node, ast.Attribute) and root(node) in theirs}


def body(function: ast.FunctionDef | ast.Lambda) -> list[ast.AST]:
    """What is evaluated when a function is called."""
    return [function.body] if isinstance(function, ast.Lambda) else list(function.body)


def is_rebound(inside: list[ast.AST], name: str) -> bool:
    """Does something in a function's body give a name of its own scope another meaning there?"""
    for node in inside:
        match node:
            case ast.arg(arg=other) | ast.ExceptHandler(name=other) | ast.alias(asname=other) if other == name:
                return True
            case ast.alias(name=other) | ast.FunctionDef(name=other) | ast.ClassDef(name=other) if other == name:
                return True
            case ast.Global(names=others) | ast.Nonlocal(names=others) if name in others:
                return True
            case ast.comprehension(target=target) if name in {name_of(each) for each in ast.walk(target)}:
                return True
    return False


def outside_texts(node: ast.AST) -> Iterator[ast.AST]:
    """Every node, but none inside an f-string."""
    yield node
    if not isinstance(node, ast.JoinedStr):
        for child in ast.iter_child_nodes(node):
            yield from outside_texts(child)


def outside_functions(node: ast.AST) -> Iterator[ast.AST]:
    """Every node that is evaluated when the module is loaded."""
    yield node
    if not isinstance(node, ast.FunctionDef | ast.Lambda):
        for child in ast.iter_child_nodes(node):
            yield from outside_functions(child)


def names(target: ast.expr) -> list[tuple[str, int | None]]:
    """The names of an assignment's target, each with its place in what is assigned."""
    if isinstance(target, ast.Name):
        return [(target.id, None)]
    parts = target.elts if isinstance(target, ast.Tuple) else []
    return [(each.id, at) for at, each in enumerate(parts) if isinstance(each, ast.Name)]


def is_stored(node: ast.AST) -> bool:
    return isinstance(getattr(node, "ctx", None), ast.Store)


def fits(value: Any) -> bool:
    """Is it as good as its name: a number, or a text that is one object wherever it is written?"""
    return isinstance(value, int | float) or (isinstance(value, str) and WORD.fullmatch(value) is not None)


def literal(value: Any) -> str:
    return f"({value!r})" if isinstance(value, int | float) and value < 0 else repr(value)
