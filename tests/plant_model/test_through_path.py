"""The path from discharge to suction that both slides leave open when they are far apart."""

import dataclasses

import numpy as np
import pytest

from plant_model.compression import (
    CompressionResult,
    CompressorParameters,
    compress,
    nozzle_flux,
    rated_leakage_frac,
    volume_ratio_travel_frac,
)
from plant_model.properties import load_refrigerant, saturation_pressure_pa
from plant_model.rotor_geometry import RotorGeometry, slide_curves

R717 = load_refrigerant("R717")
MACHINE = CompressorParameters()
ROTOR = RotorGeometry()
CURVES = slide_curves(ROTOR, rated_leakage_frac(MACHINE, ROTOR, R717))
SPEED = MACHINE.nominal_speed_1_s


def _run(
    capacity: float,
    ratio: float | None = None,
    t_e_c: float = -10.0,
    t_c_c: float = 35.0,
    machine: CompressorParameters = MACHINE,
    speed_1_s: float = SPEED,
    t_discharge_k: float = 353.15,
) -> CompressionResult:
    """At saturated temperatures in °C; ratio None is the best attainable position of the volume-ratio slide."""
    p1_pa, p2_pa = (saturation_pressure_pa(R717, t + 273.15) for t in (t_e_c, t_c_c))
    out = CompressionResult()
    for _ in range(2):
        place = 0.5 if ratio is None else ratio
        compress(machine, R717, CURVES, p1_pa, 3.0, p2_pa, t_discharge_k, speed_1_s, capacity, place, out)
        if ratio is None:
            ratio = volume_ratio_travel_frac(CURVES, out.volume_ratio_attainable / out.trapped_fraction_frac)
    return out


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
