"""The firmware's sources with fewer names, as they are compiled for a board: the same lines, the same behaviour.

A board never frees a name, and its table of names grows by doubling. So constants, a class's own too, become their
values. Names become `_a`, `_b` and so on, and share them: see `shrink_names`. A public name stays where it is also a
text in the source (the wire's words, what `getattr` may ask for), a module, a name that MicroPython's own objects have,
or one by which main.py starts the firmware. Parameters that no call names become short too.
Every statement stays on its line, so a traceback from a board points into the source as people read it; `traced` says
what a short name in it stands for.
"""

from __future__ import annotations

import ast
import copy
import operator
import re
from collections import Counter
from collections.abc import Callable, Collection, Iterator, Mapping
from itertools import count
from typing import Any

from bainwright.files import shrink_nodes as nodes
from bainwright.files.shrink_names import STAYS, Key, shared

PRIVATE = re.compile(r"_[A-Za-z]\w*")
CONSTANT = re.compile(r"_?[A-Z][A-Z0-9_]*")
OPERATORS: Mapping[type[ast.operator], Callable[[Any, Any], Any]] = {
    ast.Add: operator.add, ast.Sub: operator.sub, ast.Mult: operator.mul, ast.Div: operator.truediv,
    ast.FloorDiv: operator.floordiv, ast.Pow: operator.pow, ast.LShift: operator.lshift, ast.BitOr: operator.or_,
}
Modules = Mapping[str, "Module"]


def shrunk(files: Mapping[str, bytes], started: bytes = b"") -> dict[str, bytes]:
    """The same files with fewer names.

    Parameters
    ----------
    files : mapping of str to bytes
        Every module of the package by its path, for example ``bainboard/drivers/ntc.py``.
    started : bytes
        The source that starts the package: what it names keeps its name.

    Raises
    ------
    ValueError
        If a module uses a private name of another one.
    """
    modules = _modules(files)
    short = _shared(modules, started)
    named = {name for module in modules.values() for name in module.keywords()}
    for module in modules.values():
        module.shorten_parameters(short, named)
    kept = {name for module in modules.values() for name in module.class_constants_elsewhere(modules)}
    return {path: module.shrunk(modules, kept, short) for path, module in zip(files, modules.values(), strict=True)}


def short_names(files: Mapping[str, bytes], started: bytes = b"") -> Mapping[Key, str]:
    """The short name of each name that has one, in what `shrunk` makes of the same files."""
    return _shared(_modules(files), started)


def _modules(files: Mapping[str, bytes]) -> dict[str, Module]:
    dotted = {path.removesuffix(".py").replace("/", "."): source for path, source in files.items()}
    return {name: Module(name, source) for name, source in dotted.items()}


def _shared(modules: Modules, started: bytes) -> Mapping[Key, str]:
    stays = {word for name in modules for word in name.split(".")} | STAYS
    stays |= {name for node in ast.walk(ast.parse(started)) for name in nodes.all_names(node)}
    stays = stays.union(*(module.staying for module in modules.values()))
    spaces = [{key for key in space if key[0] or key[1] not in stays}
              for module in modules.values() for space in module.spaces(modules)]
    return shared(spaces, {key for module in modules.values() for key in module.set_on_others})


