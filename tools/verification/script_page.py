"""The site script to print (HTML, A4) and as CSV for a tablet: lines, set-up table, cautions and the picture of part A."""

from __future__ import annotations

import csv
import io
from itertools import pairwise
from pathlib import Path
from typing import Any

from scenarios.settings_sheet import write_whole
from tools.verification.site_script import COLD, CONTACTS, LOOPS, PARTS, SIGNALS, Script

CAPACITY_COLOUR, VOLUME_RATIO_COLOUR = "#1f5fa8", "#c8690a"  # blue and orange, as everywhere in this project
SAFETY = (
    "Ammonia, pressure, electricity and moving machines can kill. This script comes from a simulator; it is an "
    "engineering aid, no safety system, no permit and no procedure of your plant.",
    "Only licensed people, under the plant's own permit, lock-out and tag-out. Local codes and the maker's "
    "instructions come first.",
    "Hard-wired cut-outs, relief devices, the emergency stop and the motor's own protection are not proven by "
    "this script: they do not ask the program. Test each of them by itself, at its own device, and write it down "
    "elsewhere.",
    "A simulated current proves the program, its settings and the wiring from the terminals on. It does not prove the "
    "transmitter, its isolating valve or its tapping.",
)
BEFORE = (
    "The person who answers for the plant has agreed in writing and stays in reach; date, time and names are noted.",
    "The compressor's motor is isolated, locked and tagged; the contactor is in its test position, or its main "
    "circuit is open and verified dead. The running feedback works there.",
    "No gas moves: stop valves, and whatever else the plant's procedure names, are closed and tagged. The slides "
    "may move freely; nobody has hands near linkage, gears or hydraulics.",
    "If the oil pump is to run for the slides: its maker allows it without discharge pressure, and the oil is in."
    " If not, the pump's circuit is isolated as well and the slides' positions are simulated too.",
    "Every loop to simulate is taken off at the terminals and tagged, one tag a loop, with a list; the real "
    "transmitter stays under pressure and is read elsewhere if the plant needs it.",
    "The checksum of the settings in the cabinet is compared with the one above. If a value differs: stop, find "
    "out why.",
    "Calibrators of known accuracy (0.01 mA or better) with a valid certificate; numbers noted here.",
)
AFTER = (
    "Every loop is back on its transmitter, every tag is off and counted, every jumper is out: two people look.",
    "Waits that were shortened for the test are as the sheet has them; the checksum is read once more.",
    "Each reading agrees with its gauge; no trip is latched, no alarm stands, no slide is by hand, the selector "
    "is off.",
    "Lines that failed are written down with what was seen instead; nobody starts the machine before they are settled.",
)
TEXTS = {
    COLD: (
        "The machine stands; the slides move. Times are of the simulator: the sheet's stroke times, a contactor that "
        "follows within 0.3 s. Real slides without discharge pressure may be slower or faster: write the time down. "
        "Everything else within ± 1 s."
    ),
    SIGNALS: (
        "Each trip from «in service», reached as in part A; only the loops named in a line are changed. Times count "
        "from the moment when the current is set, ± 1 s for the hand that sets it. Calibrators are set from the safe "
        "side, never past the value."
    ),
    CONTACTS: (
        "From «in service» with suction 15 kPa above the set point, so that it wants to load, if nothing else is said. "
        "Times count from the change."
    ),
    LOOPS: "From «in service» as in part C; the loop is opened at its terminal.",
}


def _duration(script: Script) -> str:
    minutes = script.wait_s / 60.0
    hours = script.starts * minutes / 60.0
    return (
        f"Parts B to D stop the motor contactor {script.starts} times, and the sheet asks for {minutes:.0f} min from "
        f"start to start, so they take some {hours:.0f} h with a few starts an hour as the sheet allows them. If the "
        "wait is shortened for the test, that is one more setting to put back, and to sign for, at the end. Lines that "
        "only alarm need no new start."
    )


