"""Real values on a line: numbers, parameters, expressions and functions (NISTIR 6556 §3.3.2.1 to §3.3.2.4).

The text handed in has neither blanks nor comments and is in upper case.  A parameter that the program has not set itself
is refused: its value is the machine's, and the text does not say it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from itertools import count
from operator import add, mul, pow, sub, truediv

from vcarve.program.grammar import MOST_DIGITS, WHOLE_NUMBER_SLACK

# §3.3.2.1: optional sign, digits, at most one point, at least one digit, no exponent.
_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)")
_FUNCTION = re.compile(r"ABS|ACOS|ASIN|ATAN|COS|EXP|FIX|FUP|LN|ROUND|SIN|SQRT|TAN")
# §3.3.2.3: power first, then products, then sums; equals from left to right.
_OPERATION = re.compile(r"\*\*|\*|/|MOD|\+|-")
_OPERATIONS: Mapping[str, tuple[int, Callable[[float, float], float]]] = {
    "**": (3, pow),
    "*": (2, mul),
    "/": (2, truediv),
    "MOD": (2, lambda left, right: left % abs(right)),
    "+": (1, add),
    "-": (1, sub),
}
# §3.2.1: from here on parameters hold the machine's own places and offsets.
_FIRST_OF_THE_MACHINE = 5061
_DEEPEST = 30
# Beyond this a 64-bit number no longer holds a micrometre; no machine is a thousand kilometres long.
_LARGEST = 1e9

Parameters = Mapping[int, float]


class ValueFault(Exception):
    """No value can be read: the index in the text, and why."""

    def __init__(self, at: int, reason: str) -> None:
        self.at, self.reason = at, reason


def real_value(text: str, at: int, parameters: Parameters | None, depth: int = 0) -> tuple[float, int]:
    """Return the value that begins at index ``at`` and the index after it; raises :class:`ValueFault`.

    ``parameters`` is ``None`` where the dialect has none.
    """
    number = _NUMBER.match(text, at)
    if number is not None:
        return _bounded(float(number.group()), at), number.end()
    char = text[at : at + 1]
    if char == "":
        raise ValueFault(at, "a number must follow the letter")
    if char in "#[" and parameters is None:
        raise ValueFault(at, "this controller knows no parameters and expressions: write the value itself")
    if depth > _DEEPEST:
        raise ValueFault(at, "brackets and parameters are nested too deep")
    if parameters is not None:
        if char == "#":
            index, end = parameter_index(text, at, parameters, depth)
            if index not in parameters:
                raise ValueFault(at, f"the program has not set parameter {index}: its value is not known")
            return parameters[index], end
        if char == "[":
            return _bracket(text, at, parameters, depth + 1)
        function = _FUNCTION.match(text, at)
        if function is not None:
            return _function(text, at, function, parameters, depth + 1)
    raise ValueFault(at, "a number must follow the letter: digits with at most one sign and one point")


def kept_value(number: str) -> float:
    """Return the value of a number of which only the first :data:`MOST_DIGITS` digits are kept, leading zeros counted.

    Those dropped count as zeros (grbl/nuts_bolts.c, read_float).
    """
    digits = count()
    return float(re.sub("[0-9]", lambda digit: digit.group() if next(digits) < MOST_DIGITS else "0", number))


def parameter_index(text: str, at: int, parameters: Parameters, depth: int = 0) -> tuple[int, int]:
    """Return the number of the parameter whose ``#`` stands at ``at``, and the index after it (§3.2.1, §3.3.2.2)."""
    if text[at + 1 : at + 2] == "<":
        raise ValueFault(at, "parameters with names are not read: write the value itself")
    value, end = real_value(text, at + 1, parameters, depth + 1)
    index = round(value)
    if abs(value - index) > WHOLE_NUMBER_SLACK:
        raise ValueFault(at, "a parameter's number must be whole")
    if not 1 <= index < _FIRST_OF_THE_MACHINE:
        raise ValueFault(at, f"only parameters 1 to {_FIRST_OF_THE_MACHINE - 1} are the program's own")
    return index, end


def _bracket(text: str, opened: int, parameters: Parameters, depth: int) -> tuple[float, int]:
    """Return the value of what stands between brackets, and the index after them."""

    def operations(at: int, above: int) -> tuple[float, int]:
        """Work out a value and the operations behind it that bind more tightly than ``above``."""
        value, at = real_value(text, at, parameters, depth)
        while (found := _OPERATION.match(text, at)) and (rank := _OPERATIONS[found.group()][0]) > above:
            right, at = operations(found.end(), rank)
            value = _apply(found.group(), value, right, opened)
        return value, at

    value, at = operations(opened + 1, 0)
    if at >= len(text):
        raise ValueFault(opened, "the bracket is not closed")
    if text[at] != "]":
        raise ValueFault(at, "an operation or a closing bracket must follow: ** * / MOD + -")
    return value, at + 1


def _apply(operation: str, left: float, right: float, at: int) -> float:
    if operation == "**" and left < 0.0 and right != math.floor(right):
        raise ValueFault(at, "a negative value is raised to a power that is not whole")
    try:
        return _bounded(float(_OPERATIONS[operation][1](left, right)), at)
    except ZeroDivisionError:
        raise ValueFault(at, "a value is divided by zero") from None
    except OverflowError:
        return _bounded(math.inf, at)


# §3.3.2.4: angles in degrees; FIX goes down, FUP up, ROUND to the nearest.
_FUNCTIONS: dict[str, Callable[[float], float]] = {
    "ABS": abs,
    "ACOS": lambda value: math.degrees(math.acos(value)),
    "ASIN": lambda value: math.degrees(math.asin(value)),
    "COS": lambda value: math.cos(math.radians(value)),
    "EXP": math.exp,
    "FIX": math.floor,
    "FUP": math.ceil,
    "LN": math.log,
    "ROUND": lambda value: math.copysign(math.floor(abs(value) + 0.5), value),
    "SIN": lambda value: math.sin(math.radians(value)),
    "SQRT": math.sqrt,
    "TAN": lambda value: math.tan(math.radians(value)),
}


def _function(
    text: str, at: int, name: re.Match[str], parameters: Parameters, depth: int
) -> tuple[float, int]:
    if text[name.end() : name.end() + 1] != "[":
        raise ValueFault(at, f"a bracket must follow {name.group()}")
    value, end = _bracket(text, name.end(), parameters, depth)
    if name.group() == "ATAN":
        if text[end : end + 2] != "/[":
            raise ValueFault(at, "ATAN takes two values: ATAN[1]/[2]")
        other, end = _bracket(text, end + 1, parameters, depth)
        return math.degrees(math.atan2(value, other)), end
    try:
        return _bounded(float(_FUNCTIONS[name.group()](value)), at), end
    except (ValueError, OverflowError):
        raise ValueFault(at, f"{name.group()} has no value here") from None


def _bounded(value: float, at: int) -> float:
    if not abs(value) <= _LARGEST:
        raise ValueFault(at, f"no value may be larger than {_LARGEST:.0f}")
    return value
