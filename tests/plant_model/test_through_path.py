"""The path from discharge to suction that both slides leave open when they are far apart."""

import dataclasses

import numpy as np
import pytest

from plant_model.compression import nozzle_flux
from tests.plant_model.test_compression import MACHINE, _run


def test_nozzle_flow_chokes_where_gas_dynamics_says() -> None:
    """Critical pressure ratio 1.893 and flux 0.6847 for k = 1.4: any gas-dynamics table, recalled."""
    k = 1.4
    for ratio in (1.893, 2.5, 10.0):
        assert nozzle_flux(k, ratio, ratio ** (1.0 / k)) == pytest.approx(0.6847, abs=1e-4)
    assert nozzle_flux(k, 1.0, 1.0) == 0.0
    fluxes = [nozzle_flux(k, r, r ** (1.0 / k)) for r in np.linspace(1.0, 2.2, 200).tolist()]
    assert np.all(np.diff(fluxes) >= 0.0)
    assert max(np.diff(fluxes[1:])) < 0.05


def test_the_open_path_spoils_the_flow_and_a_plant_may_exclude_it() -> None:
    shut = dataclasses.replace(MACHINE, through_path=False)
    for capacity, ratio in ((0.0, 0.0), (0.1, 0.3), (0.3, 0.2)):
        opened, closed = _run(capacity, ratio), _run(capacity, ratio, machine=shut)
        assert opened.volume_ratio < 1.0
        assert opened.through_path_kg_s > 0.0
        assert opened.mass_flow_kg_s < closed.mass_flow_kg_s
        assert closed.through_path_kg_s == 0.0
        assert (
            opened.mismatch_power_w + opened.unavoidable_power_w > closed.mismatch_power_w + closed.unavoidable_power_w
        )
    along = [_run(0.3, float(t)).through_path_kg_s for t in np.linspace(0.5, 0.0, 21)]
    assert np.all(np.diff(along) >= 0.0)  # grows with the overlap
    assert along[0] == 0.0 or along[0] < 0.2 * along[-1]
    assert _run(0.3, 0.2).mass_flow_kg_s < _run(0.3, 0.2, t_discharge_k=300.0).mass_flow_kg_s  # hot gas displaces more
