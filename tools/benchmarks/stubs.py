"""The engine with one part taken out: what a part costs *in its place* is what the whole is cheaper without it.

Kernels are plain functions that call one another by name, so a copy of the chain from `run_block` down to the part, with
another function under the part's name, is the engine without it.  The records stay as the part left them last, so the
rest goes on with numbers that make sense.
"""

from __future__ import annotations

import dis
from collections.abc import Callable, Mapping
from types import FunctionType
from typing import Any

from numba import njit
from numba.extending import register_jitable as kernel

from scenarios.compiled import compiled_block
from scenarios.engine import run_block

ROOMS = ("controller", "plant_model", "scenarios")
Kernel = Callable[..., Any]


@kernel
def nothing(*_arguments: Any) -> None:
    """In place of a part that fills records."""


@kernel
def zero(*_arguments: Any) -> int:
    """In place of a part that returns a status: good."""
    return 0


@kernel
def yes(*_arguments: Any) -> bool:
    """In place of a part that says whether it has found something."""
    return True


def _named(function: FunctionType) -> set[str]:
    """Global names that a function reads; attributes of the same name are not among them."""
    return {str(i.argval) for i in dis.get_instructions(function) if i.opname == "LOAD_GLOBAL"}


def rebuilt(function: Any, instead: Mapping[str, Kernel], made: dict[Any, Any] | None = None) -> Any:
    """`function`, and whatever it calls, with other functions under the names in `instead`.

    Raises KeyError for a name that is called nowhere below, so that nothing is measured that is not there.
    """
    top = made is None
    memory: dict[Any, Any] = {} if made is None else made
    if function in memory:
        return memory[function]
    changed = {}
    for name in sorted(_named(function)):
        found = function.__globals__.get(name)
        if isinstance(found, FunctionType) and found.__module__.partition(".")[0] in ROOMS:
            if found.__name__ in instead:
                changed[name] = instead[found.__name__]
                memory.setdefault("replaced", set()).add(found.__name__)
                continue
            other = rebuilt(found, instead, memory)
            if other is not found:
                changed[name] = other
    result = function
    if changed:
        scope = {**function.__globals__, **changed}
        copy = FunctionType(function.__code__, scope, function.__name__, function.__defaults__, function.__closure__)
        result = kernel(copy)
    memory[function] = result
    if top and (missing := instead.keys() - memory.get("replaced", set())):
        raise KeyError(f"nothing under {function.__name__} calls {', '.join(sorted(missing))}")
    return result


def block_without(instead: Mapping[str, Kernel]) -> Kernel:
    """A compiled block, as `scenarios.compiled` has it, with the parts named in `instead` exchanged; seconds to compile."""
    text = compiled_block.py_func
    scope = {**text.__globals__, "run_block": rebuilt(run_block, instead)}
    block: Kernel = njit(FunctionType(text.__code__, scope, "block_without"))
    return block
