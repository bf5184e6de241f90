"""One small mistake in a module's text: found in its syntax tree, written at its place, the rest left as it is."""

from __future__ import annotations

import ast
import re
from dataclasses import dataclass

_COMPARISONS: dict[type[ast.cmpop], tuple[str, str]] = {
    ast.Lt: ("<", "<="),
    ast.LtE: ("<=", "<"),
    ast.Gt: (">", ">="),
    ast.GtE: (">=", ">"),
    ast.Eq: ("==", "!="),
    ast.NotEq: ("!=", "=="),
    ast.Is: ("is", "is not"),
    ast.IsNot: ("is not", "is"),
    ast.In: ("in", "not in"),
    ast.NotIn: ("not in", "in"),
}
_SIGNS: dict[type[ast.operator], tuple[str, str]] = {
    ast.Add: ("+", "-"),
    ast.Sub: ("-", "+"),
    ast.Mult: ("*", "/"),
    ast.Div: ("/", "*"),
}
_UNNOTICED_BY_DESIGN = re.compile(r"\b_?(log|logger|logging|gc|warnings)\b|freeze|Field\(|add_typer")


@dataclass(frozen=True, order=True)
class Mutation:
    """Bytes ``start`` to ``end`` of a module replaced by ``text``."""

    start: int
    end: int
    text: str
    kind: str

    def apply(self, source: bytes) -> bytes:
        """Return the module with the mistake in it."""
        return source[: self.start] + self.text.encode() + source[self.end :]


def mutations(source: bytes) -> list[Mutation]:
    """Return every mutation of a module that still compiles, by place."""
    finder = _Finder(source)
    finder.visit(ast.parse(source))
    return sorted(one for one in set(finder.mutations) if _compiles(one.apply(source)))


def _compiles(source: bytes) -> bool:
    try:
        compile(source, "mutant", "exec")
    except (SyntaxError, ValueError):
        return False
    return True


class _Finder(ast.NodeVisitor):
    """Collects mutations; leaves out what no test is meant to pin: texts of errors, types, decorators, logging."""

    def __init__(self, source: bytes) -> None:
        self._source = source
        self._line_starts = [0]
        for line in source.splitlines(keepends=True):
            self._line_starts.append(self._line_starts[-1] + len(line))
        self.mutations: list[Mutation] = []

    def _start(self, node: ast.expr | ast.stmt) -> int:
        return self._line_starts[node.lineno - 1] + node.col_offset

    def _end(self, node: ast.expr | ast.stmt) -> int:
        assert node.end_lineno is not None
        assert node.end_col_offset is not None
        return self._line_starts[node.end_lineno - 1] + node.end_col_offset

    def _text(self, node: ast.expr | ast.stmt) -> str:
        return self._source[self._start(node) : self._end(node)].decode()

    def _replace(self, node: ast.expr | ast.stmt, text: str, kind: str) -> None:
        self.mutations.append(Mutation(self._start(node), self._end(node), text, kind))

    def _between(self, left: ast.expr, right: ast.expr, old: str, new: str, kind: str) -> None:
        """Replace the operator between two expressions."""
        start, end = self._end(left), self._start(right)
        gap = self._source[start:end]
        at = gap.find(old.encode())
        if at >= 0 and b"#" not in gap:
            self.mutations.append(Mutation(start + at, start + at + len(old), new, kind))

    def _mutate_all(self, nodes: list[ast.stmt] | list[ast.expr]) -> None:
        for node in nodes:
            self.visit(node)

    def visit_FunctionDef(self, node: ast.FunctionDef | ast.AsyncFunctionDef) -> None:
        for default in [*node.args.defaults, *node.args.kw_defaults]:
            if default is not None:
                self.visit(default)
        self._mutate_all(node.body)

    visit_AsyncFunctionDef = visit_FunctionDef

    def visit_ClassDef(self, node: ast.ClassDef) -> None:
        self._mutate_all(node.body)

    def visit_AnnAssign(self, node: ast.AnnAssign) -> None:
        if node.value is not None:
            self.visit(node.value)

    def visit_Raise(self, node: ast.Raise) -> None:
        """Leave the texts of errors alone."""

    visit_JoinedStr = visit_Assert = visit_Raise  # type: ignore[assignment]

    def visit_If(self, node: ast.If) -> None:
        if self._text(node.test) == "TYPE_CHECKING":
            return
        self.generic_visit(node)

    def visit_Compare(self, node: ast.Compare) -> None:
        lefts = [node.left, *node.comparators]
        for left, operator, right in zip(lefts, node.ops, node.comparators, strict=False):
            old, new = _COMPARISONS[type(operator)]
            self._between(left, right, old, new, "comparison")
        self.generic_visit(node)

    def visit_BinOp(self, node: ast.BinOp) -> None:
        if type(node.op) in _SIGNS and not _is_text(node.left) and not _is_text(node.right):
            self._between(node.left, node.right, *_SIGNS[type(node.op)], "sign")
        self.generic_visit(node)

    def visit_AugAssign(self, node: ast.AugAssign) -> None:
        if isinstance(node.op, ast.Add | ast.Sub):
            old, new = _SIGNS[type(node.op)]
            self._between(node.target, node.value, old + "=", new + "=", "sign")
        self.generic_visit(node)

    def visit_UnaryOp(self, node: ast.UnaryOp) -> None:
        if isinstance(node.op, ast.USub | ast.Not):
            kind = "sign" if isinstance(node.op, ast.USub) else "comparison"
            self._replace(node, f"({self._text(node.operand)})", kind)
        self.generic_visit(node)

    def visit_BoolOp(self, node: ast.BoolOp) -> None:
        old, new = ("and", "or") if isinstance(node.op, ast.And) else ("or", "and")
        for left, right in zip(node.values, node.values[1:], strict=False):
            self._between(left, right, old, new, "comparison")
        self.generic_visit(node)

    def visit_Constant(self, node: ast.Constant) -> None:
        if isinstance(node.value, bool):
            self._replace(node, str(not node.value), "constant")
        elif isinstance(node.value, int):
            self._replace(node, str(node.value + 1), "bound" if abs(node.value) < 3 else "constant")
        elif isinstance(node.value, float):
            self._replace(node, repr(1.5 * node.value if node.value else 1.0), "constant")

    def visit_Expr(self, node: ast.Expr) -> None:
        call = node.value.value if isinstance(node.value, ast.Await) else node.value
        if isinstance(call, ast.Call):
            if _UNNOTICED_BY_DESIGN.search(self._text(call)):
                return
            self._replace(node, "pass", "dropped call")
        self.generic_visit(node)

    def visit_Call(self, node: ast.Call) -> None:
        plain = len(node.args) > 1 and not any(isinstance(one, ast.Starred) for one in node.args[:2])
        name = self._text(node.func)
        if plain and name not in {"isinstance", "getattr", "hasattr", "cast", "zip", "max", "min"}:
            first, second = node.args[:2]
            between = self._source[self._end(first) : self._start(second)].decode()
            text = self._text(second) + between + self._text(first)
            self.mutations.append(Mutation(self._start(first), self._end(second), text, "swapped arguments"))
        self.generic_visit(node)


def _is_text(node: ast.expr) -> bool:
    return isinstance(node, ast.JoinedStr) or (isinstance(node, ast.Constant) and isinstance(node.value, str | bytes))
