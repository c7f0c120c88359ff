"""How the figures of a tuning result are written for people: one place, so that sheet, report and terminal say the same."""

from __future__ import annotations

import math

from scenarios.quantities import format_quantity
from tools.tuning.tuning_result import Between, Effect, SettingRow

SCORE_NAMES = {  # label, unit, of the objectives
    "pressure_rms_kpa": ("pressure RMS", "kPa"),
    "wear_per_h": ("slide wear", "1/h"),
    "starts_per_h": ("starts", "1/h"),
    "energy_kwh_per_kwh": ("energy per cooling", "kWh/kWh"),
}
WEAR = (
    "Slide wear: reversals an hour, a twentieth of the solenoid operations and half of the full strokes added, both slides "
    "(weights: common practice, no source)."
)
EFFECT_METHOD = (
    "Sensitivity: each searched setting was moved 10 % down and up from its value, alone, on the same plants, noise and "
    "events. The figure is what 10 % more of it does to the score, in % of the score, with its 95 % interval. “Not told "
    "from noise”: it does not pass Holm's test over all of them at 5 %."
)
CAUTIONS = (
    "An engineering aid on a simulated plant, and no safety system. Hard-wired high-pressure cut-out, relief devices, the "
    "motor's own protection and the maker's limits come first, and so do local codes and licensed practice.",
    "Nothing here was measured on your machine. Enter values step by step, watch suction pressure and both slides for an "
    "hour after each, and go back to the previous value when in doubt.",
    "Trips, inhibits and waits are not tuned. Check each of them against the plant before it is started.",
)


def name_of(score: str) -> str:
    """A score's label.

    >>> name_of("wear_per_h"), name_of("capacity_reversals_per_h")
    ('slide wear', 'capacity reversals per h')
    """
    return SCORE_NAMES.get(score, (score.replace("_", " "), ""))[0]


def number(value: float, figures: int = 3) -> str:
    """A figure to a few digits, with a real minus sign; what is none as a word.

    >>> number(-1.2345), number(0.0), number(float("nan")), number(float("inf")), number(123456.0)
    ('−1.23', '0', 'not known', 'no limit', '123000')
    """
    if math.isnan(value):
        return "not known"
    if math.isinf(value):
        return "no limit" if value > 0.0 else "−no limit"
    text = f"{float(f'{value:.{figures}g}'):.12g}" if value else "0"
    return text.replace("-", "−")


def ms_text(ms: float) -> str:
    """A sensitivity peak; infinite is unstable, nan has no linear loop.

    >>> ms_text(1.5), ms_text(float("inf")), ms_text(float("nan"))
    ('1.50', 'unstable', '–')
    """
    return "–" if math.isnan(ms) else f"{ms:.2f}" if math.isfinite(ms) else "unstable"


def signed(value: float, digits: int = 1) -> str:
    """A change with its sign, to so many decimals.

    >>> signed(1.26), signed(-0.04), signed(-3.0)
    ('+1.3', '0.0', '−3.0')
    """
    if not math.isfinite(value):
        return number(value)
    text = f"{value:+.{digits}f}"
    return f"{0.0:.{digits}f}" if float(text) == 0.0 else text.replace("-", "−")


def between_text(between: Between, figures: int = 3) -> str:
    """A figure with its interval.

    >>> between_text(Between(0.73, 0.712, 0.76)), between_text(Between(1.0, math.nan, math.nan))
    ('0.73 (0.712 to 0.76)', '1 (no interval)')
    """
    if math.isnan(between.value):
        return "not known"
    if math.isnan(between.low) or math.isnan(between.high):
        return f"{number(between.value, figures)} (no interval)"
    return f"{number(between.value, figures)} ({number(between.low, figures)} to {number(between.high, figures)})"


def effect_text(effect: Effect) -> str:
    """What 10 % more of a setting does to a score, in words that do not say more than was seen.

    >>> effect_text(Effect("wear_per_h", Between(-2.0, -3.0, -1.0), True))
    '−2.0 % (−3.0 to −1.0)'
    >>> effect_text(Effect("starts_per_h", Between(0.0, 0.0, 0.0), False))
    'no change seen'
    >>> effect_text(Effect("wear_per_h", Between(-2.0, -4.5, 0.5), False))
    '−2.0 % (−4.5 to +0.5), not told from noise'
    """
    b = effect.change_pct
    if math.isnan(b.value) or math.isinf(b.value):
        return "not known"
    if b.value == b.low == b.high == 0.0:
        return "no change seen"
    text = f"{signed(b.value)} %"
    if math.isfinite(b.low) and math.isfinite(b.high):
        text += f" ({signed(b.low)} to {signed(b.high)})"
    return text if effect.told_from_noise else f"{text}, not told from noise"


def quantity(value: float | str | tuple[float, ...], unit: str) -> str:
    """A setting's value as the sheet writes it.

    >>> quantity(30000.0, "ms"), quantity("off", ""), quantity((1.0, 0.86), ""), quantity(45.5, "kPa")
    ('30 s', 'off', '1, 0.86', '45.5 kPa')
    """
    if isinstance(value, str):
        return value
    if isinstance(value, tuple):
        return ", ".join(quantity(item, unit) for item in value)
    figure = float(f"{value:.6g}")
    if unit == "ms" and figure.is_integer():
        return format_quantity(int(figure), unit)
    return format_quantity(figure, unit) if unit not in ("", "1") else f"{figure:g}"


def range_text(row: SettingRow) -> str:
    """The permitted range as text; "–" for a word.

    >>> range_text(SettingRow("a.b_ms", "a.b", "ms", 1000.0, 60000.0, 1.0, 1.0, "", "", True))
    '1 s to 60 s'
    """
    if isinstance(row.value, str):
        return "–"
    low, high = (None if v is None else quantity(v, row.unit) for v in (row.low, row.high))
    if low is None or high is None:
        return f"from {low}" if low is not None else f"up to {high}" if high is not None else "–"
    return f"{low} to {high}"


def changed(row: SettingRow) -> bool:
    """Whether a setting is another than before, to the 12 digits of the checksum."""
    pair = row.value, row.previous
    if all(isinstance(v, tuple) for v in pair) or any(isinstance(v, str) for v in pair):
        return pair[0] != pair[1]
    return f"{pair[0]:.12g}" != f"{pair[1]:.12g}"
