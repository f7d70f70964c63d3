"""The one place that says how kernels are compiled.

``error_model="numpy"`` removes the check on every division, without which the loops over
cells are not vectorised; ``nogil`` lets ensemble members run in plain threads.  Kernels that
call one another must stand in one file: the compiler's cache does not notice a change in a
kernel of another file.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import numba

F = TypeVar("F", bound=Callable[..., Any])


def kernel(*, fastmath: bool = False, inline: bool = False) -> Callable[[F], F]:
    """Decorator that compiles an array kernel.

    Parameters
    ----------
    fastmath : allow sums to be reordered (needed for vectorised sums) [-]
    inline : merge the kernel into its callers [-]
    """
    options: dict[str, Any] = {"error_model": "numpy", "nogil": True, "fastmath": fastmath}
    if inline:
        options["inline"] = "always"

    def decorate(function: F) -> F:
        try:
            return numba.njit(cache=True, **options)(function)
        except RuntimeError:
            # A read-only installation without a writable home has nowhere to keep the cache.
            return numba.njit(**options)(function)

    return decorate
