"""Programs that play with the shrunk firmware from outside: a bench's probe, a test's own start."""

from __future__ import annotations

import ast
from collections.abc import Mapping
from itertools import combinations

from bainwright.files import shrink_nodes as nodes
from bainwright.files.shrink_names import Key


def renamed(source: str, short: Mapping[Key, str]) -> str:
    """A program that plays with the shrunk package from outside, its public names written as they are there.

    Raises
    ------
    ValueError
        If two names of a class in it are one in the package.
    """
    packages = {module.partition(".")[0] for module, _ in short if module}
    public = {name: short[module, name] for module, name in short if not module}
    return ast.unparse(_Outside(public, packages).visit(ast.parse(source)))


class _Outside(ast.NodeTransformer):
    """Short names for what a program asks of the package's objects, and for what its own classes offer them."""

    def __init__(self, names: Mapping[str, str], packages: set[str]) -> None:
        self._names, self._packages = names, packages

    def _short(self, name: str) -> str:
        return self._names.get(name, name)

    def visit_Attribute(self, node: ast.Attribute) -> ast.AST:
        node.attr = self._short(node.attr)
        return self.generic_visit(node)

    def visit_ImportFrom(self, node: ast.ImportFrom) -> ast.AST:
        ours = (node.module or "").partition(".")[0] in self._packages
        for each in node.names:
            if ours and self._short(each.name) != each.name:
                each.name, each.asname = self._short(each.name), each.asname or each.name
        return node

    def visit_ClassDef(self, node: ast.ClassDef) -> ast.AST:
        names = {each for inner in ast.walk(node) if hasattr(inner, "attr") or inner in node.body
                 for each in nodes.all_names(inner)}
        for one, other in combinations(sorted(names & self._names.keys()), 2):
            if self._names[one] == self._names[other]:
                raise ValueError(f"{node.name}: {one} and {other} are one name in the package")
        for part in node.body:
            for each in nodes.outside_functions(part):
                if isinstance(each, ast.FunctionDef):
                    each.name = self._short(each.name)
                elif isinstance(each, ast.Name):
                    each.id = self._short(each.id)
        return self.generic_visit(node)
