"""Hypothesis for all tests: no deadline, because machines are shared; the same examples each time in CI."""

from __future__ import annotations

import os

from hypothesis import HealthCheck, settings

# pytest -n 2 on two cores: a second thread of the linear algebra in each worker only gets in the others' way
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

settings.register_profile("local", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("ci", parent=settings.get_profile("local"), derandomize=True)
settings.load_profile("ci" if os.environ.get("CI") else "local")
