"""Refrigerant tables: fitted once from CoolProp (Bell et al., Ind. Eng. Chem. Res. 53, 2014), kept in the user's cache.

How they are fitted, and how well: `property_fit`.

Datum.  Saturated liquid at 273.15 K has an enthalpy of 200 kJ/kg, for every fluid and whatever CoolProp's own
reference state is.  Blends with a glide are refused: one pressure would not have one saturation temperature.

Errors: PropertyError
        ├── UnknownRefrigerantError   no such pure fluid
        ├── FitError                  no envelope in which the accuracy is reached
        └── EnvelopeError             a state outside the fitted envelope
"""

from __future__ import annotations

import contextlib
import hashlib
import importlib.metadata
import json
import os
import tempfile
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import TYPE_CHECKING, Any

import platformdirs

SATURATION_TERMS = 10
VAPOUR_X_TERMS = 9
VAPOUR_S_TERMS = 8
EXPONENT_DEGREE = 7  # total degree in (x1, x2, s)
EXPONENT_S_TERMS = 5
EXPONENT_TERMS = sum(
    EXPONENT_DEGREE - k - i + 1 for k in range(EXPONENT_S_TERMS) for i in range(EXPONENT_DEGREE - k + 1)
)
DATUM_K = 273.15
DATUM_J_KG = 200e3

if TYPE_CHECKING:
    SaturationTuple = tuple[float, ...]
    VapourTuple = tuple[float, ...]
    ExponentTuple = tuple[float, ...]
else:  # a record field needs its fixed length at run time
    SaturationTuple = tuple[(float,) * SATURATION_TERMS]
    VapourTuple = tuple[(float,) * (VAPOUR_X_TERMS * VAPOUR_S_TERMS)]
    ExponentTuple = tuple[(float,) * EXPONENT_TERMS]


class PropertyError(ValueError):
    """Base of everything that can be wrong with a refrigerant."""


class UnknownRefrigerantError(PropertyError):
    """CoolProp has no pure fluid of this name."""


class FitError(PropertyError):
    """No envelope was found in which the promised accuracy is reached."""


class EnvelopeError(PropertyError):
    """A state lies outside the fitted envelope."""


@dataclass(frozen=True, slots=True)
class Refrigerant:
    """Coefficients and limits of one refrigerant, in SI units; made by `load_refrigerant`, read by the kernels.

    Polynomials are monomials in coordinates that run from -1 to 1, lowest power first.
    """

    pressure_low_pa: float  # Pa: lower end of the fit
    pressure_high_pa: float  # Pa: upper end of the fit
    temperature_low_k: float  # K: saturation temperature at the lower end
    temperature_high_k: float  # K: saturation temperature at the upper end
    critical_temperature_k: float  # K: CoolProp
    superheat_high_k: float  # K: upper end of the vapour fit
    suction_superheat_high_k: float  # K: upper end of the exponent fit
    log_critical_pressure: float  # ln(p_crit / Pa)
    root_mid: float  # x = (root_mid - sqrt(ln(p_crit/p))) * root_scale
    root_scale: float  # as above
    superheat_scale: float  # theta_0 / (T_crit - T_sat)
    saturation_error_frac: float  # worst error found on a grid between the nodes
    vapour_error_frac: float  # worst error found at random states
    exponent_error_frac: float  # worst error found at random states
    temperature_k: SaturationTuple  # K: saturation temperature against x
    liquid_volume_m3_kg: SaturationTuple  # m³/kg: saturated liquid against x
    liquid_enthalpy_j_kg: SaturationTuple  # J/kg: saturated liquid against x
    vapour_enthalpy_j_kg: SaturationTuple  # J/kg: saturated vapour against x
    vapour_flow_work_j_kg: SaturationTuple  # J/kg: p v of saturated vapour against x
    coordinate: SaturationTuple  # x against the scaled saturation temperature: a first guess
    superheat_enthalpy_j_kg_k: VapourTuple  # J/kg/K: (h - h_v) / theta
    superheat_flow_work_j_kg_k: VapourTuple  # J/kg/K: (p v - p v_v) / theta
    exponent: ExponentTuple  # ln(p2/p1) / ln(v1/v2s)


