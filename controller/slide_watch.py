"""Is a slide where its drive should have brought it, and do both halves of the machine agree?"""

from __future__ import annotations

from dataclasses import dataclass, field

from numba.extending import register_jitable as kernel

from controller.process_image import Health
from controller.scaling import believable
from controller.setting_fields import Switch, choice, duration, percent
from controller.timers import Ton, ton

PRACTICE = "common practice, no source"


@dataclass(frozen=True, slots=True)
class SlideWatchSettings:
    """When a slide counts as lost, and when the halves disagree; the same for both slides."""

    stuck_ms: int = duration(15_000, 2_000, 300_000, f"drive time one way without moving; {PRACTICE}")
    stuck_travel_pct: float = percent(1.0, 0.2, 10.0, f"less is not moving; {PRACTICE}")
    high_window_pct: float = percent(
        10.0, 2.0, 20.0, f"nearer than this to the high stop it may stand still; {PRACTICE}"
    )
    position_lost_ms: int = duration(30_000, 1_000, 600_000, f"without a position; {PRACTICE}")
    opposite_fitted: Switch = field(
        default=Switch.ON, metadata=choice(Switch, "the other half's position is wired too")
    )
    disagree_pct: float = percent(6.0, 1.0, 30.0, f"of travel between the halves: slack and span errors; {PRACTICE}")
    disagree_delay_ms: int = duration(10_000, 0, 120_000, f"longer than the slack takes; {PRACTICE}")


@dataclass(slots=True)
class SlideWatch:
    """Memory for one slide; `lost` and `halves_disagree` are what the trips ask for, `apart` is what forbids a reset."""

    reference_pct: float = 0.0
    driven_ms: int = 0
    direction: int = 0
    position_lost: Ton = field(default_factory=Ton)
    disagree: Ton = field(default_factory=Ton)
    lost: bool = False
    halves_disagree: bool = False
    apart: bool = False  # this scan, watched or not


@kernel
def watch_slide(
    settings: SlideWatchSettings,
    state: SlideWatch,
    position_pct: float,
    position_good: bool,
    opposite_pct: float,
    opposite_health: Health,
    direction: int,
    unloaded_pct: float,
    watched: bool,
    dt_ms: int,
) -> None:
    """Judge one slide.  direction: of its drive since the last scan; opposite_pct: the other half, % as wired;
    unloaded_pct: where a start counts it as unloaded.

    Pulses one way add up until the slide has moved; a pulse the other way starts afresh, and so does a stop near by,
    against which a slide rightly stands still.  Driven down and standing where no start accepts it, it is lost: else a
    start would wait, and its drive push, for ever.
    """
    c = settings
    s = state
    s.apart = (
        c.opposite_fitted == Switch.ON
        and position_good
        and abs(position_pct - opposite_pct) > c.disagree_pct
        and believable(opposite_pct, opposite_health)
    )
    if not watched:
        s.driven_ms = 0
        s.direction = 0
        ton(s.position_lost, False, 0, dt_ms)
        ton(s.disagree, False, 0, dt_ms)
        s.lost = False
        s.halves_disagree = False
        return
    if direction != 0:
        at_end = (direction < 0 and position_pct <= unloaded_pct) or (
            direction > 0 and position_pct >= 100.0 - c.high_window_pct
        )
        moved = abs(position_pct - s.reference_pct) >= c.stuck_travel_pct
        if direction != s.direction or moved or at_end or not position_good:
            s.reference_pct = position_pct
            s.driven_ms = 0
            s.direction = direction
        else:
            s.driven_ms += dt_ms
    s.lost = s.driven_ms >= c.stuck_ms
    if not position_good or s.position_lost.was_on:
        if ton(s.position_lost, not position_good, c.position_lost_ms, dt_ms):
            s.lost = True
    s.halves_disagree = False
    if s.apart or s.disagree.was_on:
        s.halves_disagree = ton(s.disagree, s.apart, c.disagree_delay_ms, dt_ms)
