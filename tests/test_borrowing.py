"""Compiled code works on its caller's arrays and keeps no count of who else does."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from breathe.kernel import allocating, kernel


class Pair(NamedTuple):
    a: np.ndarray
    b: np.ndarray


@kernel
def first_sum(pair):
    return pair.a[0] + pair.b[0]


@kernel
def sum_twice(pair):
    return first_sum(pair) + first_sum(pair)


@allocating
def ramp(count):
    return np.arange(count)


def test_kernels_borrow_their_arrays():
    # Counting the arrays of a whole model in and out at each call would double the time of a step.
    assert sum_twice(Pair(np.ones(1), np.ones(1))) == 4.0
    (code,) = sum_twice.inspect_asm().values()
    assert "NRT_incref" not in code.split("cpython")[0]


def test_an_allocating_kernel_gives_its_array_away():
    made = [ramp(5) for _ in range(3)]
    assert all(m.tolist() == [0, 1, 2, 3, 4] for m in made)