class Module:
    """One source file, its constants' definitions, and what it imports from the package."""

    def __init__(self, name: str, source: bytes) -> None:
        self._name = name
        self._source = source
        self._tree = ast.parse(source)
        self._nodes = list(ast.walk(self._tree))  # from the outside in
        self._starts = [0]
        for line in source.splitlines(keepends=True):
            self._starts.append(self._starts[-1] + len(line))
        stored = Counter(
            node.id for node in self._nodes if nodes.is_stored(node) and isinstance(node, ast.Name))
        self._assigned = [node for node in self._tree.body if isinstance(node, ast.Assign)]
        self._defined = {  # constant: (its expression, its place in it or None)
            name: (node.value, place)
            for node in self._assigned for target in node.targets for name, place in nodes.names(target)
            if CONSTANT.fullmatch(name) and stored[name] == 1
        }
        self._classes = {  # of each class its constants, as above
            node.name: {
                name: (each.value, place)
                for each in node.body if isinstance(each, ast.Assign)
                for target in each.targets for name, place in nodes.names(target) if CONSTANT.fullmatch(name)
            }
            for node in self._tree.body if isinstance(node, ast.ClassDef)
        }
        for node in self._tree.body:
            if isinstance(node, ast.ClassDef):
                for inner in ast.walk(node):
                    if isinstance(inner, ast.Attribute) and nodes.name_of(inner.value) == "self":
                        vars(inner)["owner"] = node.name
        for each in nodes.outside_functions(self._tree):
            vars(each)["at_load"] = True
        self._globals = {name for node in nodes.at_module(self._tree) for name in nodes.all_names(node)} | {
            name for node in self._nodes if not isinstance(node, ast.Attribute) for name in nodes.all_names(node)
            if PRIVATE.fullmatch(name) or isinstance(node, ast.ImportFrom | ast.Global)}
        self._imported = {  # (module or package, name there), by the name here
            each.asname or each.name: (node.module or "", each.name)
            for node in self._nodes if isinstance(node, ast.ImportFrom) for each in node.names
        }

    # -- constants -----------------------------------------------------------------------------------------------------

    def value(self, name: str, modules: Modules) -> Any:
        """The value of a name that is a constant, tables included; KeyError for any other name."""
        if name in self._imported:
            module, theirs = self._imported[name]
            return modules[module].value(theirs, modules)
        return self._placed(self._defined[name], modules)

    def _placed(self, defined: tuple[ast.expr, int | None], modules: Modules) -> Any:
        expression, place = defined
        value = self._evaluated(expression, modules)
        return value if place is None else value[place]

    def _of_class(self, node: ast.Attribute, modules: Modules) -> Any:
        """The value of a constant of a class, written `self.NAME` in it or `Class.NAME`; KeyError for anything else."""
        if nodes.is_stored(node):
            raise KeyError(node.attr)
        return self._placed(self._classes[getattr(node, "owner", ast.unparse(node.value))][node.attr], modules)

    def class_constants_elsewhere(self, modules: Modules) -> set[str]:
        """The attributes in capitals whose value is not known here: what has such a name keeps it."""
        return {node.attr for node in self._nodes
                if isinstance(node, ast.Attribute) and CONSTANT.fullmatch(node.attr)
                and self.constant(node, modules) is None}

    def _other(self, name: str, modules: Modules) -> Module:
        """The module of the package that has this name here; KeyError for any other name."""
        return modules[".".join(self._imported[name])]

    def _evaluated(self, node: ast.expr, modules: Modules) -> Any:
        match node:
            case ast.Constant():
                return node.value
            case ast.Name():
                return self.value(node.id, modules)
            case ast.Attribute(value=ast.Name(id=name), attr=attr):
                return self._other(name, modules).value(attr, modules)
            case ast.UnaryOp(op=ast.USub()):
                return -self._evaluated(node.operand, modules)
            case ast.BinOp() if type(node.op) in OPERATORS:
                left, right = self._evaluated(node.left, modules), self._evaluated(node.right, modules)
                return OPERATORS[type(node.op)](left, right)
            case ast.Tuple():
                return tuple(self._evaluated(each, modules) for each in node.elts)
            case ast.Call(func=ast.Name(id="range"), args=[size]):
                return range(self._evaluated(size, modules))
        raise KeyError(ast.unparse(node))

    def constant(self, node: ast.AST, modules: Modules) -> ast.Constant | None:
        """What to write in place of a name, or None where it stays."""
        try:
            if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load):
                value = self.value(node.id, modules)
            elif isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
                if node.value.id in ("self", *self._classes):
                    value = self._of_class(node, modules)
                else:
                    value = self._other(node.value.id, modules).value(node.attr, modules)
            else:
                return None
        except KeyError:
            return None
        return ast.Constant(value) if nodes.fits(value) else None

    def _is_inlined(self, name: str, modules: Modules) -> bool:
        return self.constant(ast.Name(name, ast.Load()), modules) is not None

    # -- parameters ----------------------------------------------------------------------------------------------------

    def keywords(self) -> Iterator[str]:
        """The parameters that calls in here name."""
        return (node.arg for node in self._nodes if isinstance(node, ast.keyword) and node.arg)

    def shorten_parameters(self, short: Mapping[Key, str], named: Collection[str]) -> None:
        """Give each parameter that no call names, and every node that means it, a `short` name."""
        taken = {short[key] for key in map(self.key, self._globals) if key in short}
        for function in self._nodes:  # an outer one comes before those inside it
            if isinstance(function, ast.FunctionDef | ast.Lambda):
                inside = [node for part in nodes.body(function) for node in ast.walk(part)]
                used = taken | {nodes.short_of(node) for node in inside}
                free = (each for each in map(nodes.short, count()) if each not in used)
                for argument in function.args.args:
                    name = argument.arg
                    if name in {"self", *named} or PRIVATE.fullmatch(name) or nodes.is_rebound(inside, name):
                        continue
                    theirs = next(free)
                    for node in [argument, *inside]:
                        if node is argument or (isinstance(node, ast.Name) and node.id == name):
                            vars(node)["short"] = theirs

    # -- names ---------------------------------------------------------------------------------------------------------

    def key(self, name: str) -> Key:
        """What the name is called among those of all modules."""
        return (self._name if PRIVATE.fullmatch(name) else "", name)

    @property
    def staying(self) -> set[str]:
        """The names that stay for what this module says: a text, one of another package's, or one with two meanings."""
        functions = [node for node in self._nodes if isinstance(node, ast.FunctionDef | ast.Lambda)]
        rebound = {name for name in self._globals if any(nodes.is_local(each, name) for each in functions)}
        return nodes.texts(self._nodes) | nodes.foreign(self._nodes, self._name.partition(".")[0]) | rebound

    @property
    def set_on_others(self) -> set[Key]:
        """The attributes that are set on other objects than `self`."""
        return {self.key(node.attr) for node in self._nodes
                if isinstance(node, ast.Attribute) and nodes.is_stored(node) and not hasattr(node, "owner")}

    def spaces(self, modules: Modules) -> Iterator[set[Key]]:
        """What the module has, and what each of its classes has."""
        attributes = [node for node in self._nodes
                      if isinstance(node, ast.Attribute) and self.constant(node, modules) is None]
        private = {node.attr for node in attributes if PRIVATE.fullmatch(node.attr) and not hasattr(node, "owner")}
        known = {name for node in self._nodes if nodes.is_stored(node) or not isinstance(node, ast.Name | ast.Attribute)
                 for name in nodes.all_names(node)}
        if private - known:
            raise ValueError(f"private names of other modules: {', '.join(sorted(private - known))}")
        yield {self.key(name) for name in self._globals if not self._is_inlined(name, modules)}
        for node in self._tree.body:
            if isinstance(node, ast.ClassDef):
                own = {name for part in node.body for each in nodes.outside_functions(part)
                       for name in nodes.all_names(each)}
                own |= {each.attr for each in attributes if getattr(each, "owner", "") == node.name}
                yield {self.key(name) for name in own | private}

    # -- the text ------------------------------------------------------------------------------------------------------

    def shrunk(self, modules: Modules, kept: Collection[str], short: Mapping[Key, str]) -> bytes:
        """The source with constants as values, but for a class's `kept` ones, and short names."""
        edits = [*self._definitions(modules, kept), *self._imports(modules, short), *self._uses(modules, short),
                 *self._tables(modules)]
        pieces, at = [], 0
        for begin, end, text in sorted(edits, key=lambda edit: (edit[0], -edit[1])):
            if begin >= at:  # else inside what was taken out
                pieces += [self._source[at:begin], text.encode()]
                at = end
        return b"".join(pieces) + self._source[at:]

    def _span(self, node: Any) -> tuple[int, int]:
        return (self._starts[node.lineno - 1] + node.col_offset,
                self._starts[node.end_lineno - 1] + node.end_col_offset)

    def _blank(self, begin: int, end: int, text: str = "") -> tuple[int, int, str]:
        """An edit that leaves the lines after it where they are."""
        return begin, end, text + "\n" * self._source.count(b"\n", begin, end)

    def _definitions(self, modules: Modules, kept: Collection[str]) -> Iterator[tuple[int, int, str]]:
        """Take out what is assigned only to constants that became values."""
        inlined = {name for name in self._defined if self._is_inlined(name, modules)}
        for assigned in self._assigned:
            yield from self._taken_out(assigned, inlined, "")
        for node in self._tree.body:
            if isinstance(node, ast.ClassDef):
                read = {each.id for part in node.body for each in nodes.outside_functions(part)
                        if isinstance(each, ast.Name) and not nodes.is_stored(each)}
                gone = {name for name in self._classes[node.name] if name not in read and name not in kept
                        and self.constant(nodes.own(node.name, name), modules) is not None}
                for statement in node.body:
                    if isinstance(statement, ast.Assign):
                        yield from self._taken_out(statement, gone, "pass")

    def _taken_out(self, node: ast.Assign, names: Collection[str], instead: str) -> Iterator[tuple[int, int, str]]:
        gone = [all(name in names for name, _ in nodes.names(target)) and isinstance(target, ast.Name | ast.Tuple)
                for target in node.targets]
        if all(gone):
            yield self._blank(*self._span(node), instead)
        else:
            after = [*node.targets[1:], node.value]
            for target, is_gone, following in zip(node.targets, gone, after, strict=True):
                if is_gone:
                    yield self._span(target)[0], self._span(following)[0], ""

    def _imports(self, modules: Modules, short: Mapping[Key, str]) -> Iterator[tuple[int, int, str]]:
        used = {node.id for node in self._nodes if isinstance(node, ast.Name)}
        bare = used - self._only_for_constants(modules)
        for node in self._nodes:
            if isinstance(node, ast.ImportFrom):
                left = [each for each in node.names if (each.asname or each.name) in bare
                        and not self._is_inlined(each.asname or each.name, modules)]
                named = [ast.alias(short.get(("", each.name), each.name), each.asname) for each in left]
                if [each.name for each in named] != [each.name for each in node.names]:
                    text = ast.unparse(ast.ImportFrom(node.module, named, 0)) if left else ""
                    yield self._blank(*self._span(node), text)

    def _only_for_constants(self, modules: Modules) -> set[str]:
        """The names that are written before a constant of theirs alone, as `faults` in `faults.COUNT`."""
        gone = Counter(node.value.id for node in self._nodes if isinstance(node, ast.Attribute)
                       and isinstance(node.value, ast.Name) and self.constant(node, modules) is not None)
        in_all = Counter(node.id for node in self._nodes if isinstance(node, ast.Name))
        return {name for name in gone if gone[name] == in_all[name]}

    def _uses(self, modules: Modules, short: Mapping[Key, str]) -> Iterator[tuple[int, int, str]]:
        inside = _Rewritten(self, modules, short)
        for node in nodes.outside_texts(self._tree):
            value = self.constant(node, modules)
            if value is not None:
                yield *self._span(node), nodes.literal(value.value)
            elif isinstance(node, ast.JoinedStr):  # before Python 3.12 nothing inside one has its true place
                text = ast.unparse(inside.visit(copy.deepcopy(node)))
                if text != ast.unparse(node):
                    yield self._blank(*self._span(node), text)
            else:
                for name, at in self._named(node):
                    if self.key(name) in short:
                        yield at, at + len(name), short[self.key(name)]
                if nodes.short_of(node):
                    begin = self._span(node)[0]
                    yield begin, begin + len(nodes.name_of(node)), nodes.short_of(node)

    def _tables(self, modules: Modules) -> Iterator[tuple[int, int, str]]:
        """Let each tuple of constants with a text in it be built when its module is loaded.

        A tuple that the compiler builds has objects of its own for its texts, 32 bytes and more for each; one that is
        built on the board shares the interned text. An operation that the compiler leaves to the board does that.
        """
        for node in nodes.outside_functions(self._tree):
            if isinstance(node, ast.Tuple) and all(self._is_fixed(each, modules) for each in node.elts):
                text = next((each for each in node.elts if self._text(each, modules)), None)
                if text is not None:
                    end = self._span(text)[1]
                    yield end, end, ' if __name__ else ""'

    def _text(self, node: ast.expr, modules: Modules) -> str:
        """The text that a node is; empty if it is not a text."""
        found = node if isinstance(node, ast.Constant) else self.constant(node, modules)
        return found.value if found is not None and isinstance(found.value, str) else ""

    def _is_fixed(self, node: ast.expr, modules: Modules) -> bool:
        """Does the compiler know its value?"""
        match node:
            case ast.Constant():
                return True
            case ast.UnaryOp():
                return self._is_fixed(node.operand, modules)
            case ast.Tuple():
                return all(self._is_fixed(each, modules) and not self._text(each, modules) for each in node.elts)
        return self.constant(node, modules) is not None

    def _named(self, node: ast.AST) -> Iterator[tuple[str, int]]:
        """The names that a node itself writes, and where, but for those that only a function knows."""
        match node:
            case ast.Name(id=name) | ast.arg(arg=name):
                at = self._span(node)[0]
            case ast.Attribute(attr=name):
                at = self._span(node)[1] - len(name)
            case ast.FunctionDef(name=name) | ast.ClassDef(name=name):
                at = self._source.index(f" {name}".encode(), self._span(node)[0]) + 1
            case ast.Global():
                begin, end = self._span(node)
                for found in re.finditer(rb"\w+", self._source[begin + len("global") : end]):
                    yield found[0].decode(), begin + len("global") + found.start()
                return
            case _:
                return
        if self.is_wide(node, name):
            yield name, at

    def is_wide(self, node: ast.AST, name: str) -> bool:
        """Is it a name that more than one function may know?"""
        return isinstance(node, ast.Attribute) or hasattr(node, "at_load") or name in self._globals


class _Rewritten(ast.NodeTransformer):
    """Constants as values and short names in a tree."""

    def __init__(self, module: Module, modules: Modules, short: Mapping[Key, str]) -> None:
        self._module, self._modules, self._short = module, modules, short

    def visit_Name(self, node: ast.Name) -> ast.expr:
        value = self._module.constant(node, self._modules)
        if self._module.is_wide(node, node.id):
            node.id = self._short.get(self._module.key(node.id), node.id)
        node.id = nodes.short_of(node) or node.id
        return value or node

    def visit_Attribute(self, node: ast.Attribute) -> ast.AST:
        value = self._module.constant(node, self._modules)
        node.attr = self._short.get(self._module.key(node.attr), node.attr)
        return value or self.generic_visit(node)
