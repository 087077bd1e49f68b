"""The changes that can be made to a module: boundaries, signs, constants, branches, statements."""

from __future__ import annotations

import ast
from collections import Counter
from collections.abc import Iterator
from copy import deepcopy
from dataclasses import dataclass

_COMPARED: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
}
_RECKONED: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult,
    ast.Mod: ast.FloorDiv,
    ast.Pow: ast.Mult,
    ast.BitOr: ast.BitAnd,
    ast.BitAnd: ast.BitOr,
    ast.BitXor: ast.BitOr,
}
_CALLED = {"min": "max", "max": "min", "any": "all", "all": "any"}
Path = tuple[tuple[str, int | None], ...]  # fields, and places in lists, from the module down
_SMALL = 0.1  # part by which a number that is not whole is made smaller or greater


@dataclass(frozen=True, slots=True)
class Change:
    """One change to a module: where, what stood there, what stands there now.

    `within` is the function or class around it, empty outside of them; `number` tells changes of
    the same words in it apart, from 1. What stands at `path` in `source` gives way to
    `replacement`, or to nothing.
    """

    line: int
    within: str
    before: str
    after: str
    number: int
    source: str
    path: Path
    replacement: ast.expr | ast.stmt | None

    @property
    def tree(self) -> ast.Module:
        """The whole module, changed."""
        tree = ast.parse(self.source)
        _put(tree, self.path, self.replacement)
        return tree

    @property
    def words(self) -> str:
        """The change as a line; with `within` it names the change as long as the words stay."""
        again = f" ({self.number})" if self.number > 1 else ""
        return f"{self.before} -> {self.after}{again}"


def changes(source: str) -> tuple[Change, ...]:
    """Every change to a module of this source, from top to bottom.

    Annotations, docstrings, decorators and assertions stay: they are for readers and the type
    checker.
    """
    found: list[Change] = []
    seen: Counter[tuple[str, str, str]] = Counter()
    for place in _places(ast.parse(source), "", frozenset()):
        for replacement in _replacements(place):
            before = ast.unparse(place.node).splitlines()[0]
            after = "nothing" if replacement is None else ast.unparse(replacement).splitlines()[0]
            named = (place.within, before, after)
            seen[named] += 1
            line, number = place.node.lineno, seen[named]
            found.append(Change(line, *named, number, source, place.path, replacement))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class _Place:
    """A node that may be changed. `bound` are the names that have a value before it."""

    node: ast.expr | ast.stmt
    path: Path
    within: str
    bound: frozenset[str]


_LEFT = {"annotation", "returns", "decorator_list", "type_params", "ctx", "format_spec"}


def _places(node: ast.AST, within: str, bound: frozenset[str], path: Path = ()) -> Iterator[_Place]:
    if isinstance(node, ast.Assert):
        return
    if isinstance(node, ast.expr | ast.stmt):
        yield _Place(node, path, within, bound)
    if isinstance(node, ast.FunctionDef | ast.ClassDef):
        within = f"{within}.{node.name}" if within else node.name
    if isinstance(node, ast.FunctionDef):
        bound = frozenset(arg.arg for arg in ast.walk(node.args) if isinstance(arg, ast.arg))
    for field, value in ast.iter_fields(node):
        if field in _LEFT or (isinstance(node, ast.keyword) and node.arg == "strict"):
            continue
        if isinstance(value, ast.AST):
            yield from _places(value, within, bound, (*path, (field, None)))
        elif isinstance(value, list):
            for index, child in enumerate(value):
                if isinstance(child, ast.AST) and not _docstring(child):
                    yield from _places(child, within, bound, (*path, (field, index)))
                    bound |= {n.id for n in ast.walk(child) if isinstance(n, ast.Name)}


def _docstring(node: ast.AST) -> bool:
    return isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)


def _replacements(place: _Place) -> Iterator[ast.expr | ast.stmt | None]:
    """What may stand in a place instead of what stands there; None for nothing."""
    node = deepcopy(place.node)
    match node:
        case ast.Compare():
            for index, operator in enumerate(node.ops):
                for other in _COMPARED[type(operator)]:
                    ops = [*node.ops[:index], other(), *node.ops[index + 1 :]]
                    yield ast.Compare(node.left, ops, node.comparators)
        case ast.BinOp() if type(node.op) in _RECKONED:
            yield ast.BinOp(node.left, _RECKONED[type(node.op)](), node.right)
        case ast.BoolOp():
            yield ast.BoolOp(ast.Or() if isinstance(node.op, ast.And) else ast.And(), node.values)
        case ast.UnaryOp(ast.Not() | ast.USub(), operand):
            yield operand
        case ast.Constant(bool(value)):
            yield ast.Constant(not value)
        case ast.Constant(int(value)):
            yield from (ast.Constant(value + 1), ast.Constant(value - 1))
        case ast.Constant(float(value)):
            by = 1.0 if value == int(value) else abs(value) * _SMALL
            yield from (ast.Constant(value + by), ast.Constant(value - by))
        case ast.Call(ast.Name(name), args, keywords) if name in _CALLED:
            yield ast.Call(ast.Name(_CALLED[name], ast.Load()), args, keywords)
        case ast.IfExp(test, body, orelse) if not _turned(test):
            yield ast.IfExp(test, orelse, body)
        case ast.ListComp() | ast.SetComp() | ast.GeneratorExp() | ast.DictComp():
            yield from _unconditioned(node)
        case ast.If(test, body, orelse) if not _turned(test):
            yield ast.If(ast.UnaryOp(ast.Not(), test), body, orelse)
        case ast.Return(value) if value is not None and not _is_none(value):
            yield ast.Return(ast.Constant(None))
        case ast.Assign(targets) if _bound(targets, place.bound):
            yield None
        case ast.Expr() | ast.AugAssign() | ast.Raise() | ast.Continue() | ast.Break():
            yield None


def _unconditioned(
    node: ast.ListComp | ast.SetComp | ast.GeneratorExp | ast.DictComp,
) -> Iterator[ast.expr]:
    """The comprehension without one of its conditions."""
    for at, generator in enumerate(node.generators):
        for index in range(len(generator.ifs)):
            other = deepcopy(node)
            del other.generators[at].ifs[index]
            yield other


def _turned(test: ast.expr) -> bool:
    """Whether a change to the test itself does the same as to swap the branches."""
    return isinstance(test, ast.UnaryOp) or (isinstance(test, ast.Compare) and len(test.ops) == 1)


def _is_none(value: ast.expr) -> bool:
    return isinstance(value, ast.Constant) and value.value is None


def _bound(targets: list[ast.expr], bound: frozenset[str]) -> bool:
    """Whether the names assigned to have a value already, so that the statement can go."""
    names = [name for target in targets for name in ast.walk(target) if isinstance(name, ast.Name)]
    return all(name.id in bound for name in names)


def _put(tree: ast.Module, path: Path, replacement: ast.expr | ast.stmt | None) -> None:
    """Put another node in its place; a statement that goes leaves `pass` behind."""
    above: ast.AST = tree
    for field, index in path[:-1]:
        above = getattr(above, field) if index is None else getattr(above, field)[index]
    field, index = path[-1]
    old = getattr(above, field) if index is None else getattr(above, field)[index]
    new = ast.copy_location(ast.Pass() if replacement is None else replacement, old)
    if index is None:
        setattr(above, field, new)
    else:
        getattr(above, field)[index] = new
    ast.fix_missing_locations(tree)
