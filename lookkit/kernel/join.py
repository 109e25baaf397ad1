"""Neighbouring affine calls of a program as one."""

from __future__ import annotations

import numpy as np

from lookkit.kernel.formula import Call, Program, affine, affine_call


def joined(program: Program) -> Program:
    """Return the same program with affine calls that follow each other multiplied into one."""
    calls: list[Call] = []
    for call in program:
        before = calls[-1] if calls else None
        alike = before is not None and call.formula is before.formula is affine
        if before is not None and alike and before.slot == call.slot:
            matrix = np.array(call.p[0]) @ np.array(before.p[0])
            offset = np.array(call.p[0]) @ np.array(before.p[1]) + np.array(call.p[1])
            calls[-1] = affine_call(matrix, offset)._replace(slot=call.slot)
            continue
        calls.append(call)
    return tuple(calls)
