"""Entries that share their code: nothing of one run reaches the next."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from controller.registry import SHIPPED
from scenarios.entries import CompiledEntry, Entry
from scenarios.runner import prepare
from scenarios.session import Session, memory_buffers
from scenarios.shared_entry import SharedEntry


def test_one_run_after_another_is_as_with_an_entry_of_its_own(short: Path) -> None:
    (prepared,) = prepare([short])

    def rows(entry: Entry) -> bytes:
        buffers = memory_buffers(prepared.scenario.duration_ms, prepared.scan_ms, prepared.log_ms)
        Session(prepared, entry, buffers).play()
        found = buffers.rows[: int(buffers.run[0]["row_count"])]
        assert len(found) == 601
        return found.tobytes()

    name = prepared.named.name
    first, second = SharedEntry(name, prepared.settings), SharedEntry(name, prepared.settings)
    assert first.address == second.address
    assert first.state is not None
    fresh = first.state.copy()
    alone = rows(CompiledEntry(SHIPPED[name], prepared.settings))
    assert rows(first) == alone
    assert not np.array_equal(first.state, fresh)
    assert second.state is not None
    assert np.array_equal(second.state, fresh)
    assert rows(second) == alone
