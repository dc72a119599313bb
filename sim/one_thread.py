"""How is linear algebra held to one thread, so that its last bits are the same in every process?"""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import ParamSpec, TypeVar

from threadpoolctl import threadpool_limits

Given = ParamSpec("Given")
Found = TypeVar("Found")


def in_one_thread(function: Callable[Given, Found]) -> Callable[Given, Found]:
    """Let a function use one thread of BLAS and LAPACK, whatever its process was started with.

    Notes
    -----
    With two threads sums are taken in another order, so the last bits of a blade's modes differ, and a case
    marched here would differ from the same case marched by a worker. The environment cannot settle it: it is
    read when numpy is first imported, which may have been before us.
    """

    @functools.wraps(function)
    def held(*given: Given.args, **named: Given.kwargs) -> Found:
        with threadpool_limits(limits=1, user_api="blas"):
            return function(*given, **named)

    return held
