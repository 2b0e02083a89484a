"""Python with the boards' single-precision floats: bainboard is rewritten so that each float result is rounded.

Constants, operators, calls, parameters and values read from attributes and subscripts are rounded, so a double that a
test hands in (it stays in double precision, as the world does) is rounded on its way in. What an object reads from its
own attributes was rounded when it was stored.
Run as a program it takes the arguments of run_checks.
"""

import ast
import builtins
import importlib.abc
import importlib.machinery
import operator
import sys
from array import array

PACKAGE = "bainboard"

OPERATORS = {
    ast.Add: "add", ast.Sub: "sub", ast.Mult: "mul", ast.Div: "truediv", ast.FloorDiv: "floordiv", ast.Mod: "mod",
    ast.Pow: "pow", ast.LShift: "lshift", ast.RShift: "rshift", ast.BitOr: "or_", ast.BitXor: "xor", ast.BitAnd: "and_",
}


# Built-in functions that make no float, or return one of their arguments, which were rounded already.
EXACT = {
    "abs", "all", "any", "bool", "bytearray", "bytes", "dict", "hasattr", "int", "isinstance", "len", "list",
    "max", "min", "open", "ord", "print", "range", "set", "str", "tuple", "type",
}

_cell = array("f", [0.0])  # what goes in comes out in single precision; the quickest way there is


def single(value):
    """A float rounded to single precision; anything else unchanged."""
    if type(value) is float:
        _cell[0] = value
        return _cell[0]
    return value


def operate(function, left, right):
    """One operator as a single-precision board computes it: it rounds big whole numbers too."""
    if type(left) is str or not (type(left) is float or type(right) is float or function is operator.truediv):
        return single(function(left, right))
    _cell[0] = left
    left = _cell[0]
    _cell[0] = right
    return single(function(left, _cell[0]))


def _call(function, *arguments):
    return ast.Call(ast.Name(function, ast.Load()), list(arguments), [])


def _unrounded(node):
    """An operand without the rounding that the operator does itself."""
    rounded = isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "__single__"
    return node.args[0] if rounded else node


def _never_float(annotation):
    """Whether a parameter is annotated as something that holds no float of its own."""
    return isinstance(annotation, ast.Name) and annotation.id not in ("float", "object")


def _operator(name):
    return ast.Attribute(ast.Name("__operator__", ast.Load()), name, ast.Load())


class Rounder(ast.NodeTransformer):
    """Rewrites a module so that every float it makes or reads is single."""

    def __init__(self):
        self._own = {"self"}

    def visit_ImportFrom(self, node):
        if node.module == PACKAGE:
            self._own.update(each.asname or each.name for each in node.names)
        return node

    def visit_Constant(self, node):
        return ast.Constant(single(node.value))

    def visit_BinOp(self, node):
        self.generic_visit(node)
        left, right = _unrounded(node.left), _unrounded(node.right)
        return _call("__operate__", _operator(OPERATORS[type(node.op)]), left, right)

    def visit_AugAssign(self, node):
        if any(isinstance(part, ast.Call) for part in ast.walk(node.target)):
            raise SyntaxError(f"line {node.lineno}: a call in the target of an augmented assignment would run twice")
        read = ast.parse(ast.unparse(node.target), mode="eval").body
        name = OPERATORS[type(node.op)].strip("_")
        left, right = _unrounded(self.visit(read)), _unrounded(self.visit(node.value))
        value = _call("__operate__", _operator("i" + name), left, right)
        return ast.Assign([node.target], value)

    def visit_Call(self, node):
        if isinstance(node.func, ast.Attribute):
            node.func.value = self.visit(node.func.value)  # a method is no float: only its object is visited
        else:
            node.func = self.visit(node.func)
        node.args = [self.visit(argument) for argument in node.args]
        node.keywords = [self.visit(keyword) for keyword in node.keywords]
        exact = isinstance(node.func, ast.Name) and node.func.id in EXACT
        return node if exact else _call("__single__", node)

    def visit_Attribute(self, node):
        if isinstance(node.value, ast.Name) and node.value.id in self._own:
            return node  # an object or a module of the board's own: what it holds was rounded on its way in
        self.generic_visit(node)
        return _call("__single__", node) if isinstance(node.ctx, ast.Load) else node

    def visit_Subscript(self, node):
        self.generic_visit(node)
        return _call("__single__", node) if isinstance(node.ctx, ast.Load) else node

    def visit_FunctionDef(self, node):
        arguments = node.args.posonlyargs + node.args.args + node.args.kwonlyargs
        parameters = [each.arg for each in arguments if each.arg != "self" and not _never_float(each.annotation)]
        node.returns = None  # a board reads no annotations
        for each in arguments:
            each.annotation = None
        self.generic_visit(node)
        rounds = [
            ast.Assign([ast.Name(name, ast.Store())], _call("__single__", ast.Name(name, ast.Load())))
            for name in parameters
        ]
        documented = ast.get_docstring(node) is not None
        node.body[documented:documented] = rounds
        return node


def rewrite(source, filename):
    """The compiled code of a module's source in single precision."""
    tree = ast.fix_missing_locations(Rounder().visit(ast.parse(source, filename)))
    return compile(tree, filename, "exec")


def install_builtins():
    """Make the helpers visible to rewritten code."""
    builtins.__single__ = single
    builtins.__operate__ = operate
    builtins.__operator__ = operator


class SingleLoader(importlib.machinery.SourceFileLoader):
    """Loads a module in single precision; never from or to a bytecode cache."""

    def get_code(self, fullname):
        path = self.get_filename(fullname)
        return rewrite(self.get_data(path), path)


class SingleFinder(importlib.abc.MetaPathFinder):
    """Finds the modules of the board's package."""

    def find_spec(self, fullname, path, target=None):
        if fullname.split(".")[0] != PACKAGE:
            return None
        spec = importlib.machinery.PathFinder.find_spec(fullname, path)
        if spec is not None and spec.origin is not None:
            spec.loader = SingleLoader(spec.loader.name, spec.loader.path)
        return spec


def install():
    """From here on, bainboard is imported in single precision."""
    install_builtins()
    sys.meta_path.insert(0, SingleFinder())


if __name__ == "__main__":
    import run_checks

    install()
    run_checks.main(sys.argv[1:])
