"""Small changes to a piece of Python, such as a slip of the hand makes: each one alone, as text instead of text."""

from __future__ import annotations

import ast
from dataclasses import dataclass, field

OTHER_WAY: dict[type[ast.cmpop], str] = {
    ast.Eq: "!=",
    ast.NotEq: "==",
    ast.Lt: "<=",
    ast.LtE: "<",
    ast.Gt: ">=",
    ast.GtE: ">",
    ast.In: "not in",
    ast.NotIn: "in",
    ast.Is: "is not",
    ast.IsNot: "is",
}
SIGNS: dict[type[ast.operator], str] = {ast.Add: "-", ast.Sub: "+", ast.Mult: "/", ast.BitOr: "&", ast.BitAnd: "|"}


@dataclass(frozen=True, order=True)
class Change:
    """``start`` and ``end`` count characters of the text; ``lines`` are those of the statement that it is made in, first
    and last, and None where that runs when the module is imported."""

    start: int
    end: int
    instead: str
    words: str
    lines: tuple[int, int] | None = field(default=None, compare=False)

    def made_in(self, text: str) -> str:
        return text[: self.start] + self.instead + text[self.end :]


def changes_of(text: str) -> list[Change]:
    """Every change there is to make, in the order of the text; none to annotations and docstrings."""
    found = _Finder(text)
    found.visit(ast.parse(text))
    made = sorted(set(found.changes))
    return [change for change in made if _stands(change.made_in(text))]


def _stands(text: str) -> bool:
    try:
        compile(text, "changed", "exec")
    except (SyntaxError, ValueError):
        return False
    return True


