"""The Python twin of plain_steps.c, and controllers that fail in each way."""

import os
import time

from controller.process_image import Inputs, Mode, Outputs


class PlainSteps:
    """Starts unloaded after a minute of oil, then steps the capacity slide."""

    def __init__(self) -> None:
        self.reset()

    def reset(self) -> None:
        self.started = self.tripped = False
        self.last_ms = self.lubricated_ms = self.period_ms = self.pulse_ms = 0

    def scan(self, i: Inputs, o: Outputs, now_ms: int) -> None:
        dt_ms = (now_ms - self.last_ms) & 0xFFFFFFFF if self.started else 0
        self.started, self.last_ms = True, now_ms
        if i.stop_button_pressed or i.discharge_pressure_kpa_abs > 1700.0:
            self.tripped = True
        o.oil_pump = not self.tripped
        self.lubricated_ms = self.lubricated_ms + dt_ms if o.oil_pump else 0
        unloaded = i.capacity_position_pct < 3.0 and i.volume_ratio_position_pct < 3.0
        o.motor_run = not self.tripped and (o.motor_run or (self.lubricated_ms >= 60000 and unloaded))
        o.mode = Mode.TRIPPED if self.tripped else Mode.AUTOMATIC if o.motor_run else Mode.PRE_LUBRICATION
        error_kpa = i.suction_pressure_kpa_abs - 290.0
        self.period_ms += dt_ms
        self.pulse_ms -= dt_ms
        if self.period_ms >= 10000 and (error_kpa > 5.0 or error_kpa < -5.0):
            self.period_ms, self.pulse_ms = 0, 1000
        moving = o.motor_run and i.motor_running and self.pulse_ms > 0
        o.capacity_load = moving and error_kpa > 5.0
        o.capacity_unload = (moving and error_kpa < -5.0) or not o.motor_run
        o.volume_ratio_increase = moving and i.volume_ratio_position_pct < 60.0
        o.volume_ratio_decrease = not o.motor_run
        o.suction_set_point_kpa_abs = 290.0
        o.capacity_demand_pct = i.capacity_position_pct


class Empty:
    """Does nothing, ever."""

    def reset(self) -> None: ...

    def scan(self, inputs: Inputs, outputs: Outputs, now_ms: int) -> None: ...


class _Late(Empty):
    """Fails from the scan at 60 s on."""

    def scan(self, inputs: Inputs, outputs: Outputs, now_ms: int) -> None:
        if now_ms >= 60_000:
            self.fail(outputs)

    def fail(self, outputs: Outputs) -> None: ...


class Raises(_Late):
    def fail(self, outputs: Outputs) -> None:
        raise ValueError("lost count")


class NotANumber(_Late):
    def fail(self, outputs: Outputs) -> None:
        outputs.capacity_demand_pct = float("nan")


class BothDrives(_Late):
    def fail(self, outputs: Outputs) -> None:
        outputs.volume_ratio_increase = outputs.volume_ratio_decrease = True


class WrongType(_Late):
    def fail(self, outputs: Outputs) -> None:
        outputs.capacity_demand_pct = "sixty"  # type: ignore[assignment]


class TextForBool(_Late):
    def fail(self, outputs: Outputs) -> None:
        outputs.oil_pump = "off"  # type: ignore[assignment]


class Hangs(_Late):
    def fail(self, outputs: Outputs) -> None:
        time.sleep(3600)


class Crashes(_Late):
    def fail(self, outputs: Outputs) -> None:
        os.abort()


class Leaves(_Late):
    def fail(self, outputs: Outputs) -> None:
        os._exit(3)


class Status(_Late):
    def scan(self, inputs: Inputs, outputs: Outputs, now_ms: int) -> int:  # type: ignore[override]
        return 7 if now_ms >= 60_000 else 0


class DoesNotReset:
    def reset(self) -> None:
        raise RuntimeError("no memory of it")

    def scan(self, inputs: Inputs, outputs: Outputs, now_ms: int) -> None: ...


NOT_A_CONTROLLER = 3


class AtOnce(Empty):
    """Fails in its very first scan."""

    def scan(self, inputs: Inputs, outputs: Outputs, now_ms: int) -> None:
        raise ValueError("at once")


class WrongStatus(Empty):
    def scan(self, inputs: Inputs, outputs: Outputs, now_ms: int) -> str:  # type: ignore[override]
        return "no"


class HugeStatus(Empty):
    def scan(self, inputs: Inputs, outputs: Outputs, now_ms: int) -> int:  # type: ignore[override]
        return 2**40


class NeverLoads(Empty):
    def reset(self) -> None:
        time.sleep(3600)
