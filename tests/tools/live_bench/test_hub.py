"""Who watches: nobody misses anything, nobody waits for anybody, and control has one holder."""

from __future__ import annotations

import json
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from tools.live_bench.hub import RING, WAITING, Hub, Viewer


class Quiet:
    async def put(self, text: str) -> None: ...


def hub_of(viewers: int) -> tuple[Hub, list[Viewer], list[int]]:
    asked: list[int] = []
    hub = Hub(asked.append)
    joined = [hub.join(Quiet(), lambda: None) for _ in range(viewers)]
    for viewer in joined:
        hub.history(viewer.number, "history")
    return hub, joined, asked


def all_for(hub: Hub, viewer: Viewer) -> list[str]:
    out = []
    while (text := hub.next_for(viewer)) is not None:
        out.append(text)
    return out


def test_nothing_is_told_before_the_history() -> None:
    hub = Hub(lambda _: None)
    viewer = hub.join(Quiet(), lambda: None)
    hub.tell_all("early")
    assert hub.next_for(viewer) is None
    hub.history(viewer.number, "history")
    hub.tell_all("late")
    assert [t for t in all_for(hub, viewer) if not t.startswith("{")] == ["history", "late"]


@given(st.lists(st.tuples(st.booleans(), st.integers(0, 3)), max_size=60))
def test_everybody_is_told_everything_in_order_at_his_own_pace(moves: list[tuple[bool, int]]) -> None:
    hub, viewers, _ = hub_of(4)
    seen: list[list[str]] = [[] for _ in viewers]
    told: list[str] = []
    for new, reader in moves:
        if new:
            told.append(f"n{len(told)}")
            hub.tell_all(told[-1])
        elif (text := hub.next_for(viewers[reader])) is not None:
            seen[reader].append(text)
    for viewer, mine in zip(viewers, seen, strict=True):
        mine += all_for(hub, viewer)
        assert [text for text in mine if text.startswith("n")] == told


def test_who_is_too_slow_is_told_anew_and_the_ring_stays_small() -> None:
    hub, (slow, quick), asked = hub_of(2)
    asked.clear()
    for k in range(3 * RING):
        hub.tell_all(f"n{k}")
        all_for(hub, quick)
    assert len(hub.ring) == RING
    last = all_for(hub, slow)[-1]
    assert json.loads(last)["kind"] == "gap"
    assert json.loads(last)["missed"] > 2 * RING
    assert asked == [slow.number]
    hub.history(slow.number, "history")
    hub.tell_all("after")
    assert [t for t in all_for(hub, slow) if not t.startswith("{")] == ["history", "after"]


def test_who_reads_no_answer_is_let_go() -> None:
    hub, (viewer,), _ = hub_of(1)
    for _ in range(WAITING + 1):
        hub.tell(viewer.number, "answer")
    assert viewer.gone


def last_control(hub: Hub) -> Any:
    return json.loads(hub.ring[-1])


def test_control_is_held_by_one_handed_over_and_free_when_its_holder_goes() -> None:
    hub, (first, second, third), _ = hub_of(3)
    assert hub.holder == first.number
    assert hub.hand_over(99) == "there is no viewer 99; watching: 1, 2, 3"
    assert hub.hand_over(second.number) == ""
    assert last_control(hub) == {"kind": "control", "holder": 2, "viewers": [1, 2, 3], "asking": 0}
    hub.leave(second)
    assert last_control(hub) == {"kind": "control", "holder": 0, "viewers": [1, 3], "asking": 0}
    hub.hand_over(third.number)
    assert hub.holder == third.number
    hub.hand_over(0)
    assert hub.holder == 0
