"""The one place where the engine calls a controller: the same text compiled and interpreted.

Interpreted, `entry` is a callable of five records.  Compiled, `entry` is the address of a C function

    int32_t scan(const Settings *, State *, const Inputs *, Outputs *, uint32_t now_ms)

and `settings`, `state` are addresses: a shipped controller, a shared library and a Python callback enter alike, and the
engine is compiled once for all of them.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from llvmlite import ir
from numba import types
from numba.extending import intrinsic, overload


def call_scan(entry: Any, settings: Any, state: Any, inputs: Any, outputs: Any, now_ms: int) -> int:
    """Call a controller once; returns its status, 0 for «go on»."""
    return int(entry(settings, state, inputs, outputs, now_ms))


@intrinsic
def _call_address(
    typing_context: Any, entry: Any, settings: Any, state: Any, inputs: Any, outputs: Any, now_ms: Any
) -> Any:
    signature = types.int64(types.int64, types.int64, types.int64, inputs, outputs, types.int64)

    def generate(context: Any, builder: Any, sig: Any, arguments: Any) -> Any:
        address, settings_at, state_at, inputs_value, outputs_value, now_value = arguments
        word = ir.IntType(32)
        anything = ir.IntType(8).as_pointer()
        function = ir.FunctionType(word, [anything, anything, anything, anything, word])
        target = builder.inttoptr(address, function.as_pointer())
        status = builder.call(
            target,
            [
                builder.inttoptr(settings_at, anything),
                builder.inttoptr(state_at, anything),
                builder.bitcast(inputs_value, anything),  # a record's value is its address
                builder.bitcast(outputs_value, anything),
                builder.trunc(now_value, word),
            ],
        )
        return builder.sext(status, ir.IntType(64))

    return signature, generate


@overload(call_scan)
def _call_scan_compiled(entry: Any, settings: Any, state: Any, inputs: Any, outputs: Any, now_ms: Any) -> Any:
    if not isinstance(inputs, types.Record):
        return None

    call: Any = _call_address  # numba gives an intrinsic its typing context itself

    def implementation(entry: Any, settings: Any, state: Any, inputs: Any, outputs: Any, now_ms: Any) -> Any:
        return call(entry, settings, state, inputs, outputs, now_ms)

    result: Callable[..., Any] = implementation
    return result
