"""Simulated time against the clock: how far a session that runs at a pace should have come by now."""

from __future__ import annotations

from dataclasses import dataclass

LATE_S = 0.5  # whoever is later than that has lost the time: he goes on at his pace and does not race after it


@dataclass(slots=True)
class Pace:
    """`speed` times the clock from an anchor on.  Time is given, in s; nothing here reads a clock."""

    speed: int = 1
    anchor_s: float = 0.0
    anchor_ms: int = 0

    def start(self, now_s: float, time_ms: int) -> None:
        """The pace counts from here."""
        self.anchor_s, self.anchor_ms = now_s, time_ms

    def due_ms(self, now_s: float) -> int:
        """Simulated time that should be reached."""
        return self.anchor_ms + int((now_s - self.anchor_s) * 1000.0 * self.speed)

    def drop_delay(self, now_s: float, time_ms: int) -> bool:
        """Forget a delay that was too long to be caught up; True if there was one."""
        if self.due_ms(now_s) - time_ms <= 1000.0 * LATE_S * self.speed:
            return False
        self.start(now_s, time_ms)
        return True
