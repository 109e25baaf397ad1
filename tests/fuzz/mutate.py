"""Mutations of valid files, the same for the same number."""

import copy
import math
import random
import re
from collections.abc import Iterator
from typing import Any

_NUMBER = re.compile(rb"-?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?")
_STRANGE = (
    b"nan", b"inf", b"-1", b"0", b"1e39", b"1e-50", b"-0.0", b"65536", b"2147483648", b"256",
    b"9" * 30, b"0x10", b"1,5", b"1_0", b"+1", b".5", b"5.", b"1e", b"\xd9\xa1", b"1\x00",
)  # fmt: skip
_PIECES = (
    b"\n", b"\r\n", b"\r", b"\x00", b" ", b"\t", b"#", b'"', b"'", b"<", b">", b"&amp;", b"{",
    b"}", b"\xef\xbb\xbf", b"\xff", b"\x1a", b"\xc2\xa0", b"\n\n",
)  # fmt: skip
_EDGES = (0, 1, 0x7F, 0x80, 0xFF)


def mutated(seeds: list[bytes], number: int, head: int | None = None) -> bytes:
    """Return case `number`: one of the seeds with one to five changes.

    Parameters
    ----------
    head
        Bytes at the front where nine of ten changes fall; None for anywhere.
    """
    draw = random.Random(number)
    data = bytearray(draw.choice(seeds))
    for _ in range(draw.choice((1, 1, 1, 2, 3, 5))):
        near = head is not None and draw.random() < 0.9
        end = min(len(data), head) if near and head else len(data)
        _change(draw, data, end, seeds)
    return bytes(data)


def _change(draw: random.Random, data: bytearray, end: int, seeds: list[bytes]) -> None:
    at = draw.randrange(end + 1)
    kind = draw.randrange(10)
    if kind == 0:
        data[at:at] = draw.choice(_PIECES)
    elif kind == 1:
        del data[at : at + draw.choice((1, 1, 2, 4, 16, 200))]
    elif kind == 2 and at < len(data):
        data[at] ^= 1 << draw.randrange(8)
    elif kind == 3 and at < len(data):
        data[at] = draw.choice(_EDGES)
    elif kind == 4:
        size = draw.choice((1, 2, 4, 8))
        value = draw.choice((0, 1, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF, 60000, draw.getrandbits(32)))
        order = draw.choice(("big", "little"))
        data[at : at + size] = (value & (1 << 8 * size) - 1).to_bytes(size, order)
    elif kind == 5:
        size = draw.choice((1, 4, 16, 64))
        data[at:at] = data[at : at + size]
    elif kind == 6:
        del data[at:]
    elif kind == 7:
        other = draw.choice(seeds)
        start = draw.randrange(len(other) + 1)
        data[at : at + 16] = other[start : start + draw.choice((4, 16, 100))]
    else:
        numbers = list(_NUMBER.finditer(bytes(data), 0, end)) if len(data) < 1 << 16 else []
        if numbers:
            found = draw.choice(numbers)
            data[found.start() : found.end()] = _number(draw, found[0])


def _number(draw: random.Random, text: bytes) -> bytes:
    kind = draw.randrange(4)
    if kind == 0:
        return draw.choice(_STRANGE)
    if kind == 1:
        return b"%d" % draw.randrange(-3, 300)
    if kind == 2:
        return b"%.9g" % draw.uniform(-2, 2)
    return text + text


_VALUES: tuple[Any, ...] = (
    None, True, False, 0, -1, 1, 3, 256, 2**31, 10**30, 0.0, -0.0, 1e-320, 1e39, -1e300,
    float("nan"), float("inf"), "", " ", "a", "A", "x" * 300, "nan", "../x", "\u00e4",
    "\U0001f3a5", "\x00", [],
    [[]], {}, {"a": 1}, [1, 2, 3], [0.5, "a"], [{}], [[1, 2], [3]],
)  # fmt: skip


def mutated_tables(seeds: list[dict[str, Any]], number: int) -> dict[str, Any]:
    """Return case `number`: one of the tables with one to five values, keys or entries changed.

    What is changed is a value of another type, a number of another size, a key of another table, an
    entry that is gone or there twice: such as a byte's change seldom makes.
    """
    draw = random.Random(number)
    made: dict[str, Any] = copy.deepcopy(draw.choice(seeds))
    for _ in range(draw.choice((1, 1, 1, 2, 3, 5))):
        places = [(holder, key) for holder in _holders(made) for key in _keys(holder)]
        if not places:
            break
        holder, key = draw.choice(places)
        others, other = draw.choice(places)
        _change_entry(draw, holder, key, copy.deepcopy(others[other]), other)
    return made


def _holders(value: Any) -> Iterator[Any]:
    if isinstance(value, dict | list):
        yield value
        for inner in value.values() if isinstance(value, dict) else value:
            yield from _holders(inner)


def _keys(holder: Any) -> list[Any]:
    return list(holder) if isinstance(holder, dict) else list(range(len(holder)))


def _change_entry(draw: random.Random, holder: Any, key: Any, other: Any, other_key: Any) -> None:
    kind = draw.randrange(8)
    value = holder[key]
    if kind == 0:
        del holder[key]
    elif kind == 1:
        holder[key] = other
    elif kind == 2 and isinstance(holder, dict):
        holder[str(other_key)] = holder.pop(key)
    elif kind == 3 and isinstance(holder, list):
        holder.insert(key, copy.deepcopy(value))
    elif kind == 4 and isinstance(value, str):
        holder[key] = value[: draw.randrange(len(value) + 1)] + draw.choice(
            ("", "x", " ", "\u00e4")
        )
    elif kind in (5, 6) and isinstance(value, int | float) and not isinstance(value, bool):
        holder[key] = draw.choice((
            -value, value * 10, value / 10, value + 1, value * draw.uniform(0.5, 2.0), int(value),
            draw.uniform(-2.0, 2.0), draw.choice((0, 1, 1e6, -1e6, 1e-9)),
        ) if math.isfinite(value) and abs(value) < 1e200 else (0, 1))  # fmt: skip
    else:
        holder[key] = copy.deepcopy(draw.choice(_VALUES))
