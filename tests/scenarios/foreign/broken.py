"""A small sound controller, and children of it that break the contract, each in one way."""

import random
from dataclasses import dataclass

from numba.extending import register_jitable as kernel

from controller.contract import Controller
from controller.process_image import Inputs, Mode, Outputs, Trip


class Sound:
    """Starts unloaded after a minute of oil, steps the capacity slide every ten seconds, stops on button and chain."""

    def __init__(self) -> None:
        self.reset()

    def reset(self) -> None:
        self.started = self.tripped = self.reset_was = False
        self.last_ms = self.lubricated_ms = self.period_ms = self.pulse_ms = 0

    def passed_ms(self, now_ms: int) -> int:
        return (now_ms - self.last_ms) & 0xFFFFFFFF if self.started else 0

    def stop_wanted(self, i: Inputs) -> bool:
        return i.stop_button_pressed or not i.safety_chain_closed

    def believes(self, i: Inputs) -> bool:
        return i.suction_pressure_health == 0 and i.capacity_position_health == 0

    def demand_pct(self, i: Inputs, dt_ms: int) -> float:
        return min(100.0, max(0.0, i.capacity_position_pct))

    def scan(self, i: Inputs, o: Outputs, now_ms: int) -> None:
        dt_ms = self.passed_ms(now_ms)
        self.started, self.last_ms = True, now_ms
        if self.stop_wanted(i):
            self.tripped = True
        elif i.reset_pressed and not self.reset_was:
            self.tripped = False
        self.reset_was = i.reset_pressed
        wanted = i.selection == 1 and not self.tripped
        # oil that was on until this scan is oil that has run; the rest counts from now
        self.lubricated_ms = self.lubricated_ms + dt_ms if o.oil_pump and wanted else 0
        o.oil_pump = wanted
        unloaded = i.capacity_position_pct < 5.0 and i.volume_ratio_position_pct < 5.0
        o.motor_run = wanted and (o.motor_run or (self.lubricated_ms >= 60_000 and unloaded))
        o.mode = Mode.TRIPPED if self.tripped else Mode.AUTOMATIC if o.motor_run else Mode.OFF
        o.trip_first_out = Trip.SAFETY_CHAIN if self.tripped else Trip.NONE
        error_kpa = i.suction_pressure_kpa_abs - 290.0
        self.period_ms += dt_ms
        self.pulse_ms = max(0, self.pulse_ms - dt_ms)
        if self.period_ms >= 10_000 and abs(error_kpa) > 5.0:
            self.period_ms, self.pulse_ms = 0, 1_000
        moving = o.motor_run and i.motor_running and self.pulse_ms > 0
        o.capacity_load = moving and error_kpa > 5.0 and self.believes(i)
        o.capacity_unload = (moving and error_kpa < -5.0) or not o.motor_run
        o.volume_ratio_increase = moving and i.volume_ratio_position_pct < 60.0
        o.volume_ratio_decrease = not o.motor_run
        o.suction_set_point_kpa_abs = 290.0
        o.capacity_demand_pct = self.demand_pct(i, dt_ms)


class BothDrives(Sound):
    """Increases and decreases at once after a change of mind."""

    def scan(self, i: Inputs, o: Outputs, now_ms: int) -> None:
        super().scan(i, o, now_ms)
        if i.volume_ratio_position_pct > 40.0:
            o.volume_ratio_decrease = True
            o.volume_ratio_increase = o.motor_run


class Rolls(Sound):
    """Adds chance to its demand."""

    def demand_pct(self, i: Inputs, dt_ms: int) -> float:
        return 50.0 + random.random()


class Remembers(Sound):
    """Its reset forgets the time of the oil."""

    def reset(self) -> None:
        kept = getattr(self, "pulse_ms", 0), getattr(self, "period_ms", 0)
        super().reset()
        self.pulse_ms, self.period_ms = kept


class RefusesToReset(Sound):
    """Resets once only."""

    def reset(self) -> None:
        if getattr(self, "started", False):
            raise RuntimeError("already in use")
        super().reset()


class RestartsWhilePressed(Sound):
    """Trips on the edge of the stop button, so that a reset lets it start again while somebody holds the button."""

    def stop_wanted(self, i: Inputs) -> bool:
        now = super().stop_wanted(i)
        edge, self.stop_was = now and not getattr(self, "stop_was", False), now
        return edge


