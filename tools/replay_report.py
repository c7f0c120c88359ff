"""The page of a replayed log: findings in plain words, then the evidence.  One HTML file that needs nothing from outside."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from tools.charts import write_page
from tools.replay.edges import state_word
from tools.replay.findings import CAUTION, Findings, changes_before, condensed, output_name, stop_words
from tools.replay.study import diagnosis_words
from tools.replay_plant import causes_table, variants_table
from tools.replay_plant_page import plant_plots
from tools.replay_trends import log_sheet, shift_ms

if TYPE_CHECKING:
    from tools.replay.study import Study

LINES_AT_MOST = 400
STOPS_FIRST = 3  # so many stops are told in the page's first words


def answer_of(found: Findings, study: Study | None) -> list[tuple[str, list[str]]]:
    """The page's first words: what happened, what was changed before it, the cause, and whether other settings held."""
    out: list[tuple[str, list[str]]] = []
    stops = found.stops[-STOPS_FIRST:]
    happened = [stop_words(found, stop) for stop in stops] or found.words[:1]
    if len(found.stops) > len(stops):
        happened.insert(0, f"{len(found.stops)} stops are in the log; the last {len(stops)}:")
    out.append(("What happened", happened))
    changed = list(dict.fromkeys(line for stop in stops[-1:] for line in changes_before(found, stop)))
    if changed:
        out.append(("Changed before it", changed))
    if study is None:
        out.append(("Why, and what if", ["Not asked: it takes a plant file (--plant) and enough of the log."]))
        return out
    if study.diagnosis is None:
        out.append(("Why, and what if", study.words))
    else:
        out.append(("Why", diagnosis_words(study)[:1]))
    if study.what_if is not None:
        out.append(("Would other settings have held", study.what_if.words))
    return out


def window_of(found: Findings) -> tuple[int, int]:
    """What the pictures show: the whole of a short log, else an hour before the last stop to half an hour after."""
    start, end = found.data.start_ms, found.data.end_ms
    if end - start <= 4 * 3_600_000 or not found.stops:
        return start, max(end, start + 1)
    last = found.stops[-1].latest_ms
    return max(start, last - 3_600_000), min(end, last + 1_800_000)


def _axis_note(found: Findings) -> str:
    if not found.data.zone:
        return "Times as the log writes them."
    passes = any("(2nd)" in found.clock(e.time_ms) or "(1st)" in found.clock(e.time_ms) for e in found.events)
    return (
        f"Wall-clock time in {found.data.zone} as it stood at the start of the log; it runs on through a change of "
        "the clocks." + (" (1st) and (2nd) behind a time: the pass of the hour that comes twice." if passes else "")
    )


def write_replay_report(
    path: Path, found: Findings, title: str, facts: list[tuple[str, str]], study: Study | None = None
) -> None:
    """Write the page; a file that stood there is replaced whole or not at all.  Raises OSError."""
    window = window_of(found)
    plant_panels = plant_plots(study, shift_ms(found)) if study is not None else []
    answer = answer_of(found, study)
    said = {line for _, lines in answer for line in lines}
    lines = condensed(found.events, LINES_AT_MOST)
    write_page(
        path, Path(__file__).with_name("replay_page.html"), {p.name: p.plot for p in plant_panels},
        title=title,
        caution=CAUTION,
        answer=answer,
        words=[line for line in found.words if line not in said],
        sheet=log_sheet(found, window),
        plant_panels=plant_panels,
        causes=causes_table(study) if study is not None else [],
        variants=variants_table(study) if study is not None else [],
        axis_note=_axis_note(found),
        stops=[
            {
                "at": found.clock(stop.latest_ms), "verdict": stop.verdict, "text": stop.text,
                "margins": [
                    {"quantity": m.quantity, "unit": m.unit, "limit": f"{m.limit:.5g}", "left": f"{m.left:.4g}",
                     "values": [{"back": f"−{b / 60_000:.0f} "
                                         f"min" if b else "last sample", "value": f"{v:.4g}"} for b, v in m.values]}
                    for m in stop.margins
                ],
            }
            for stop in found.stops
        ],
        lines=[
            {"at": found.clock(line.time_ms), "plus": f"± {line.uncertainty_ms / 1000.0:.1f} s", "kind": line.kind,
             "text": line.text + (f"  × {line.times}, last "
                                  f"{found.clock(line.last_ms)}" if line.times > 1 else ""), "source": line.source}
            for line in lines
        ],
        differences=[
            {"output": output_name(d.output), "at": found.clock(d.time_ms),
             "logged": state_word(found.data, d.output, d.logged),
             "recomputed": state_word(found.data, d.output, float(f"{d.recomputed:.4g}")), "why": list(d.why)}
            for d in (found.replay.differences if found.replay else [])
        ],
        replay_notes=list(found.replay.notes) if found.replay else [],
        missing=[output_name(n) for n in found.replay.missing] if found.replay else [],
        issues=[(name, [f"{i.kind}: "
                        f"{i.text}{f' (line {i.line})' if i.line else ''}" for i in issues]) for name,
                            issues in found.data.issues.items()],
        facts=facts,
    )  # fmt: skip