def track_svg(script: Script) -> str:
    """Part A as a picture: both slides over time, and when the motor is commanded."""
    width, height, left, right, top, bottom = 720.0, 190.0, 40.0, 8.0, 8.0, 34.0
    end = max(1.0, script.track[-1][0] if script.track else 1.0)
    inside = height - top - bottom

    def x_of(seconds: float) -> float:
        return left + (width - left - right) * seconds / end

    def y_of(pct: float) -> float:
        return top + inside * (1.0 - pct / 100.0)

    out = [
        f'<svg viewBox="0 0 {width:.0f} {height:.0f}" role="img" aria-label="slide travel in part A" '
        'font-family="Liberation Sans, Arial, sans-serif" font-size="10">'
    ]
    on = [(x_of(t), motor) for t, _, _, motor in script.track]
    for (x0, motor), (x1, _) in pairwise(on):
        if motor:
            out.append(f'<rect x="{x0:.1f}" y="{top}" width="{x1 - x0 + 0.1:.1f}" height="{inside}" fill="#eceff2"/>')
    for pct in (0, 25, 50, 75, 100):
        out.append(f'<line x1="{left}" x2="{width - right}" y1="{y_of(pct):.1f}" y2="{y_of(pct):.1f}" stroke="#ccc"/>')
        out.append(f'<text x="{left - 4}" y="{y_of(pct) + 3:.1f}" text-anchor="end">{pct}</text>')
    step = next(s for s in (30, 60, 120, 300, 600, 1200, 3600) if end / s <= 12 or s == 3600)
    for seconds in range(0, int(end) + 1, step):
        out.append(f'<text x="{x_of(seconds):.1f}" y="{height - bottom + 13}" text-anchor="middle">{seconds}</text>')
    for column, colour in ((1, CAPACITY_COLOUR), (2, VOLUME_RATIO_COLOUR)):
        points = " ".join(f"{x_of(row[0]):.1f},{y_of(float(row[column])):.1f}" for row in script.track)
        out.append(f'<polyline points="{points}" fill="none" stroke="{colour}" stroke-width="1.8"/>')
    out.append(
        f'<text x="{left}" y="{height - 4}">seconds · travel in %: <tspan fill="{CAPACITY_COLOUR}">capacity pair</tspan>, '
        f'<tspan fill="{VOLUME_RATIO_COLOUR}">volume-ratio pair</tspan>; grey: motor contactor commanded</text></svg>'
    )
    return "".join(out)


def as_html(script: Script, title: str, facts: list[tuple[str, str]], ranges_note: str) -> str:
    """The script as one page without any reference outside itself."""
    import jinja2
    from markupsafe import Markup

    parts = [
        {
            "name": name,
            "text": TEXTS[name],
            "lines": [line for line in script.lines if line.part == name],
            "svg": Markup(track_svg(script)) if name == COLD else "",  # our own numbers only
        }
        for name in PARTS
    ]
    loader = jinja2.FileSystemLoader(Path(__file__).parent)
    environment = jinja2.Environment(loader=loader, autoescape=True, undefined=jinja2.StrictUndefined)
    return environment.get_template("site_script.html").render(
        title=title, facts=facts, safety=SAFETY, before=BEFORE, after=AFTER, setup=script.setup, ranges_note=ranges_note,
        duration=_duration(script), parts=parts, wrong=sum(line.contradicts for line in script.lines),
    )  # fmt: skip


def as_csv(script: Script) -> str:
    """One line a line, with places to fill in."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(
        [
            "number",
            "part",
            "do",
            "set",
            "must be seen",
            "note",
            "contradicts its settings",
            "seen",
            "measured",
            "initials",
        ]
    )
    for line in script.lines:
        writer.writerow(
            [
                line.number, line.part, line.do, "; ".join(map(str, line.sets)), "; ".join(map(_told, line.sees)), line.note,
                "yes" if line.contradicts else "", "", "", "",
            ]
        )  # fmt: skip
    return out.getvalue()


def _told(seen: Any) -> str:
    return f"{seen.text} after {seen.after_s:.1f} s" if seen.after_s >= 0.0 else str(seen.text)


def write_script(
    folder: Path, script: Script, title: str, facts: list[tuple[str, str]], ranges_note: str
) -> list[Path]:
    """Write site_script.html and site_script.csv; each whole or not at all."""
    made = {"site_script.html": as_html(script, title, facts, ranges_note), "site_script.csv": as_csv(script)}
    for name, text in made.items():
        write_whole(folder / name, text)
    return [folder / name for name in made]
