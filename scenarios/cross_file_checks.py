"""What only two files together, or two keys of a plant's site, can contradict each other in."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from scenarios.errors import InputRefused, Problem
from scenarios.quantities import standard_atmosphere_pa
from scenarios.toml_source import KeyPath, TomlSource, read_toml

if TYPE_CHECKING:
    from scenarios.scenario import Scenario

# Weather moves the barometer by some 3 kPa either way and a road map gives an altitude within 50 m, 0.6 kPa: what is
# further apart is a slip of the pen.  Common practice, no source.
SITE_TOLERANCE_PA = 5e3


def site_contradiction(given: dict[str, float]) -> tuple[Problem, ...]:
    """What is wrong with a site's `barometric_pressure` (Pa) beside its `altitude` (m); none where one is missing."""
    if "altitude" not in given or "barometric_pressure" not in given:
        return ()
    pressure_pa, standard_pa = given["barometric_pressure"], standard_atmosphere_pa(given["altitude"])
    if abs(pressure_pa - standard_pa) <= SITE_TOLERANCE_PA:
        return ()
    return (
        Problem(
            f"barometric_pressure of {pressure_pa / 1e3:.1f} kPa contradicts the altitude of {given['altitude']:g} m, where "
            f"the standard atmosphere has {standard_pa / 1e3:.1f} kPa",
            value=f"{pressure_pa / 1e3:.1f} kPa",
            limit=f"they may lie {SITE_TOLERANCE_PA / 1e3:g} kPa apart",
            way_out="give the pressure at the site, not one reduced to sea level, or the altitude alone",
        ),
    )


def site_note(given: dict[str, float]) -> str:
    """Which of a site's barometric pressure and altitude is used where both are given, in words; else ""."""
    if "altitude" not in given or "barometric_pressure" not in given:
        return ""
    return (
        f"the site gives both: its barometric_pressure of {given['barometric_pressure'] / 1e3:.1f} kPa is used, "
        f"the altitude of {given['altitude']:g} m is not"
    )


def check_groups_in_use(scenario: Scenario) -> None:
    """InputRefused where an event is about an evaporator group that has no conductance in the plant file."""
    shares = scenario.plant.parameters.evaporator.conductance_share_frac
    used = [str(k) for k, share in enumerate(shares, 1) if share > 0.0]
    source: TomlSource | None = None
    problems = []
    for index, event in enumerate(scenario.events):
        inner: Any = getattr(event, "then", None)
        for place, one in ((("event", index), event), (("event", index, "then"), inner)):
            group = getattr(one, "group", None)
            if group is None or str(group) in used:
                continue
            source = source or read_toml(scenario.path)
            problem = Problem(
                f"{one.kind}: group {group} of {scenario.plant.path.name} has a conductance share of 0, so it does nothing",
                value=str(group),
                limit=f"groups in use: {', '.join(used)}",
                way_out="name one of them, or give the group a share in [evaporator] of the plant file",
            )
            key: KeyPath = (*place, "group")
            problems.append(source.problem(key, problem, of_value=True))
    if problems:
        raise InputRefused(problems)