class StopsOneScanLate(Sound):
    """Hears the stop button a scan later."""

    def stop_wanted(self, i: Inputs) -> bool:
        late, self.stop_was = getattr(self, "stop_was", False), super().stop_wanted(i)
        return late

    def reset(self) -> None:
        super().reset()
        self.stop_was = False


class OutOfRange(Sound):
    """Asks for more than full load."""

    def demand_pct(self, i: Inputs, dt_ms: int) -> float:
        return max(0.0, i.suction_pressure_kpa_abs - 290.0)


class UnknownMode(Sound):
    """Has a mode of its own."""

    def scan(self, i: Inputs, o: Outputs, now_ms: int) -> None:
        super().scan(i, o, now_ms)
        if o.capacity_load:
            o.mode = 42  # type: ignore[assignment]


class UnknownBit(Sound):
    """Sets an alarm bit that nobody knows."""

    def scan(self, i: Inputs, o: Outputs, now_ms: int) -> None:
        super().scan(i, o, now_ms)
        o.alarm_word = 1 << 40 if o.capacity_unload else 0


class Wraps(Sound):
    """Forgets that the clock wraps."""

    def passed_ms(self, now_ms: int) -> int:
        return now_ms - self.last_ms if self.started else 0


class LoadsBlind(Sound):
    """Believes a failed transmitter."""

    def believes(self, i: Inputs) -> bool:
        return True


class LoadsOn(Sound):
    """Finishes no pulse while its position is lost: the drive stays on."""

    def scan(self, i: Inputs, o: Outputs, now_ms: int) -> None:
        was = o.capacity_load
        super().scan(i, o, now_ms)
        if was and not self.believes(i) and not o.capacity_unload:
            o.capacity_load = True


class DividesByTime(Sound):
    """Takes a rate of change, also when no time has passed."""

    def demand_pct(self, i: Inputs, dt_ms: int) -> float:
        rate = 0.0 if not self.lubricated_ms else 1.0 / dt_ms
        return min(super().demand_pct(i, dt_ms) + 0.0 * rate, 100.0)


class RampsOnLateScans(Sound):
    """Clamps before it adds the step of a ramp: harmless at 100 ms, 150 % after half a minute."""

    def demand_pct(self, i: Inputs, dt_ms: int) -> float:
        return min(99.0, max(0.0, i.capacity_position_pct)) + 0.005 * dt_ms


class Raises(Sound):
    """Does not know a high suction pressure."""

    def scan(self, i: Inputs, o: Outputs, now_ms: int) -> None:
        super().scan(i, o, now_ms)
        if i.suction_pressure_kpa_abs > 390.0:
            raise ValueError("too warm for me")


class RunsTripped(Sound):
    """Says that it has tripped, and runs on."""

    def scan(self, i: Inputs, o: Outputs, now_ms: int) -> None:
        super().scan(i, o, now_ms)
        if o.capacity_load:
            o.trip_word = 1 << Trip.MOTOR_OVERLOAD


@dataclass(frozen=True, slots=True)
class KernelSettings:
    """One band."""

    band_kpa: float = 5.0


@dataclass(slots=True)
class KernelState:
    """When it has last been asked, and for how long there has been oil."""

    started: bool = False
    last_ms: int = 0
    lubricated_ms: int = 0


@kernel
def kernel_scan(settings, state, inputs, outputs, now_ms):  # type: ignore[no-untyped-def]
    """Starts after half a minute of oil, and loads or unloads outside a band."""
    dt_ms = 0
    if state.started:
        dt_ms = (now_ms - state.last_ms) & 0xFFFFFFFF
    state.started = True
    state.last_ms = now_ms
    stop = inputs.stop_button_pressed or not inputs.safety_chain_closed or inputs.selection == 0
    state.lubricated_ms += dt_ms
    if stop:
        state.lubricated_ms = 0
    outputs.oil_pump = not stop
    unloaded = inputs.capacity_position_pct < 5.0
    outputs.motor_run = not stop and (outputs.motor_run or (state.lubricated_ms > 30_000 and unloaded))
    error_kpa = inputs.suction_pressure_kpa_abs - 290.0
    good = inputs.suction_pressure_health == 0 and inputs.capacity_position_health == 0
    outputs.capacity_load = outputs.motor_run and good and error_kpa > settings.band_kpa
    outputs.capacity_unload = not outputs.motor_run or (good and error_kpa < -settings.band_kpa)
    return 0


KERNEL = Controller("kernel", KernelSettings, KernelState, kernel_scan, "a compiled controller of one's own")
