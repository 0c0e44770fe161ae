"""Exact numbers written as text: ``sqrt(3)/2``, ``(2-sqrt(3))/2``, ``acos(1/4)``.

Only numbers, ``+ - * /``, brackets, ``pi`` and a few functions are understood; nothing is ever executed.  Angles are
in degrees, both for ``sin cos tan`` and for what ``asin acos atan`` return.
"""

from __future__ import annotations

import ast
import math
import operator
from collections.abc import Callable

LONGEST = 200  # characters
LARGEST = 1.0e6  # no coordinate of a unit cell is anywhere near this

_FUNCTIONS: dict[str, Callable[[float], float]] = {
    "sqrt": math.sqrt,
    "sin": lambda angle: math.sin(math.radians(angle)),
    "cos": lambda angle: math.cos(math.radians(angle)),
    "tan": lambda angle: math.tan(math.radians(angle)),
    "asin": lambda ratio: math.degrees(math.asin(ratio)),
    "acos": lambda ratio: math.degrees(math.acos(ratio)),
    "atan": lambda ratio: math.degrees(math.atan(ratio)),
}
_OPERATORS: dict[type[ast.AST], Callable[..., float]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
    ast.USub: operator.neg,
    ast.UAdd: operator.pos,
}
HELP = "write a number or an expression of numbers, + - * /, pi and " + " ".join(_FUNCTIONS)


def evaluate(value: object) -> float:
    """Return the number that ``value`` (a number, or an expression as text) stands for.

    Raises ``ValueError`` with a sentence for the maker when the text is too long, uses anything beyond the
    arithmetic above, divides by zero, or gives a number that is not finite or beyond a million.
    """
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise ValueError(HELP)
    try:
        number = _evaluate_text(value) if isinstance(value, str) else float(value)
    except OverflowError:
        number = LARGEST * 2.0
    if not math.isfinite(number):
        raise ValueError("this is not a finite number")
    if abs(number) > LARGEST:
        raise ValueError("the number is beyond a million, too large for a unit cell")
    return number


def _evaluate_text(text: str) -> float:
    if len(text) > LONGEST:
        raise ValueError(f"the expression is longer than {LONGEST} characters")
    try:
        tree = ast.parse(text.strip(), mode="eval")
    except (SyntaxError, ValueError, RecursionError, MemoryError):
        raise ValueError(f"this cannot be read as an expression; {HELP}") from None
    try:
        return _walk(tree.body)
    except ZeroDivisionError:
        raise ValueError("the expression divides by zero") from None


def _walk(node: ast.expr) -> float:
    match node:
        case ast.Constant(value=int() | float() as number) if not isinstance(number, bool):
            return float(number)
        case ast.Name(id="pi"):
            return math.pi
        case ast.UnaryOp(op=op, operand=operand) if type(op) in _OPERATORS:
            return _OPERATORS[type(op)](_walk(operand))
        case ast.BinOp(left=left, op=op, right=right) if type(op) in _OPERATORS:
            return _OPERATORS[type(op)](_walk(left), _walk(right))
        case ast.Call(func=ast.Name(id=name), args=[argument], keywords=[]) if name in _FUNCTIONS:
            inner = _walk(argument)
            try:
                return _FUNCTIONS[name](inner)
            except ValueError:
                raise ValueError(f"{name} has no value at {inner:g}") from None
    raise ValueError(f"{ast.unparse(node)} is not understood here; {HELP}")
