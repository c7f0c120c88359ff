"""The picture of a moment of least margin: both sides of the deciding comparison, and the states beside it as lanes.

Plain SVG in the page's colours, so that a record of a hundred pictures prints and opens at once; `moments.js` adds a cursor.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from html import escape
from typing import Any

CAPACITY, VOLUME_RATIO, OTHER, LIMIT = "var(--capacity)", "var(--ratio)", "var(--plain)", "var(--limit)"
WIDTH, LEFT, RIGHT = 470.0, 62.0, 10.0
PLOT_HEIGHT, LANE_HEIGHT, TOP, FOOT = 116.0, 17.0, 8.0, 30.0
LETTER = 5.0  # width of one, at the lanes' size


def colour_of(text: str) -> str:
    """The capacity slide is blue, the volume-ratio slide orange, everything else green."""
    if "volume_ratio" in text:
        return VOLUME_RATIO
    return CAPACITY if "capacity" in text else OTHER


def ticks(low: float, high: float, about: int) -> list[float]:
    """Round numbers between two values, some `about` of them."""
    raw = (high - low) / max(about, 1)
    if not raw > 0.0 or not math.isfinite(raw):
        return [low]
    size = 10.0 ** math.floor(math.log10(raw))
    step = next((m * size for m in (1.0, 2.0, 5.0, 10.0) if m * size >= raw), 10.0 * size)
    first = math.ceil(low / step - 1e-9)
    return [k * step for k in range(first, math.floor(high / step + 1e-9) + 1)]


def moment_svg(cut: dict[str, Any]) -> str:
    """An excerpt (excerpts.py) as an SVG element."""
    lanes: dict[str, Any] = cut["lanes"]
    times = list(cut["time_s"])
    spans = [t for lane in lanes.values() for start, end, _ in lane for t in (start, end)]
    if not times and not spans:
        return ""
    t0, t1 = min([*times, *spans]), max([*times, *spans])
    t1 = t1 if t1 > t0 else t0 + 1.0
    plot = PLOT_HEIGHT if times else 0.0
    height = TOP + plot + (8.0 if plot and lanes else 0.0) + LANE_HEIGHT * len(lanes) + FOOT
    bottom = height - FOOT

    def x_of(t: float) -> float:
        return float(LEFT + (WIDTH - LEFT - RIGHT) * (t - t0) / (t1 - t0))

    out = [
        f'<svg viewBox="0 0 {WIDTH:.0f} {height:.0f}" role="img" tabindex="0" '
        f'aria-label="{escape(cut["clause"] or "states", True)}" {_scale(cut, t0, t1)} '
        'font-family="Liberation Sans, Arial, sans-serif" font-size="9.5" fill="var(--ink)">'
    ]
    for t in ticks(t0, t1, 6):
        out.append(f'<line x1="{x_of(t):.1f}" x2="{x_of(t):.1f}" y1="{TOP}" y2="{bottom:.1f}" stroke="var(--rule)"/>')
        out.append(f'<text x="{x_of(t):.1f}" y="{bottom + 11:.1f}" text-anchor="middle">{t:g}</text>')
    if plot:
        out += _sides(cut, x_of)
    for k, (name, lane) in enumerate(lanes.items()):
        out += _lane(name, lane, TOP + plot + (8.0 if plot else 0.0) + LANE_HEIGHT * k, x_of)
    mark = x_of(min(max(cut["at_s"], t0), t1))
    out.append(
        f'<line x1="{mark:.1f}" x2="{mark:.1f}" y1="{TOP}" y2="{bottom:.1f}" stroke="var(--ink)" stroke-dasharray="2 2"/>'
    )
    out.append(f'<text x="{0.5 * (LEFT + WIDTH - RIGHT):.0f}" y="{bottom + 24:.1f}" text-anchor="middle">')
    out.append(f"s since the start; the moment is at {cut['at_s']:g} s</text>")
    out.append(
        f'<line class="at" visibility="hidden" y1="{TOP}" y2="{bottom:.1f}" stroke="var(--capacity)" stroke-width="1.5"/>'
    )
    out.append(
        f'<text class="told" x="{WIDTH - RIGHT - 4:.0f}" y="{TOP + 11:.0f}" text-anchor="end" font-weight="bold"></text>'
    )
    out.append("</svg>")
    return "".join(out)


def _reach(cut: dict[str, Any]) -> tuple[float, float]:
    """Lower and upper end of the picture of both sides."""
    values = [*cut["left"], *cut["right"]]
    low, high = min(values), max(values)
    room = 0.08 * (high - low) or 0.05 * abs(high) or 1.0
    return low - room, high + room


def _scale(cut: dict[str, Any], t0: float, t1: float) -> str:
    """What `moments.js` reads values back with."""
    low, high = _reach(cut) if cut["left"] else (0.0, 1.0)
    numbers = (t0, t1, low, high, LEFT, WIDTH - RIGHT, TOP, PLOT_HEIGHT)
    unit = "" if cut["unit"] == "1" else escape(cut["unit"], True)
    return f'data-scale="{" ".join(f"{v:.8g}" for v in numbers)}" data-at="{cut["at_s"]:g}" data-unit="{unit}"'


def _sides(cut: dict[str, Any], x_of: Any) -> list[str]:
    low, high = _reach(cut)

    def y_of(v: float) -> float:
        return float(TOP + PLOT_HEIGHT * (high - v) / (high - low))

    out = []
    for v in ticks(low, high, 4):
        out.append(
            f'<line x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{y_of(v):.1f}" y2="{y_of(v):.1f}" stroke="var(--rule)"/>'
        )
        out.append(f'<text x="{LEFT - 4}" y="{y_of(v) + 3:.1f}" text-anchor="end">{v:.6g}</text>')
    for side, colour, dash in (("right", LIMIT, ' stroke-dasharray="5 3"'), ("left", colour_of(cut["clause"]), "")):
        points = " ".join(f"{x_of(t):.1f},{y_of(v):.1f}" for t, v in zip(cut["time_s"], cut[side], strict=True))
        out.append(
            f'<polyline class="{side}" points="{points}" fill="none" stroke="{colour}" stroke-width="1.6"{dash}/>'
        )
    out.append(
        f'<rect x="{LEFT}" y="{TOP}" width="{WIDTH - LEFT - RIGHT}" height="{PLOT_HEIGHT}" fill="none" '
        'stroke="var(--soft)"/>'
    )
    if cut["unit"] not in ("", "1"):
        turned = f"translate(11 {TOP + 0.5 * PLOT_HEIGHT:.0f}) rotate(-90)"
        out.append(f'<text transform="{turned}" text-anchor="middle">{escape(cut["unit"])}</text>')
    return out


def _lane(name: str, lane: Sequence[Sequence[Any]], top: float, x_of: Any) -> list[str]:
    colour = colour_of(name)
    label = name.replace("_", " ")
    label = label if len(label) <= 13 else f"{label[:12]}…"
    out = [
        f'<text x="{LEFT - 4}" y="{top + 11:.1f}" text-anchor="end" font-size="8.5"><title>{escape(name)}</title>'
        f"{escape(label)}</text>"
    ]
    for start, end, word in lane:
        if not word:
            continue
        x, width = x_of(start), max(x_of(end) - x_of(start), 1.0)
        out.append(
            f'<rect x="{x:.1f}" y="{top + 2:.1f}" width="{width:.1f}" height="{LANE_HEIGHT - 5:.1f}" fill="{colour}" '
            f'fill-opacity="0.22" stroke="{colour}" stroke-width="0.6"><title>{escape(word)}</title></rect>'
        )
        fits = int(width / LETTER)
        if fits >= 2 and word != "on":
            short = word if len(word) <= fits else f"{word[: fits - 1]}…"
            out.append(f'<text x="{x + 2:.1f}" y="{top + 11:.1f}" font-size="8.5">{escape(short)}</text>')
    return out
