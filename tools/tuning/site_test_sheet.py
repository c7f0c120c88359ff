"""The site test sheet to print, HTML (A4) and plain text: what to set in which order, what to expect, when to stop."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from scenarios.settings_sheet import write_whole
from tools.tuning.site_test_plan import Bump, SitePlan, Stroke, site_plan

TIMES_S = (5, 10, 20, 30, 60, 90, 120, 150, 180)
OUTSIDE_FRAC = 0.01  # of the suction pressure, outside the band: something else is going on; common practice, no source
SAFETY = (
    "Ammonia, pressure and rotating machines can kill. This sheet comes from a simulated plant. It is no safety system, no "
    "permit and no procedure of your plant; those, local codes and licensed practice come first.",
    "Hard-wired cut-outs, relief devices and the motor's own protection stay in service during every test. Nothing is "
    "bridged, forced or reset to make a test go on. The person who answers for the plant may stop it at any moment.",
)
BEFORE = (
    "The person who answers for the plant agrees, knows the time, and stays in reach.",
    "High- and low-pressure cut-outs, oil-pressure cut-out and emergency stop were tested within their interval.",
    "Gas detection and machine-room ventilation are working; escape route and protective equipment are at hand.",
    "Two people: one at the cabinet, one who watches suction pressure, vessel level and the process.",
    "Nobody defrosts, starts or stops another compressor, pump or cooler during the test; loads are as steady as they get.",
    "No trip is latched, no inhibit is on, no alarm stands. Suction and discharge readings agree with the gauges.",
    "The log runs: time, capacity position [%], suction pressure [kPa abs], load drive, unload drive, capacity demand; "
    "every 0.2 s, at least every 1 s; clock and file name are noted here.",
)
HEADS = (
    "date, time",
    "outdoor wet bulb, °C",
    "suction, kPa abs",
    "discharge, kPa abs",
    "oil supply, °C",
    "vessel level, %",
)
AFTER = (
    "Capacity and volume-ratio slides back to automatic; hold the demand where it stands first, so that there is no bump.",
    "Set points, limits and modes are as they were before the test; read them once more.",
    "Suction pressure is watched for ten minutes; the shift knows that the test is over.",
    "Copy the log before anybody opens it in a spreadsheet. What went otherwise than planned is written down here.",
)


def safe_stop(plan: SitePlan) -> list[str]:
    """When to end a test at once."""
    down = max((b.stop_kpa for b in plan.bumps if b.loading), default=0.0)
    up = min((b.stop_kpa for b in plan.bumps if not b.loading), default=np.inf)
    return [
        f"Suction pressure at {down:.0f} kPa abs or below, or at {up:.0f} kPa abs or above.",
        "Any inhibit, pre-alarm or trip; any limit of section 2 half-way reached.",
        "Vessel level rising to its high alarm, noise or vibration that was not there before, oil pressure falling.",
        f"The pressure is more than {OUTSIDE_FRAC * plan.suction_kpa:.0f} kPa outside the band, or moves the wrong way.",
        "The slide moves without a command, goes on after the drive is off, or the reading jumps.",
        "Anybody asks for it.",
    ]


def order_of(plan: SitePlan) -> list[str]:
    """What to set, in order."""
    rest = max(plan.noise_kpa * 4.0, 1.0)
    return [
        f"Machine running and warm for half an hour; suction near {plan.suction_kpa:.0f} kPa abs, discharge near "
        f"{plan.discharge_kpa:.0f} kPa abs, load near {plan.load_kw:.0f} kW. Other pressures: test all the same, write them "
        "down; the curve then differs.",
        f"Volume-ratio slide to manual at {plan.volume_ratio_pct:.0f} % (its best here). It must not move during a bump.",
        f"Capacity slide to manual. Bring it to {plan.travel_pct:.0f} % in steps of 5 % at most, the last one upwards.",
        f"Wait until suction pressure stays within ± {rest:.1f} kPa for five minutes. If it will not, come back at a "
        "quieter time: a bump in a restless plant measures the load.",
        "First bump as in section 5, back to the start after its time, wait as above.",
        "Second bump, back, wait. If time allows do both again: two are worth more than one twice as large.",
        "Two more moves of 2 % in the same direction, then two the other way, 30 s apart: they show what a turn loses.",
        "Stroke times (section 6) last: they disturb the plant most.",
    ]


def bump_view(bump: Bump, k: int) -> dict[str, Any]:
    """What the page shows of one bump."""
    way, back = ("load", "unload") if bump.loading else ("unload", "load")
    times = [t for t in TIMES_S if t <= bump.end_s]
    rows = [bump.at(float(t)) for t in times]
    p = bump.process
    form = (
        f"slope {p.gain:.3g} kPa/s per %" if p.integrating else f"gain {p.gain:.2g} kPa per %, lag {p.lags_s[0]:.1f} s"
    )
    text = (
        f"From {bump.from_pct:.0f} % hold the {way} drive {bump.drive_on_s:.1f} s in one go, so that travel reads "
        f"{bump.to_pct:.1f} %; write down what it really reads and leave it. After {bump.end_s:.0f} s {back} to "
        f"{bump.from_pct:.0f} %. At once if suction gets to {bump.stop_kpa:.0f} kPa abs. "
        f"What the loop will see here: {form}, dead time {p.dead_time_s:.1f} s with drive and cabinet."
    )
    return {
        "title": f"Bump {k}: {way} from {bump.from_pct:.0f} % to {bump.to_pct:.1f} %",
        "text": text,
        "svg": bump_svg(bump),
        "times": times,
        "expected": [f"{e:.1f}" for e, _, _ in rows],
        "band": [f"{a:.1f}–{b:.1f}" for _, a, b in rows],
    }


def _ticks(low: float, high: float, about: int) -> list[float]:
    raw = (high - low) / about
    size = 10.0 ** np.floor(np.log10(raw))
    step = float(min((m * size for m in (1.0, 2.0, 5.0, 10.0) if m * size >= raw), default=raw))
    return [float(v) for v in np.arange(np.ceil(low / step) * step, high + 1e-9 * step, step)]


def bump_svg(bump: Bump) -> str:
    """The curve to expect with its band, on a grid that one can draw the reading into."""
    width, height, left, right, top, bottom = 720.0, 250.0, 62.0, 12.0, 12.0, 40.0
    keep = bump.time_s <= bump.end_s
    t = bump.time_s[keep][::5]
    mid, low, high = bump.expected_kpa[keep][::5], bump.low_kpa[keep][::5], bump.high_kpa[keep][::5]
    room = 0.25 * max(1.0, float(high.max() - low.min()))
    y0, y1 = float(low.min()) - room, float(high.max()) + room

    def x_of(v: float) -> float:
        return left + (width - left - right) * v / bump.end_s

    def y_of(v: float) -> float:
        return top + (height - top - bottom) * (y1 - v) / (y1 - y0)

    def line(times: Any, values: Any) -> str:
        return " ".join(f"{x_of(a):.1f},{y_of(b):.1f}" for a, b in zip(times, values, strict=True))

    out = [
        f'<svg viewBox="0 0 {width:.0f} {height:.0f}" role="img" aria-label="suction pressure to expect" '
        'font-family="Liberation Sans, Arial, sans-serif" font-size="11">'
    ]
    for v in _ticks(y0, y1, 9):
        out.append(f'<line x1="{left}" x2="{width - right}" y1="{y_of(v):.1f}" y2="{y_of(v):.1f}" stroke="#ccc"/>')
        out.append(f'<text x="{left - 5}" y="{y_of(v) + 4:.1f}" text-anchor="end">{v:g}</text>')
    for v in _ticks(0.0, bump.end_s, 9):
        out.append(f'<line y1="{top}" y2="{height - bottom}" x1="{x_of(v):.1f}" x2="{x_of(v):.1f}" stroke="#ccc"/>')
        out.append(f'<text x="{x_of(v):.1f}" y="{height - bottom + 15}" text-anchor="middle">{v:g}</text>')
    band = line(t, high) + " " + line(t[::-1], low[::-1])
    out.append(f'<polygon points="{band}" fill="#9db8d9" fill-opacity="0.55" stroke="none"/>')
    out.append(f'<polyline points="{line(t, mid)}" fill="none" stroke="#123a73" stroke-width="2"/>')
    if y0 < bump.stop_kpa < y1:
        y = y_of(bump.stop_kpa)
        out.append(
            f'<line x1="{left}" x2="{width - right}" y1="{y:.1f}" y2="{y:.1f}" stroke="#a00" stroke-dasharray="6 4"/>'
        )
    middle, foot = top + 0.5 * (height - top - bottom), height - bottom
    out.append(
        f'<text x="{0.5 * (left + width - right):.0f}" y="{foot + 33}" text-anchor="middle">'
        "seconds after the drive goes on</text>"
    )
    out.append(
        f'<text transform="translate(14 {middle:.0f}) rotate(-90)" text-anchor="middle">suction pressure, kPa abs</text>'
    )
    out.append(
        f'<rect x="{left}" y="{top}" width="{width - left - right}" height="{foot - top}" fill="none" stroke="#111"/></svg>'
    )
    return "".join(out)


def stroke_view(stroke: Stroke) -> dict[str, str]:
    """Texts of one stroke; a drive that stands still says so."""
    if not np.isfinite(stroke.full_s):
        return {"slide": stroke.slide, "way": stroke.way, "part": "stalls", "full": "stalls"}
    spread = f" ± {stroke.spread_s:.0f}" if stroke.spread_s else ""
    return {
        "slide": stroke.slide, "way": stroke.way, "full": f"{stroke.full_s:.0f}{spread}",
        "part": f"{stroke.part_s:.1f}" + (f" ± {0.4 * stroke.spread_s:.1f}" if stroke.spread_s else ""),
    }  # fmt: skip


def notes_of(plan: SitePlan) -> tuple[str, str]:
    """What the band is made of, and how strokes are timed."""
    made = "; ".join(plan.uncertain) if plan.uncertain else "nothing: the plant file has no [uncertainty]"
    band = (
        f"The band is 95 % if the plant file's ± are: {made}. It holds neither the load's wandering nor the transmitter's "
        f"noise (± {2.0 * plan.noise_kpa:.1f} kPa), nor what the model does not know; a reading outside "
        "it is a finding, no mistake."
    )
    stroke = (
        "In service between 30 and 70 % of travel, the other slide still, each way three times; wait for suction pressure "
        "in between and keep to section 4. The whole stroke only with the machine stopped and its motor locked out as your "
        "plant asks, the oil pump running, if the maker allows it: hydraulic slides are then faster or slower than in "
        "service, so write the oil pressure down. Times hold for the pressures of section 3."
    )
    return band, stroke


def as_html(plan: SitePlan) -> str:
    """The sheet as one HTML page without any reference outside itself."""
    from jinja2 import Environment
    from markupsafe import Markup

    template = (Path(__file__).parent / "site_test_sheet.html").read_text(encoding="utf-8")
    bumps = [{**view, "svg": Markup(view["svg"])} for view in (bump_view(b, k) for k, b in enumerate(plan.bumps, 1))]
    band, stroke = notes_of(plan)
    page = Environment(autoescape=True).from_string(template)
    return page.render(
        plan=plan, safety=SAFETY, before=BEFORE, heads=HEADS, order=order_of(plan), stop=safe_stop(plan), bumps=bumps,
        strokes=[stroke_view(s) for s in plan.strokes], band_note=band, stroke_text=stroke, after=AFTER,
    )  # fmt: skip


def as_text(plan: SitePlan) -> str:
    """The same as plain text, for a terminal or a pocket."""
    band, stroke = notes_of(plan)
    out = [f"SITE TEST SHEET: {plan.plant_title}", f"{plan.plant_file} · {plan.sheet_file} · {plan.stamp}", "", *SAFETY]
    out += ["", "1 BEFORE ANYTHING MOVES", *(f"[ ] {line}" for line in BEFORE)]
    out += ["", "2 LIMITS OF THE CABINET", *(f"{x.name:<28}{x.value:>10}  {x.means}" for x in plan.limits)]
    out += ["", "3 IN THIS ORDER", *(f"{k}. {line}" for k, line in enumerate(order_of(plan), 1))]
    out += ["", "4 STOP AT ONCE", *(f"- {line}" for line in safe_stop(plan))]
    out += ["", "5 THE BUMPS"]
    for k, bump in enumerate(plan.bumps, 1):
        view = bump_view(bump, k)
        out += ["", view["title"], view["text"], f"{'s':>8}{'expected':>10}{'band':>16}{'read':>10}"]
        rows = zip(view["times"], view["expected"], view["band"], strict=True)
        out += [f"{t:>8}{e:>10}{b:>16}{'______':>10}" for t, e, b in rows]
    out += ["", band, "", "6 STROKE TIMES", stroke, f"{'':<24}{'30 to 70 %, s':>16}{'whole, s':>14}{'measured':>28}"]
    for s in plan.strokes:
        v = stroke_view(s)
        out.append(f"{v['slide'] + ' ' + v['way']:<24}{v['part']:>16}{v['full']:>14}{'______  ______  ______':>28}")
    out += ["", "7 AFTERWARDS", *(f"[ ] {line}" for line in AFTER), ""]
    return "\n".join(out)


def write_site_test_sheet(plant_path: Path, sheet_path: Path, folder: Path) -> tuple[Path, Path]:
    """Write site_test_sheet.html and .txt into a folder.  InputRefused before anything is written."""
    plan = site_plan(plant_path, sheet_path)
    html, text = folder / "site_test_sheet.html", folder / "site_test_sheet.txt"
    write_whole(html, as_html(plan))
    write_whole(text, as_text(plan))
    return html, text
