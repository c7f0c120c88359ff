"""An entry for many runs in one process: a shipped controller's compiled function is loaded once for all of them."""

from __future__ import annotations

from functools import cache
from typing import Any

from controller.registry import SHIPPED
from scenarios.entries import Entry, compiled_scan
from scenarios.records import to_array


@cache
def _function(controller: str) -> Any:
    return compiled_scan(SHIPPED[controller])


class SharedEntry(Entry):
    """A shipped controller by name; the code is shared with every other such entry, settings and state are its own."""

    def __init__(self, controller: str, settings: Any) -> None:
        self.settings = to_array(settings)
        self.state = to_array(SHIPPED[controller].state_type())
        self._function = _function(controller)
        self.address = self._function.address
