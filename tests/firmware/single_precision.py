"""CPython with the boards' single-precision floats: bainboard is rewritten so that each float result is rounded.

Constants, operators, calls, parameters and values read from attributes and subscripts all pass through `single`, so a
double handed in by a test (which stays in double precision, as the world does) is rounded on its way in.
Run as a program it takes the arguments of run_checks.
"""

import ast
import builtins
import ctypes
import importlib.abc
import importlib.machinery
import operator
import sys

PACKAGE = "bainboard"

OPERATORS = {
    ast.Add: "add", ast.Sub: "sub", ast.Mult: "mul", ast.Div: "truediv", ast.FloorDiv: "floordiv", ast.Mod: "mod",
    ast.Pow: "pow", ast.LShift: "lshift", ast.RShift: "rshift", ast.BitOr: "or_", ast.BitXor: "xor", ast.BitAnd: "and_",
}


def single(value):
    """A float rounded to single precision; anything else unchanged."""
    return ctypes.c_float(value).value if type(value) is float else value


def _promoted(value):
    """A number as the float an operator would make of it on a board, which rounds big whole numbers."""
    return ctypes.c_float(value).value if isinstance(value, (int, float)) else value


def operate(function, left, right):
    """One operator as a single-precision board computes it."""
    if type(left) is float or type(right) is float or function is operator.truediv:
        left, right = _promoted(left), _promoted(right)
    return single(function(left, right))


def _call(function, *arguments):
    return ast.Call(ast.Name(function, ast.Load()), list(arguments), [])


def _operator(name):
    return ast.Attribute(ast.Name("__operator__", ast.Load()), name, ast.Load())


class Rounder(ast.NodeTransformer):
    """Rewrites a module so that every float it makes or reads is single."""

    def visit_Constant(self, node):
        return _call("__single__", node) if type(node.value) is float else node

    def visit_BinOp(self, node):
        self.generic_visit(node)
        return _call("__operate__", _operator(OPERATORS[type(node.op)]), node.left, node.right)

    def visit_AugAssign(self, node):
        if any(isinstance(part, ast.Call) for part in ast.walk(node.target)):
            raise SyntaxError(f"line {node.lineno}: a call in the target of an augmented assignment would run twice")
        read = ast.parse(ast.unparse(node.target), mode="eval").body
        name = OPERATORS[type(node.op)].strip("_")
        value = _call("__operate__", _operator("i" + name), self.visit(read), self.visit(node.value))
        return ast.Assign([node.target], value)

    def visit_Call(self, node):
        if isinstance(node.func, ast.Attribute):
            node.func.value = self.visit(node.func.value)  # a method is no float: only its object is visited
        else:
            node.func = self.visit(node.func)
        node.args = [self.visit(argument) for argument in node.args]
        node.keywords = [self.visit(keyword) for keyword in node.keywords]
        return _call("__single__", node)

    def visit_Attribute(self, node):
        self.generic_visit(node)
        return _call("__single__", node) if isinstance(node.ctx, ast.Load) else node

    def visit_Subscript(self, node):
        self.generic_visit(node)
        return _call("__single__", node) if isinstance(node.ctx, ast.Load) else node

    def visit_FunctionDef(self, node):
        self.generic_visit(node)
        parameters = [argument.arg for argument in node.args.posonlyargs + node.args.args + node.args.kwonlyargs]
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
