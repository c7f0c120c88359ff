"""Recorded drives and load swings, to replay open loop."""

from __future__ import annotations

import copy
import random
from collections.abc import Sequence
from dataclasses import dataclass, field

from plant_model.derived import Parameters, derive
from plant_model.initial import running_state
from plant_model.parameters import PlantParameters
from plant_model.plant import step
from plant_model.state import Actuators, Disturbances, PlantState

SCAN_MS = 100


@dataclass
class Replay:
    """What a replay did: its two ends and one row a scan (suction Pa, discharge Pa, mixture K, room K)."""

    p: Parameters
    start: PlantState
    end: PlantState
    rows: list[tuple[float, float, float, float]] = field(default_factory=list)

    def column(self, number: int) -> list[float]:
        return [row[number] for row in self.rows]


def random_drives(seed: int, scans: int) -> list[tuple[int, int]]:
    """Pulses on both slides: −1, 0 or 1 a scan and pair."""
    chance = random.Random(seed)
    out: list[tuple[int, int]] = []
    while len(out) < scans:
        pulse = (chance.choice([0, 0, 0, 1, 1, -1]), chance.choice([0, 0, 1, -1]))
        out += [pulse] * chance.randint(1, 40) + [(0, 0)] * chance.randint(5, 80)
    return out[:scans]


def disturb(d: Disturbances, chance: random.Random, time_ms: int) -> None:
    """One event: a load step, a load ramp, a weather step, groups closing."""
    kind = chance.randrange(4)
    if kind == 0:
        d.load_heat_w, d.load_heat_rate_w_s, d.load_since_ms = chance.uniform(200.0e3, 500.0e3), 0.0, time_ms
    elif kind == 1:
        d.load_heat_rate_w_s, d.load_since_ms = chance.uniform(-1.0e3, 1.0e3), time_ms
    elif kind == 2:
        d.wet_bulb_k, d.wet_bulb_since_ms = chance.uniform(290.0, 297.0), time_ms
    else:
        d.evaporator_open_frac = chance.choice([1.0, 0.5, 0.8])


def replay(
    h_ms: int, drives: Sequence[tuple[int, int]], seed: int, events: bool = True, suction_pa: float = 290.64e3
) -> Replay:
    """Run the demo plant open loop at a step; an event each minute if `events`."""
    p = derive(PlantParameters(), "R717", h_ms)
    d, a, chance = Disturbances(), Actuators(motor_run=True, oil_pump=True), random.Random(seed)
    s = running_state(p, d, suction_pa)
    out = Replay(p, copy.deepcopy(s), s)
    for i, (capacity, ratio) in enumerate(drives):
        if events and i and i % 600 == 0:
            disturb(d, chance, s.time_ms)
        a.capacity_load, a.capacity_unload = capacity > 0, capacity < 0
        a.volume_ratio_increase, a.volume_ratio_decrease = ratio > 0, ratio < 0
        for _ in range(SCAN_MS // h_ms):
            status = step(p, s, d, a, h_ms)
            assert status == 0, (status, s.time_ms)
        out.rows.append((s.suction.pressure_pa, s.discharge.volume.pressure_pa, s.oil.mixture_k, s.room_k))
    return out


def recorded_control(seed: int, scans: int, suction_pa: float = 290.64e3) -> list[tuple[int, int]]:
    """The drives of a crude pulse control at 100 ms, recorded: small swings, as in real service."""
    p = derive(PlantParameters(), "R717", SCAN_MS)
    d, chance = Disturbances(), random.Random(seed)
    s = running_state(p, d, suction_pa)
    out: list[tuple[int, int]] = []
    pulse = 0
    for i in range(scans):
        if i and i % 600 == 0:
            d.load_heat_w, d.load_since_ms = d.load_heat_w + chance.uniform(-20.0e3, 20.0e3), s.time_ms
        if i % 50 == 0:
            error_pa = s.suction.pressure_pa - suction_pa
            pulse = round(max(-20.0, min(20.0, error_pa / 400.0)))
        drive = (pulse > 0) - (pulse < 0) if i % 50 < abs(pulse) else 0
        a = Actuators(motor_run=True, oil_pump=True, capacity_load=drive > 0, capacity_unload=drive < 0)
        assert step(p, s, d, a, SCAN_MS) == 0
        out.append((drive, 0))
    return out