ALIASES = {"ammonia": "R717", "nh3": "R717", "carbon dioxide": "R744", "co2": "R744", "propane": "R290"}


def canonical_name(name: str) -> str:
    """The R number for the few common names; any other name is CoolProp's own."""
    return ALIASES.get(name.strip().lower(), name.strip())


def cache_file(name: str) -> Path:
    """Where the tables of this fluid, CoolProp version and fitting code live."""
    version = importlib.metadata.version("CoolProp")
    source = b"".join(Path(__file__).with_name(file).read_bytes() for file in ("property_fit.py", "property_tables.py"))
    key = hashlib.sha256("\n".join((canonical_name(name), version)).encode() + source).hexdigest()[:32]
    root = Path(os.environ.get("TWOSLIDE_CACHE") or platformdirs.user_cache_dir("twoslide"))
    return root / "properties" / f"{key}.json"


def _read(path: Path) -> Refrigerant | None:
    """The cached record, or None when there is none that can be trusted."""
    try:
        stored = json.loads(path.read_text(encoding="utf-8"))
        body = stored["refrigerant"]
        if stored["sha256"] != hashlib.sha256(json.dumps(body, sort_keys=True).encode()).hexdigest():
            return None
        if set(body) != {f.name for f in fields(Refrigerant)}:
            return None
        made: dict[str, Any] = {k: tuple(map(float, v)) if isinstance(v, list) else float(v) for k, v in body.items()}
        return Refrigerant(**made)
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None  # absent or damaged: fitting again is always right, and takes seconds


def _write(path: Path, refrigerant: Refrigerant) -> None:
    body = asdict(refrigerant)
    text = json.dumps(
        {"sha256": hashlib.sha256(json.dumps(body, sort_keys=True).encode()).hexdigest(), "refrigerant": body}
    )
    with contextlib.suppress(OSError):  # a read-only or full disk only costs the next start its seconds
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(dir=path.parent, suffix=".part")
        try:
            with os.fdopen(handle, "w", encoding="utf-8") as out:
                out.write(text)
            os.replace(temporary, path)
        except OSError:
            os.unlink(temporary)
            raise


_loaded: dict[str, Refrigerant] = {}


def load_refrigerant(name: str) -> Refrigerant:
    """Tables of a pure refrigerant: "R717" (or "ammonia"), "R134a", "R744", "R290", … any name that CoolProp knows.

    Read from the user's cache; fitted there first when absent, damaged, or made by another CoolProp or another version
    of this file.  Raises UnknownRefrigerantError or FitError.
    """
    known = canonical_name(name)
    if known not in _loaded:
        path = cache_file(known)
        table = _read(path)
        if table is None:
            from plant_model.property_fit import fit_refrigerant  # numpy's polynomials and CoolProp: 2 s, only now

            table = fit_refrigerant(known)
            _write(path, table)
        _loaded[known] = table
    return _loaded[known]


def require_pressure(name: str, refrigerant: Refrigerant, p_pa: float, state: str) -> None:
    """Raise EnvelopeError, naming the state, unless saturation at p_pa is inside the fitted envelope."""
    low_pa, high_pa = refrigerant.pressure_low_pa, refrigerant.pressure_high_pa
    if not low_pa <= p_pa <= high_pa:
        raise EnvelopeError(
            f"{state}: {p_pa / 1e3:.6g} kPa absolute is outside the envelope of {name}, "
            f"{low_pa / 1e3:.6g} to {high_pa / 1e3:.6g} kPa (subcritical; saturated at "
            f"{refrigerant.temperature_low_k - 273.15:.1f} to {refrigerant.temperature_high_k - 273.15:.1f} °C)"
        )


def require_saturation_temperature(name: str, refrigerant: Refrigerant, t_k: float, state: str) -> None:
    """Raise EnvelopeError, naming the state, unless saturation at t_k is inside the fitted envelope."""
    low_k, high_k = refrigerant.temperature_low_k, refrigerant.temperature_high_k
    if not low_k <= t_k <= high_k:
        raise EnvelopeError(
            f"{state}: saturation at {t_k - 273.15:.2f} °C is outside the envelope of {name}, "
            f"{low_k - 273.15:.1f} to {high_k - 273.15:.1f} °C"
        )
