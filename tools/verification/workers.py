"""What a worker process of verification does with its parent's end."""

from __future__ import annotations

import os
import signal
import threading
import time


def follow(parent: int) -> None:
    """Leave Ctrl-C to the parent, which asks for no more work, and end when the parent has gone, however it went."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(0.5)
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()
