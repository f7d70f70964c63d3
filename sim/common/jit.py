"""The one place that says how kernels are compiled.

``error_model="numpy"`` removes the check on every division, without which the loops over
cells are not vectorised; ``nogil`` lets ensemble members run in plain threads.

Compiled kernels are kept from one run to the next.  Left to itself the compiler throws out what it
kept when the file of that very kernel has changed, and would go on using a caller of a kernel that
changed in another file.  So what is kept is marked with a digest of all files of kernels
(``*_kernels.py``) in the same folder and of this one: a change in any of them compiles all of them anew.
It takes the place of what was kept before, so that nothing piles up.

Two things that Python cannot say are said here in the compiler's own language, and used like
functions inside kernels: :func:`widest_vectors` and :func:`times_power_of_two`.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import Any, TypeVar

import numba
from llvmlite import binding, ir
from numba import types
from numba.extending import intrinsic

F = TypeVar("F", bound=Callable[..., Any])

IN_ORDER = frozenset({"nnan", "ninf", "nsz", "arcp", "contract", "afn"})
"""Fast arithmetic that still adds and subtracts in the order written."""
KERNELS = "_kernels.py"
"""How the name of a file of kernels ends."""
WIDTH = '"prefer-vector-width"="512"'
_inside_kernels: Callable[[F], Any] = intrinsic
"""What it decorates is called inside kernels without its first argument, and never outside."""


def kernel(*, fastmath: bool | frozenset[str] = False, inline: bool = False) -> Callable[[F], F]:
    """Decorator that compiles an array kernel.

    Parameters
    ----------
    fastmath : allow sums to be reordered (needed for vectorised sums), or which liberties to allow [-]
    inline : merge the kernel into its callers [-]
    """
    options: dict[str, Any] = {
        "error_model": "numpy",
        "nogil": True,
        "fastmath": set(fastmath) if isinstance(fastmath, frozenset) else fastmath,
    }
    if inline:
        options["inline"] = "always"

    def decorate(function: F) -> F:
        try:
            compiled: F = numba.njit(cache=True, **options)(function)
        except RuntimeError:
            # A read-only installation without a writable home has nowhere to keep the cache.
            compiled = numba.njit(**options)(function)
        else:
            _mark_by_sources(compiled, function)
        return compiled

    return decorate


@cache
def digest_of_sources(folder: Path) -> str:
    """SHA-256 of all files of kernels in a folder and of this file, in hexadecimal; empty if unreadable."""
    found = sha256()
    try:
        for path in [Path(__file__), *sorted(folder.glob(f"*{KERNELS}"))]:
            found.update(path.name.encode() + b"\0" + path.read_bytes() + b"\0")
    except OSError:
        # From an archive the compiler's own mark, that of the archive, says as much.
        return ""
    return found.hexdigest()


def _mark_by_sources(compiled: Any, function: Callable[..., Any]) -> None:
    """Make what is kept of a compiled function hold good only for the sources of its folder as they are.

    The compiler gives no other way to say what a function depends on than the mark in its index of what
    was kept.  Without its just-in-time mode there is no index.
    """
    index = getattr(getattr(compiled, "_cache", None), "_cache_file", None)
    if index is None:
        return
    folder = Path(function.__code__.co_filename).parent
    index._source_stamp = (index._source_stamp, digest_of_sources(folder))
    read = index._load_index

    def read_if_it_can_be() -> Any:
        try:
            return read()
        except Exception:
            # It names the records that a kernel takes.  Where one has since been renamed it cannot be read at
            # all, not even far enough to see that the mark is another.
            return {}

    index._load_index = read_if_it_can_be


def _declare_wide(function: ir.Function) -> None:
    """Mark a function of the compiler: keep it apart from its callers, compile it for wide vectors."""
    function.attributes.add("noinline")
    # The set refuses attributes it does not know; the set it is made of does not.
    set.add(function.attributes, WIDTH)


@cache
def width_can_be_asked_for() -> bool:
    """Whether this version of the compiler takes the wish for a vector width."""
    try:
        module = ir.Module()
        function = ir.Function(module, ir.FunctionType(ir.VoidType(), []), "probe")
        _declare_wide(function)
        ir.IRBuilder(function.append_basic_block()).ret_void()
        text = str(module)
        binding.parse_assembly(text)
    except Exception:
        # Whatever it is: kernels work as well, only slower, at the width the compiler chooses.
        return False
    return WIDTH in text


@_inside_kernels
def widest_vectors(_typing: Any) -> Any:
    """Ask for 512-bit vectors in the kernel that calls this, where the processor has them.

    On processors with both the compiler prefers 256 bits, for fear of clocking down; loops that do
    nothing but arithmetic are a third faster with 512.  A processor without them, or one whose
    features the user has restricted, compiles as ever: the wish cannot add instructions.
    """

    def generate(context: Any, builder: Any, _signature: Any, _arguments: Any) -> Any:
        if width_can_be_asked_for():
            _declare_wide(builder.function)
        return context.get_dummy_value()

    return types.void(), generate


@_inside_kernels
def times_power_of_two(_typing: Any, p: Any, m: Any) -> Any:
    """p·2^k for a whole number k that stands in the lowest bits of the floating number ``m``.

    ``m`` is k + 1.5·2^52, by whose addition k was rounded; it is shifted into the exponent of ``p``,
    which works for vectors too.  Both are in double precision; p and p·2^k must be normal.
    """

    def generate(context: Any, builder: Any, _signature: Any, arguments: Any) -> Any:
        whole = ir.IntType(64)
        exponent = builder.shl(builder.bitcast(arguments[1], whole), ir.Constant(whole, 52))
        moved = builder.add(builder.bitcast(arguments[0], whole), exponent)
        return builder.bitcast(moved, context.get_value_type(p))

    return p(p, p), generate
