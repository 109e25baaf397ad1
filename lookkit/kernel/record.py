"""A formula, run once with recorded values, as C.

Each result becomes one line, so the C reads as the formula does, one operation after the other.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from typing import Any, Literal, get_args, get_origin, get_type_hints

from lookkit.kernel.formula import Formula
from lookkit.kernel.maths import Plane, Recordable

Kind = Literal["float", "double"]


class _Lines:
    """The C of one kernel as it grows."""

    def __init__(self, kind: Kind) -> None:
        self.kind = kind
        self.text: list[str] = []
        self.known: dict[str, Recorded] = {}

    def value(self, expression: str, kind: str) -> Recorded:
        """Return the result of an expression; one that stands already is not written again."""
        if expression not in self.known:
            name = f"t{len(self.known)}"
            self.text.append(f"    const {kind} {name} = {expression};")
            self.known[expression] = Recorded(self, name)
        return self.known[expression]


class Recorded(Recordable):
    """A value of the C text."""

    def __init__(self, lines: _Lines, name: str) -> None:
        self.lines, self.name = lines, name

    def called(self, name: str, values: tuple[Plane, ...]) -> Plane:
        """Write the call of a function with these values, and return its result."""
        words = [self._word(value) for value in values]
        if name == "unsure":
            if self.lines.kind == "float":
                self.lines.text.append(f"    doubt |= {words[0]};")
            return None
        if name == "where":
            # A parameter is read in any case: a choice of two values is no branch.
            first, *chosen = [self._read(word) for word in words]
            return self.lines.value(f"{first} ? {chosen[0]} : {chosen[1]}", self.lines.kind)
        end = "f" if self.lines.kind == "float" else "d"
        return self.lines.value(f"{name}_{end}({', '.join(words)})", self.lines.kind)

    def _read(self, word: str) -> str:
        return self.lines.value(word, self.lines.kind).name if word.startswith("p[") else word

    def _word(self, value: Plane) -> str:
        if isinstance(value, Recorded):
            return value.name
        text = repr(float(value))
        return f"{text}f" if self.lines.kind == "float" else text

    def _two(self, sign: str, left: Plane, right: Plane, kind: str = "") -> Recorded:
        words = f"{self._word(left)} {sign} {self._word(right)}"
        return self.lines.value(words, kind or self.lines.kind)

    def __add__(self, other: Plane) -> Recorded:
        return self._two("+", self, other)

    def __radd__(self, other: Plane) -> Recorded:
        return self._two("+", other, self)

    def __sub__(self, other: Plane) -> Recorded:
        return self._two("-", self, other)

    def __rsub__(self, other: Plane) -> Recorded:
        return self._two("-", other, self)

    def __mul__(self, other: Plane) -> Recorded:
        return self._two("*", self, other)

    def __rmul__(self, other: Plane) -> Recorded:
        return self._two("*", other, self)

    def __truediv__(self, other: Plane) -> Recorded:
        return self._two("/", self, other)

    def __rtruediv__(self, other: Plane) -> Recorded:
        return self._two("/", other, self)

    def __neg__(self) -> Recorded:
        return self.lines.value(f"-{self.name}", self.lines.kind)

    def __lt__(self, other: Plane) -> Recorded:
        return self._two("<", self, other, "int")

    def __le__(self, other: Plane) -> Recorded:
        return self._two("<=", self, other, "int")

    def __gt__(self, other: Plane) -> Recorded:
        return self._two(">", self, other, "int")

    def __ge__(self, other: Plane) -> Recorded:
        return self._two(">=", self, other, "int")

    def __and__(self, other: Recorded) -> Recorded:
        return self._two("&", self, other, "int")

    def __or__(self, other: Recorded) -> Recorded:
        return self._two("|", self, other, "int")

    def __bool__(self) -> bool:
        raise TypeError("a formula must not branch on its values, expected `where`")


def kernel_name(formula: Formula, length: int | None, kind: Kind) -> str:
    """Return what the kernel of a formula is called in C."""
    tail = "" if length is None else f"_{length}"
    return f"{formula.name}{tail}_{kind[0]}"


def length_of(p: Any) -> int | None:
    """Return how long the open tuples of parameters are; all of a formula's are of one length."""
    parameters: type = type(p)
    for name, is_open in _fields(parameters):
        value = getattr(p, name)
        if is_open:
            return len(value)
        if hasattr(value, "_fields") and (inner := length_of(value)) is not None:
            return inner
    return None


@cache
def _fields(parameters: type) -> tuple[tuple[str, bool], ...]:
    """Return the fields of parameters, each with whether it is an open tuple."""
    return tuple(
        (name, get_origin(form) is tuple and get_args(form)[-1] is Ellipsis)
        for name, form in get_type_hints(parameters).items()
    )


def kernels(formula: Formula) -> Iterator[tuple[str, str]]:
    """Yield the name and the C of a formula for each of its lengths, in float and double."""
    for length in formula.lengths or (None,):
        for kind in ("float", "double"):
            yield kernel_name(formula, length, kind), _kernel(formula, length, kind)


def _kernel(formula: Formula, length: int | None, kind: Kind) -> str:
    lines = _Lines(kind)
    count = 0

    def filled(form: Any) -> Any:
        nonlocal count
        if form is float:
            count += 1
            return Recorded(lines, f"p[{count - 1}]")
        if get_origin(form) is tuple:
            inner = get_args(form)
            if inner[-1] is Ellipsis:
                return tuple(filled(inner[0]) for _ in range(length or 0))
            return tuple(filled(one) for one in inner)
        return form(*[filled(one) for one in get_type_hints(form).values()])

    names = ["er", "eg", "eb", "r", "g", "b"][-formula.planes :]
    inputs = [Recorded(lines, name) for name in names]
    out = formula(*inputs, filled(formula.parameters))
    entering = "".join(
        f"    const {kind} {name} = {place}[i];\n"
        for name, place in (("er", "ER"), ("eg", "EG"), ("eb", "EB"))
        if name in names
    )
    body = "\n".join(lines.text)
    results = "\n".join(
        f"    {plane}[i] = {inputs[0]._word(value)};"
        for plane, value in zip("RGB", out, strict=True)
    )
    doubts = "    D[i] |= doubt;\n" if "doubt |=" in body else ""
    start = "    int doubt = 0;\n" if doubts else ""
    return (
        f"EXPORT void {kernel_name(formula, length, kind)}("
        f"{kind} *restrict R, {kind} *restrict G, {kind} *restrict B,\n"
        f"    const {kind} *restrict ER, const {kind} *restrict EG, const {kind} *restrict EB,\n"
        f"    int *restrict D, long n, const {kind} *restrict p)\n{{\n"
        f"  for (long i = 0; i < n; i++) {{\n{entering}"
        f"    const {kind} r = R[i], g = G[i], b = B[i];\n"
        f"{start}{body}\n{doubts}{results}\n  }}\n}}\n"
    )


def flat(p: Any) -> list[float]:
    """Return parameters as the numbers that a kernel takes, in order."""
    if isinstance(p, tuple):
        return [number for one in p for number in flat(one)]
    return [float(p)]
