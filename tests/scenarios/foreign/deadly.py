"""Controllers that take their process along, each in another way: only for a child."""

import ctypes
import os
import time

from controller.process_image import Inputs, Outputs


class _After:
    """Sound so long as nothing is asked of it; what it does after some scans is its own."""

    def reset(self) -> None:
        self.scans = 0

    def scan(self, inputs: Inputs, outputs: Outputs, now_ms: int) -> None:
        self.scans += 1
        if self.scans > 500:
            self.end()

    def end(self) -> None: ...


class Hangs(_After):
    def end(self) -> None:
        time.sleep(3600.0)


class Leaves(_After):
    def end(self) -> None:
        os._exit(3)


class Strays(_After):
    """Reads where nothing is."""

    def end(self) -> None:
        ctypes.string_at(8)


class Slow(_After):
    """Late, but alive: no hang."""

    def end(self) -> None:
        if self.scans % 400 == 0:
            time.sleep(0.02)


class NeverResets(_After):
    def reset(self) -> None:
        time.sleep(3600.0)