class _Finder(ast.NodeVisitor):
    def __init__(self, text: str) -> None:
        self.text = text
        self.changes: list[Change] = []
        starts = [0]
        for line in text.splitlines(keepends=True):
            starts.append(starts[-1] + len(line))
        self._starts, self._lines = starts, text.splitlines(keepends=True)
        self._statement: tuple[int, int] | None = None
        self._deep = 0

    def _at(self, line: int, column: int) -> int:
        """Characters before a place that ast gives in bytes of its line."""
        return self._starts[line - 1] + len(self._lines[line - 1].encode()[:column].decode())

    def _span(self, node: ast.expr | ast.stmt) -> tuple[int, int]:
        assert node.end_lineno is not None
        assert node.end_col_offset is not None
        return self._at(node.lineno, node.col_offset), self._at(node.end_lineno, node.end_col_offset)

    def _say(self, node: ast.expr | ast.stmt, instead: str, words: str) -> None:
        start, end = self._span(node)
        self.changes.append(Change(start, end, instead, f"line {node.lineno}: {words}", self._statement))

    def _source(self, node: ast.expr | ast.stmt) -> str:
        start, end = self._span(node)
        return self.text[start:end]

    def visit(self, node: ast.AST) -> None:
        """A statement that holds others reaches down to the first of these."""
        outer = self._statement
        if self._deep and isinstance(node, ast.stmt):
            first = min([node.lineno, *(one.lineno for one in getattr(node, "decorator_list", []))])
            body = getattr(node, "body", None)
            self._statement = first, max(node.lineno, body[0].lineno - 1) if body else node.end_lineno or first
        super().visit(node)
        self._statement = outer

    # --- what is left alone -----------------------------------------------------------------------------------------

    def visit_AnnAssign(self, node: ast.AnnAssign) -> None:
        if node.value is not None:
            self.visit(node.value)

    def visit_arg(self, node: ast.arg) -> None:
        """An annotation says nothing that runs."""

    def _function(self, node: ast.FunctionDef | ast.AsyncFunctionDef) -> None:
        for default in (*node.args.defaults, *(one for one in node.args.kw_defaults if one)):
            self.visit(default)
        for decorator in node.decorator_list:
            start, end = self._span(decorator)
            self.changes.append(
                Change(
                    start, end, "(lambda it: it)", f"line {decorator.lineno}: without a decorator", self._statement
                )
            )
        self._deep += 1
        self._body(node.body)
        self._deep -= 1

    visit_FunctionDef = visit_AsyncFunctionDef = _function

    def visit_ClassDef(self, node: ast.ClassDef) -> None:
        self._body(node.body)

    def _body(self, body: list[ast.stmt]) -> None:
        for one in body:
            self.visit(one)

    # --- what is changed ----------------------------------------------------------------------------------------------

    def visit_Expr(self, node: ast.Expr) -> None:
        if isinstance(node.value, ast.Constant):
            return
        self._say(node, "pass", f"left out: {self._source(node)[:60]}")
        self.generic_visit(node)

    def visit_Compare(self, node: ast.Compare) -> None:
        if len(node.ops) == 1 and type(node.ops[0]) in OTHER_WAY:
            sign = OTHER_WAY[type(node.ops[0])]
            left, right = self._source(node.left), self._source(node.comparators[0])
            self._say(node, f"({left}) {sign} ({right})", f"{sign} in {self._source(node)[:60]}")
        self.generic_visit(node)

    def visit_BoolOp(self, node: ast.BoolOp) -> None:
        sign = "or" if isinstance(node.op, ast.And) else "and"
        self._say(
            node,
            f" {sign} ".join(f"({self._source(one)})" for one in node.values),
            f"{sign} in {self._source(node)[:60]}",
        )
        self.generic_visit(node)

    def visit_UnaryOp(self, node: ast.UnaryOp) -> None:
        if isinstance(node.op, ast.Not):
            self._say(node, f"({self._source(node.operand)})", f"without not: {self._source(node)[:60]}")
        self.generic_visit(node)

    def visit_BinOp(self, node: ast.BinOp) -> None:
        if type(node.op) in SIGNS:
            sign = SIGNS[type(node.op)]
            left, right = self._source(node.left), self._source(node.right)
            self._say(node, f"({left}) {sign} ({right})", f"{sign} in {self._source(node)[:60]}")
        self.generic_visit(node)

    def visit_If(self, node: ast.If) -> None:
        if isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING":
            return  # what stands there is for annotations
        self._say(node.test, "True", f"always: if {self._source(node.test)[:60]}")
        self._say(node.test, "False", f"never: if {self._source(node.test)[:60]}")
        self.generic_visit(node)

    def visit_IfExp(self, node: ast.IfExp) -> None:
        self._say(node.test, "True", f"always: … if {self._source(node.test)[:60]}")
        self._say(node.test, "False", f"never: … if {self._source(node.test)[:60]}")
        self.generic_visit(node)

    def visit_Constant(self, node: ast.Constant) -> None:
        if isinstance(node.value, bool):
            self._say(node, str(not node.value), f"{not node.value} for {node.value}")
        elif isinstance(node.value, int | float):
            self._say(node, repr(node.value + 1), f"{node.value + 1} for {node.value}")

    def visit_JoinedStr(self, node: ast.JoinedStr) -> None:
        """Words for people: other words are not wrong ones."""

    def visit_Return(self, node: ast.Return) -> None:
        if node.value is not None and not (isinstance(node.value, ast.Constant) and node.value.value is None):
            self._say(node, "return None", f"nothing for: {self._source(node)[:60]}")
        self.generic_visit(node)

    def visit_Call(self, node: ast.Call) -> None:
        """Without one named argument; and a chain without one of its links."""
        for keyword in node.keywords:
            if keyword.arg is not None and len(node.args) + len(node.keywords) > 1:
                kept = [*map(self._source, node.args)]
                kept += [f"{one.arg}={self._source(one.value)}" if one.arg else f"**{self._source(one.value)}"
                         for one in node.keywords if one is not keyword]  # fmt: skip
                self._say(
                    node,
                    f"{self._source(node.func)}({', '.join(kept)})",
                    f"without {keyword.arg}: {self._source(node)[:60]}",
                )
        if isinstance(node.func, ast.Attribute) and isinstance(node.func.value, ast.Call | ast.Attribute):
            self._say(node, self._source(node.func.value), f"without .{node.func.attr}(): {self._source(node)[-60:]}")
        self.generic_visit(node)
