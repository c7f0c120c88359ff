"""Fitting the refrigerant tables to CoolProp's equations of state, and checking the fit between its nodes.

Coordinates.  Saturation and vapour properties have a square-root-like singularity at the critical point.  In
`x`, the square root of ln(p_crit / p) scaled to -1..1, they are smooth, and a degree of 9 is enough.  Superheat enters
as `s = theta / (theta + theta_0)` with theta_0 proportional to T_crit - T_sat, as the distance to the spinodal shrinks.

Envelope.  Saturation from max(triple point + 5 K, 200 K) up to the highest of a few fractions of the critical
temperature (345 K at most) at which every property stays within 1e-5 (relative for T, p, volume; relative to the
smallest latent heat for enthalpy) and the isentropic exponent within 1e-4 (1e-2 for a retrograde vapour).  Both the
limits and the errors found stand in the record.  Ammonia: 200–345 K, 150 K superheat; R744: 222–283 K only.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.polynomial import chebyshev

from plant_model.property_tables import (
    DATUM_J_KG,
    DATUM_K,
    EXPONENT_DEGREE,
    EXPONENT_S_TERMS,
    SATURATION_TERMS,
    VAPOUR_S_TERMS,
    VAPOUR_X_TERMS,
    FitError,
    Refrigerant,
    UnknownRefrigerantError,
)

ACCURACY_FRAC = 1e-5
EXPONENT_ACCURACY_FRAC = 1e-4
# A vapour that condenses while it is compressed (R600a, R1234yf) has a kink in its exponent; 1e-2 in the exponent is
# about 1 % in the ideal volume ratio and 0.01 % in power.
RETROGRADE_EXPONENT_ACCURACY_FRAC = 1e-2
HIGHEST_SATURATION_K = 345.0  # 72 °C: beyond any condensing temperature of a refrigeration plant
LOWEST_SATURATION_K = 200.0
CRITICAL_FRACTIONS = (0.95, 0.94, 0.93, 0.92, 0.91, 0.90, 0.88, 0.86, 0.84)
VAPOUR_SUPERHEATS_K = (150.0, 120.0, 90.0)
SUCTION_SUPERHEAT_K = 60.0
SUPERHEAT_SCALES = (1.5, 2.0)


def _nodes(count: int) -> Any:
    return np.cos(np.pi * (np.arange(count) + 0.5) / count)


class _Fluid:
    """CoolProp's answers for one fluid, with this module's datum."""

    def __init__(self, name: str) -> None:
        from CoolProp import CoolProp  # 2 s to import: only when a table is really fitted

        self.inputs = CoolProp
        try:
            self.state = CoolProp.AbstractState("HEOS", name)
        except ValueError as error:
            raise UnknownRefrigerantError(f"refrigerant {name!r}: CoolProp knows no such fluid") from error
        self.critical_temperature_k = float(self.state.T_critical())
        self.critical_pressure_pa = float(self.state.p_critical())
        self.low_k = max(float(self.state.Ttriple()) + 5.0, LOWEST_SATURATION_K)
        self.max_k = float(self.state.Tmax())
        if not self.low_k < DATUM_K < self.critical_temperature_k:
            raise FitError(
                f"refrigerant {name!r}: saturates from {self.low_k:.1f} to {self.critical_temperature_k:.1f} K; "
                f"a refrigerant must be able to be liquid at {DATUM_K} K"
            )
        self.offset_j_kg = 0.0
        middle_pa = self.pressure(DATUM_K)
        dew_k, bubble_k = self.saturated(middle_pa, 1.0)[0], self.saturated(middle_pa, 0.0)[0]
        if abs(dew_k - bubble_k) > 0.01:
            raise FitError(f"refrigerant {name!r}: has a glide of {dew_k - bubble_k:.2f} K; pure fluids only")
        self.offset_j_kg = DATUM_J_KG - self.saturated(middle_pa, 0.0)[1]

    def pressure(self, temperature_k: float) -> float:
        self.state.update(self.inputs.QT_INPUTS, 1.0, temperature_k)
        return float(self.state.p())

    def saturated(self, p_pa: float, quality: float) -> tuple[float, float, float]:
        """Temperature K, enthalpy J/kg, volume m³/kg."""
        self.state.update(self.inputs.PQ_INPUTS, p_pa, quality)
        return self.state.T(), self.state.hmass() + self.offset_j_kg, 1.0 / self.state.rhomass()

    def vapour(self, p_pa: float, superheat_k: float) -> tuple[float, float, float]:
        """Enthalpy J/kg, volume m³/kg, entropy J/kg/K."""
        self.state.update(self.inputs.PQ_INPUTS, p_pa, 1.0)
        if superheat_k > 0.0:
            saturated_k = self.state.T()
            self.state.specify_phase(self.inputs.iphase_gas)  # near saturation the phase search would be slow
            self.state.update(self.inputs.PT_INPUTS, p_pa, saturated_k + superheat_k)
            self.state.unspecify_phase()
        return self.state.hmass() + self.offset_j_kg, 1.0 / self.state.rhomass(), self.state.smass()

    def exponent(self, p1_pa: float, p2_pa: float, superheat_k: float) -> float:
        _, v1, s1 = self.vapour(p1_pa, superheat_k)
        if (
            p2_pa < p1_pa * 1.0005
        ):  # the limit: -(v/p)(dp/dv)_s = w²/(p v); the equilibrium branch of ln/ln loses digits
            return float(self.state.speed_sound() ** 2 / (p1_pa * v1))
        self.state.update(self.inputs.PSmass_INPUTS, p2_pa, s1)
        return math.log(p2_pa / p1_pa) / math.log(v1 * self.state.rhomass())


@dataclass(frozen=True, slots=True)
class _Frame:
    """The coordinates of one candidate envelope."""

    fluid: _Fluid
    low_pa: float
    high_pa: float
    high_k: float
    superheat_k: float
    scale: float

    @property
    def roots(self) -> tuple[float, float]:
        critical_pa = self.fluid.critical_pressure_pa
        return math.sqrt(math.log(critical_pa / self.low_pa)), math.sqrt(math.log(critical_pa / self.high_pa))

    def pressure(self, x: float) -> float:
        low, high = self.roots
        root = 0.5 * (low + high) - 0.5 * (low - high) * x
        return min(self.high_pa, max(self.low_pa, self.fluid.critical_pressure_pa * math.exp(-root * root)))

    def superheat(self, p_pa: float, y: float, limit_k: float) -> float:
        """Superheat at relative position y (0..1) of the transformed coordinate."""
        origin_k = self.scale * (self.fluid.critical_temperature_k - self.fluid.saturated(p_pa, 1.0)[0])
        return y * origin_k * limit_k / (limit_k + origin_k - y * limit_k)


def _to_monomials(terms: int) -> Any:
    """Matrix that turns Chebyshev coefficients into monomial ones (numpy's own function drops trailing zeros)."""
    matrix = np.zeros((terms, terms))
    for k in range(terms):
        column = chebyshev.cheb2poly(np.eye(terms)[k])
        matrix[: len(column), k] = column
    return matrix


def _floats(values: Any) -> tuple[float, ...]:
    return tuple(float(v) for v in np.ravel(values))


def _fit_saturation(frame: _Frame) -> tuple[dict[str, tuple[float, ...]], float]:
    fluid = frame.fluid

    def row(x: float) -> list[float]:
        p_pa = frame.pressure(x)
        t_k, h_l, v_l = fluid.saturated(p_pa, 0.0)
        _, h_v, v_v = fluid.saturated(p_pa, 1.0)
        return [t_k, v_l, h_l, h_v, p_pa * v_v]

    names = [
        "temperature_k",
        "liquid_volume_m3_kg",
        "liquid_enthalpy_j_kg",
        "vapour_enthalpy_j_kg",
        "vapour_flow_work_j_kg",
    ]
    x = _nodes(32)
    exact = np.array([row(v) for v in x])
    fits = [chebyshev.chebfit(x, exact[:, j], SATURATION_TERMS - 1) for j in range(len(names))]
    between = np.linspace(-1.0, 1.0, 241)
    check = np.array([row(v) for v in between])
    latent = check[:, 3] - check[:, 2]
    scales = [check[:, 0], check[:, 1], latent, latent, check[:, 4]]
    errors = [
        float(np.max(np.abs((chebyshev.chebval(between, c) - check[:, j]) / scales[j]))) for j, c in enumerate(fits)
    ]
    errors[0] *= 10.0  # d ln p / d ln T is about 10 in the envelope: p(T) must keep the promise too
    tau = (2.0 * exact[:, 0] - fluid.low_k - frame.high_k) / (frame.high_k - fluid.low_k)
    fits.append(chebyshev.chebfit(tau, x, SATURATION_TERMS - 1))
    to_monomials = _to_monomials(SATURATION_TERMS)
    table = {name: _floats(to_monomials @ c) for name, c in zip([*names, "coordinate"], fits, strict=True)}
    return table, max(errors)


def _fit_vapour(frame: _Frame) -> tuple[dict[str, tuple[float, ...]], float]:
    fluid = frame.fluid

    def row(x: float, y: float) -> list[float]:
        p_pa = frame.pressure(x)
        theta_k = frame.superheat(p_pa, y, frame.superheat_k)
        _, h_v, v_v = fluid.saturated(p_pa, 1.0)
        h, v, _ = fluid.vapour(p_pa, theta_k)
        return [(h - h_v) / theta_k, p_pa * (v - v_v) / theta_k, theta_k, p_pa * v]

    x, s = _nodes(16), _nodes(12)
    exact = np.array([[row(a, 0.5 * (b + 1.0)) for b in s] for a in x])
    basis_x, basis_s = chebyshev.chebvander(x, VAPOUR_X_TERMS - 1), chebyshev.chebvander(s, VAPOUR_S_TERMS - 1)
    # At Chebyshev nodes the least-squares fit is a product of sums: no matrix to invert.
    weight_x = 2.0 / len(x) * np.where(np.arange(VAPOUR_X_TERMS) == 0, 0.5, 1.0)[:, None] * basis_x.T
    weight_s = 2.0 / len(s) * np.where(np.arange(VAPOUR_S_TERMS) == 0, 0.5, 1.0)[:, None] * basis_s.T
    fits = [weight_x @ exact[:, :, j] @ weight_s.T for j in (0, 1)]
    chance = np.random.default_rng(1)
    points = [
        (float(a), float(b)) for a, b in zip(chance.uniform(-1, 1, 700), chance.uniform(0.001, 1, 700), strict=True)
    ]
    points += [(1.0, float(b)) for b in np.linspace(0.002, 1.0, 60)]  # the worst edge, next to the critical point
    check = np.array([row(*point) for point in points])
    where = np.array(points)
    latent = fluid.saturated(frame.high_pa, 1.0)[1] - fluid.saturated(frame.high_pa, 0.0)[1]
    scales = [latent, check[:, 3]]
    errors = [
        float(
            np.max(
                np.abs(
                    (chebyshev.chebval2d(where[:, 0], 2.0 * where[:, 1] - 1.0, c) - check[:, j])
                    * check[:, 2]
                    / scales[j]
                )
            )
        )
        for j, c in enumerate(fits)
    ]
    rows, columns = _to_monomials(VAPOUR_X_TERMS), _to_monomials(VAPOUR_S_TERMS)
    return {
        "superheat_enthalpy_j_kg_k": _floats(rows @ fits[0] @ columns.T),
        "superheat_flow_work_j_kg_k": _floats(rows @ fits[1] @ columns.T),
    }, max(errors)


def exponent_powers() -> list[tuple[int, int, int]]:
    """Powers of (x2, x1, s) of the exponent's terms, in the order in which the kernel reads them."""
    return [
        (j, i, k)
        for k in range(EXPONENT_S_TERMS)
        for i in range(EXPONENT_DEGREE - k + 1)
        for j in range(EXPONENT_DEGREE - k - i + 1)
    ]


def _fit_exponent(frame: _Frame) -> tuple[tuple[float, ...], float]:
    def value(x1: float, rise: float, y: float) -> float:
        p1_pa, p2_pa = frame.pressure(x1), frame.pressure(x1 + (1.0 - x1) * rise)
        return frame.fluid.exponent(p1_pa, p2_pa, frame.superheat(p1_pa, y, SUCTION_SUPERHEAT_K))

    powers = exponent_powers()

    def design(points: Any) -> Any:
        x1, x2 = points[:, 0], points[:, 0] + (1.0 - points[:, 0]) * points[:, 1]
        a = chebyshev.chebvander(x2, EXPONENT_DEGREE)
        b = chebyshev.chebvander(x1, EXPONENT_DEGREE)
        c = chebyshev.chebvander(2.0 * points[:, 2] - 1.0, EXPONENT_S_TERMS - 1)
        return np.array([a[:, j] * b[:, i] * c[:, k] for j, i, k in powers]).T

    rises = [0.0, *(0.5 * (_nodes(10) + 1.0)), 1.0]
    points = np.array([(a, b, 0.5 * (c + 1.0)) for a in _nodes(12) for b in rises for c in [-1.0, *_nodes(5), 1.0]])
    exact = np.array([value(*point) for point in points])
    fit = np.linalg.lstsq(design(points), exact, rcond=None)[0]
    where = np.random.default_rng(2).uniform((-1.0, 0.0, 0.0), (1.0, 1.0, 1.0), (500, 3))
    check = np.array([value(*point) for point in where])
    error = float(np.max(np.abs(design(where) @ fit / check - 1.0)))
    cube = np.zeros((EXPONENT_DEGREE + 1, EXPONENT_DEGREE + 1, EXPONENT_S_TERMS))
    for c, (j, i, k) in zip(fit, powers, strict=True):
        cube[j, i, k] = c
    in_pressure, in_superheat = _to_monomials(EXPONENT_DEGREE + 1), _to_monomials(EXPONENT_S_TERMS)
    cube = np.einsum("aj,bi,ck,jik->abc", in_pressure, in_pressure, in_superheat, cube)
    return tuple(float(cube[power]) for power in powers), error


def _candidates(fluid: _Fluid) -> Iterator[_Frame]:
    """Envelopes to try, the widest first."""
    low_pa = fluid.pressure(fluid.low_k)
    for fraction in CRITICAL_FRACTIONS:
        high_k = min(fraction * fluid.critical_temperature_k, HIGHEST_SATURATION_K)
        if high_k < fluid.low_k + 20.0:
            return
        high_pa = fluid.pressure(high_k)
        for superheat_k in VAPOUR_SUPERHEATS_K:
            limit_k = min(superheat_k, fluid.max_k - high_k - 0.5)
            for scale in SUPERHEAT_SCALES:
                yield _Frame(fluid, low_pa, high_pa, high_k, limit_k, scale)


def _fit_frame(frame: _Frame, exponent_limit_frac: float) -> Refrigerant | str:
    """The tables for this envelope, or what keeps them from the promised accuracy."""
    vapour, vapour_error = _fit_vapour(frame)
    if vapour_error > ACCURACY_FRAC:
        return f"vapour off by {vapour_error:.1e}"
    saturation, saturation_error = _fit_saturation(frame)
    if saturation_error > ACCURACY_FRAC:
        return f"saturation off by {saturation_error:.1e}"
    exponent, exponent_error = _fit_exponent(frame)
    if exponent_error > exponent_limit_frac:
        return f"exponent off by {exponent_error:.1e}"
    low_root, high_root = frame.roots
    return Refrigerant(
        pressure_low_pa=frame.low_pa,
        pressure_high_pa=frame.high_pa,
        temperature_low_k=frame.fluid.low_k,
        temperature_high_k=frame.high_k,
        critical_temperature_k=frame.fluid.critical_temperature_k,
        superheat_high_k=frame.superheat_k,
        suction_superheat_high_k=SUCTION_SUPERHEAT_K,
        log_critical_pressure=math.log(frame.fluid.critical_pressure_pa),
        root_mid=0.5 * (low_root + high_root),
        root_scale=2.0 / (low_root - high_root),
        superheat_scale=frame.scale,
        saturation_error_frac=saturation_error,
        vapour_error_frac=vapour_error,
        exponent_error_frac=exponent_error,
        exponent=exponent,
        **saturation,
        **vapour,
    )


def fit_refrigerant(name: str) -> Refrigerant:
    """Fit the tables of one pure refrigerant, by CoolProp's name, and check them between the nodes.

    Raises UnknownRefrigerantError, or FitError when no envelope reaches the accuracy.
    """
    fluid = _Fluid(name)
    said = "nothing tried"
    for exponent_limit_frac in (EXPONENT_ACCURACY_FRAC, RETROGRADE_EXPONENT_ACCURACY_FRAC):
        for frame in _candidates(fluid):
            table = _fit_frame(frame, exponent_limit_frac)
            if isinstance(table, Refrigerant):
                return table
            said = f"up to {frame.high_k:.1f} K and {frame.superheat_k:.0f} K superheat: {table}"
    raise FitError(f"refrigerant {name!r}: no envelope reaches {ACCURACY_FRAC:g}; the last, {said}")
