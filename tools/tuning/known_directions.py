"""What a setting does when it rises or falls, in words: what `twoslide diff` can say without a plant.

Signs only, no sizes.  Those of the loops are loop arithmetic (more gain is less margin), those of limits follow from what
a limit is, the rest is common practice, no source.  Where nothing is known in advance nothing is said.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from scenarios.sheet_differences import SettingDifference

# What protects machine and people: a change here is never a matter of tuning.
PROTECTS = ("common.protection.", "common.inhibit.", "common.sequence.", "common.slide_watch.", "common.signals.",
            "common.calibration.")  # fmt: skip
NOT_KNOWN = "no direction is known in advance: try it on scenarios"
GAIN_LESS = (
    "lower loop gain: more margin and fewer slide moves, larger and longer pressure deviation after a load change"
)
GAIN_MORE = "higher loop gain: smaller pressure deviation after a load change, less margin and more slide moves"
_LATER = "acts later: nearer to what the hard-wired cut-out and the machine stand"
_EARLIER = "acts earlier: more distance to what the machine stands, more nuisance stops or holds"


@dataclass(frozen=True, slots=True)
class _Direction:
    """pattern: of the whole key as a sheet has it; rise, fall: what more and less of it does."""

    pattern: str
    rise: str
    fall: str


_TABLE = tuple(
    _Direction(*row)
    for row in (
        (r"pi\.proportional_band", GAIN_LESS, GAIN_MORE),
        (r"pi\.gain_multiplier\[\d+\]", f"at that travel: {GAIN_MORE}", f"at that travel: {GAIN_LESS}"),
        (
            r"pi\.integral_time",
            "slower return to the set point, more margin against fast swings",
            "quicker return to the set point, less margin",
        ),
        (
            r"pi\.rest_zone",
            "rests further off the set point: fewer reversals and pulses, pressure wanders more",
            "rests nearer to the set point: more reversals and pulses, possibly a limit cycle",
        ),
        (
            r"(pi|model)\.feed_forward_gain",
            "an announced load moves the slide more at once; too much of it is a disturbance of its own",
            "an announced load moves the slide less; the loop has to find it",
        ),
        (
            r"step\.neutral_zone",
            "acts further off the set point: fewer pulses, pressure wanders more",
            "acts nearer to the set point: more pulses, possibly a limit cycle",
        ),
        (r"step\.period", "fewer pulses an hour, slower answer", "more pulses an hour, quicker answer, less margin"),
        (
            r"step\.(minimum|maximum)_pulse",
            "each pulse moves the slide further: quicker answer, coarser steps, less margin",
            "each pulse moves the slide less: slower answer, finer steps, more margin",
        ),
        (
            r"step\.maximum_at",
            "the longest pulse comes at a larger error only: slower answer, more margin",
            "the longest pulse comes at a smaller error: quicker answer, less margin",
        ),
        (
            r"model\.observer_time",
            "load estimated more slowly: more margin, later answer",
            "load estimated faster: earlier answer, less margin and more noise on the slide",
        ),
        (
            r"model\.(far_)?return_time",
            "suction comes back more slowly: fewer and smaller moves, more margin",
            "suction comes back faster: more and larger moves, less margin",
        ),
        (
            r"model\.vessel_time",
            "each kPa a second counts as more load: stronger answer, less margin",
            "each kPa a second counts as less load: weaker answer, more margin",
        ),
        (
            r"model\.hold_zone",
            "larger deviations are let pass: fewer moves, pressure wanders more",
            "smaller deviations move the slide: more moves, pressure held closer",
        ),
        (
            r"model\.settled_zone",
            "a move ends sooner, further off the set point",
            "a move goes on until nearer to the set point: longer moves",
        ),
        (
            r"model\.turn_zone",
            "the slide waits through larger deviations before it turns round: fewer reversals, pressure held less closely",
            "the slide turns round at smaller deviations: more reversals, pressure held more closely",
        ),
        (
            r"model\.turn_time",
            "a deviation stands longer before the slide turns round: fewer reversals, a mean further off",
            "a deviation stands less long before the slide turns round: more reversals, a mean nearer to the set point",
        ),
        (r"model\.trim_time", "slower return of the mean, fewer moves", "quicker return of the mean, more moves"),
        (
            r"common\.capacity\.measurement_filter",
            "less noise on the slide, more lag in the loop: less margin at the same gain",
            "less lag in the loop: more margin at the same gain, more noise on the slide",
        ),
        (
            r"common\.(capacity|volume_ratio)\.drive\.(neutral|reversal)_zone",
            "fewer pulses and reversals; the slide stands further off its demand, and beyond some point it cycles",
            "more pulses and reversals; the slide follows its demand more closely",
        ),
        (
            r"common\.(capacity|volume_ratio)\.drive\.pause",
            "fewer pulses, more dead time in the loop: less margin",
            "more pulses, less dead time in the loop: more margin",
        ),
        (
            r"common\.(capacity|volume_ratio)\.drive\.minimum_pulse",
            "coarser steps; a sticking slide is moved more surely",
            "finer steps; below what surely moves the slide, pulses are lost",
        ),
        (
            r"common\.capacity\.(suction|second)_set_point|common\.capacity\.target\.(second_)?saturated_set_point",
            "warmer evaporation: less energy for the same cooling, less reserve for the rooms",
            "colder evaporation: more energy for the same cooling, more reserve for the rooms, nearer to the low limits",
        ),
        (
            r"common\.capacity\.minimum_load",
            "less unloading: stops sooner at low load",
            "more unloading: runs on at lower load and worse efficiency, nearer to the end stop",
        ),
        (
            r"common\.capacity\.load_ramp",
            "loads more slowly after a start: longer pull-down, lower current peak",
            "loads faster after a start: shorter pull-down, higher current peak and deeper suction dip",
        ),
        (
            r"common\.capacity\.windup_band",
            "demand may run further ahead of the slide: larger moves, more overshoot after a limit",
            "demand stays nearer to the slide: slower catching up, less overshoot after a limit",
        ),
        (
            r"common\.volume_ratio\.filter",
            "the volume-ratio slide follows more slowly: fewer of its moves, less coupling, some energy lost on the way",
            "the volume-ratio slide follows faster: more of its moves and more coupling between the loops",
        ),
        (
            r"common\.sequence\.(start_to_start|stop_to_start)",
            "fewer starts: easier on the motor, longer without cooling after a stop",
            "starts may follow each other sooner: harder on the motor",
        ),
        (
            r"common\.sequence\.starts_per_hour",
            "more starts an hour are allowed: harder on the motor",
            "fewer starts an hour are allowed: easier on the motor, longer without cooling",
        ),
        (r"common\.sequence\.idle_delay", "fewer stops at low load", "stops sooner at low load: more starts"),
        (r"common\.sequence\.idle_stop", "stops sooner at low load", "runs on longer at low load: nearer to the low limits"),
        (
            r"common\.sequence\.restart",
            "restarts at a warmer suction: fewer starts, larger swing",
            "restarts at a colder suction: more starts, smaller swing",
        ),
        (r"common\.protection\.(high_\w+|motor_overload)_(trip|alarm)", _LATER, _EARLIER),
        (r"common\.protection\.low_\w+_(trip|alarm)", _EARLIER, _LATER),
        (r"common\.protection\.\w+_(delay|bypass)", _LATER, _EARLIER),
        (
            r"common\.inhibit\.(current|discharge_pressure|discharge_temperature)_(hold|unload)",
            "holds or unloads later: more capacity at the limit, nearer to the trip",
            "holds or unloads earlier: less capacity at the limit, further from the trip",
        ),
        (
            r"common\.inhibit\.suction_(hold|unload)",
            "holds or unloads earlier: less capacity at low suction, further from the trip",
            "holds or unloads later: more capacity at low suction, nearer to the trip",
        ),
    )
)  # fmt: skip


def protects(key: str) -> bool:
    """Whether a setting is one of those that protect the machine."""
    return key.startswith(PROTECTS)


def expected(difference: SettingDifference) -> str:
    """What a change is expected to do, in words; `NOT_KNOWN` where nothing can be said in advance.

    >>> expected(SettingDifference("pi.integral_time", "ms", "30 s", "20 s", -10000.0, ""))
    'quicker return to the set point, less margin'
    """
    if difference.change is None:
        return "works otherwise from now on; see what it is for"
    for row in _TABLE:
        if re.fullmatch(row.pattern, difference.key):
            return row.rise if difference.change > 0.0 else row.fall
    return NOT_KNOWN
