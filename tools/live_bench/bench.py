"""The session of a live bench: the engine of `twoslide run`, played in pieces, with what people do in between.

Time is given to it, so that it can be tested without a clock; it runs in a process of its own (engine_process.py).
Whatever is done becomes an event of the scenario at the next scan, checked by the same loader as a file: so the session,
kept as a scenario, is reproduced by `twoslide run` row by row.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from scenarios.errors import InputRefused, Problem
from scenarios.event_kinds import EVENT_KINDS
from scenarios.runner import failure_text, open_session
from scenarios.scoring import score
from scenarios.session import Session
from scenarios.settings_change import in_words, reach_in_words, setting_keys, setting_value
from scenarios.trace import Trace, edge_events, trace_of
from tools.figures.rotor_strip import strip_of
from tools.live_bench.frames import COLUMNS_SHOWN, figures_of, shown_rows, state_words, told_events
from tools.live_bench.pace import Pace
from tools.live_bench.plug_in_watch import Doing, Kept
from tools.live_bench.session_folder import (
    SESSION,
    Moment,
    keep,
    note_reached,
    prepared_with,
    read_journal,
    read_reached,
    write_down,
    write_log,
)

if TYPE_CHECKING:
    from scenarios.preparation import Prepared

HISTORY_ROWS = 3600  # of those logged once a second, told to whoever opens the page
PIECE_S = 0.3  # at most this much of the clock is played in one go, so that a button is heard
NOT_BY_HAND = frozenset(
    ("load_log", "weather_log", "wait_for", "batch_arrivals", "door_traffic", "wet_bulb_drift", "coolant_drift")
)
BY_HAND = tuple(kind for kind in EVENT_KINDS if kind not in NOT_BY_HAND)  # no file is named, and it has an `at`


class Bench:
    """One session.  `folder` is its place on disk, made by session_folder.open_folder; it goes on from its journal."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.journal = read_journal(folder)
        self.running = False
        self.ended = ""
        self.pace = Pace()
        prepared = prepared_with(folder, self.journal.actions)
        self._kept = Kept(folder, prepared.named.kind)
        self._new_session(prepared)
        self._play_to(min(read_reached(folder), self.prepared.scenario.duration_ms))
        self._rows_told = self.session.run.row_count

    def _new_session(self, prepared: Prepared) -> None:
        self.prepared = prepared
        buffers, noted = self._kept.buffers(prepared)
        with self._kept.doing(Doing.LOADING):
            self.session: Session = open_session(prepared, buffers)[0]
        self.session.note_into(noted)
        with self._kept.doing(Doing.COMPILING):
            self.session.warm_up()
        self.session.begin()
        self._rows_told = self._edges_told = self._noted_told = 0
        self.ended = ""

    @property
    def time_ms(self) -> int:
        """Simulated time reached."""
        return self.session.time_ms

    @property
    def state(self) -> str:
        """running, paused or ended."""
        return "ended" if self.ended else "running" if self.running else "paused"

    def _play_to(self, until_ms: int) -> None:
        last_ms = self.prepared.scenario.duration_ms
        with self._kept.doing(Doing.PLAYING):
            end = self.session.play_to(min(until_ms, last_ms))
        failure = failure_text(self.session, end)
        if failure:
            self.ended, self.running = failure, False
        elif self.time_ms >= last_ms:
            self.ended, self.running = "the scenario has reached its planned end", False

    # What people do.

    def run(self, now_s: float) -> None:
        """Let time run."""
        if self.ended:
            raise InputRefused(Problem(f"time stands still: {self.ended}", way_out="go back to a kept moment"))
        self.running = True
        self.pace.start(now_s, self.time_ms)

    def pause(self) -> None:
        """Hold time."""
        self.running = False
        self.save()

    def set_speed(self, factor: int, now_s: float) -> None:
        """How many times faster than the clock."""
        self.pace.speed = factor
        self.pace.start(now_s, self.time_ms)

    def scan(self) -> dict[str, Any] | None:
        """One scan; None where time has ended."""
        if self.running:
            raise InputRefused(Problem("a single scan is for a bench that is paused", way_out="pause first"))
        if self.ended:
            raise InputRefused(Problem(f"time stands still: {self.ended}", way_out="go back to a kept moment"))
        self._play_to(self.time_ms + self.prepared.scan_ms)
        return self._frame(self.session.values.copy().reshape(1, -1))

    def mark(self, name: str) -> None:
        """Keep this moment."""
        moment = Moment(name, self.time_ms, len(self.journal.actions))
        write_down(self.folder, {"mark": {"name": name, "time_ms": moment.time_ms, "actions": moment.actions}})
        self.journal.mark(moment)

    def back(self, number: int) -> None:
        """Go back to a kept moment, by running there again; what was done after it is undone."""
        if number >= len(self.journal.moments):
            raise InputRefused(Problem(f"there is no moment {number}", limit=f"there are {len(self.journal.moments)}"))
        moment = self.journal.moments[number]
        write_down(self.folder, {"back": number})
        self.journal.back(number)
        self.running = False
        self._new_session(prepared_with(self.folder, self.journal.actions))
        self._play_to(moment.time_ms)
        self._rows_told = self.session.run.row_count
        self.save()

    def act(self, tables: list[dict[str, Any]]) -> str:
        """Events, as a scenario has them but without a time, at the next scan.  InputRefused; then nothing has happened."""
        if self.ended:
            raise InputRefused(Problem(f"nothing can happen any more: {self.ended}"))
        at_ms = self.time_ms + self.prepared.scan_ms
        timed = []
        for table in tables:
            kind = str(table.get("kind"))
            if kind not in BY_HAND:
                raise InputRefused(
                    Problem(f'"{kind[:40]}" cannot be done by hand', limit=f"known: {', '.join(BY_HAND)}")
                )
            if {"at", "from", "until"} & table.keys():
                raise InputRefused(Problem("an event of the bench happens at the next scan and takes no time"))
            timed.append({"kind": kind, "at": f"{at_ms} ms", **{k: v for k, v in table.items() if k != "kind"}})
        prepared = prepared_with(self.folder, [*self.journal.actions, *timed])
        first = len(self.prepared.scenario.events)
        write_down(self.folder, {"act": timed})
        self.journal.act(timed)
        self.prepared = prepared
        for number, event in enumerate(prepared.scenario.events[first:], first):
            self.session.world.start_later(number, event)
        self.save()
        return f"at {at_ms / 1000.0:.1f} s: " + ", ".join(_said(table) for table in timed)

    # What is told.

    def tick(self, now_s: float) -> dict[str, Any] | None:
        """Play up to now; the frame of what happened, None where nothing did."""
        if not self.running:
            return None
        speed, log_ms = self.pace.speed, self.prepared.log_ms
        due_ms = min(self.pace.due_ms(now_s), self.time_ms + int(1000.0 * PIECE_S * speed))
        every_ms = speed * self.prepared.scan_ms
        if every_ms >= log_ms:
            if due_ms > self.time_ms:
                self._play_to(due_ms)
            count = self.session.run.row_count
            rows = self.session.buffers.rows[self._rows_told : count].copy()
            self._rows_told = count
        else:
            seen = []
            while self.running and self.time_ms + every_ms <= due_ms:
                self._play_to(self.time_ms + every_ms)
                seen.append(self.session.values.copy())
            rows = np.array(seen)
            self._rows_told = self.session.run.row_count
        self.pace.drop_delay(now_s, self.time_ms)
        if self.ended:
            self.save()
        return self._frame(rows) if len(rows) or self.ended else None

    def _frame(self, rows: Any) -> dict[str, Any]:
        values = self.session.values
        frame = {
            **self.standing(),
            "rows": shown_rows(rows) if len(rows) else [],
            "words": state_words(values),
            "events": self._new_events(),
        }
        return {**frame, **figures_of(self.prepared.parameters, values)} if values[1] > 0.0 else frame

    def _new_events(self) -> list[list[Any]]:
        edges = self.session.buffers.edges[self._edges_told : self.session.run.edge_count]
        noted = self.session.noted[self._noted_told :]
        self._edges_told += len(edges)
        self._noted_told += len(noted)
        return told_events(sorted([*noted, *edge_events(edges)], key=lambda event: event.time_ms))

    def standing(self) -> dict[str, Any]:
        """Where the session stands."""
        return {"time_ms": self.time_ms, "state": self.state, "speed": self.pace.speed, "ended": self.ended}

    def history(self) -> dict[str, Any]:
        """For whoever opens the page: the last hour of logged rows, the last events, the figures."""
        rows = self.session.buffers.rows[: self.session.run.row_count][-HISTORY_ROWS:]
        events = edge_events(self.session.buffers.edges[: self.session.run.edge_count][-2000:])
        both = sorted([*self.session.noted[-500:], *events], key=lambda event: event.time_ms)
        values = self.session.values
        told = {
            **self.standing(),
            "rows": shown_rows(rows) if len(rows) else [],
            "events": told_events(both)[-200:],
            "words": state_words(values),
            "moments": self.moments(),
            "settings": self.settings(),
        }
        return {**told, **figures_of(self.prepared.parameters, values)} if values[1] > 0.0 else told

    def moments(self) -> list[dict[str, Any]]:
        """The kept moments."""
        return [{"name": moment.name, "time_ms": moment.time_ms} for moment in self.journal.moments]

    def settings(self) -> dict[str, str]:
        """Every setting that can be changed, with its present value as people write it; empty for a plug-in's."""
        settings = self.session.settings_now
        if settings is None:
            return {}
        pending = {t["setting"]: t["value"] for t in self.journal.actions if t["kind"] == "settings_change"}
        found = {key: in_words(setting_value(settings, key), rule) for key, rule in setting_keys(settings).items()}
        return found | {key: str(value) for key, value in pending.items() if self._is_pending(key)}

    def settings_known(self) -> list[dict[str, str]]:
        """Every setting that can be changed: its key, its range and the reason of its default, in words."""
        settings = self.session.settings_now
        rules = setting_keys(settings) if settings is not None else {}
        return [
            {"key": key, "range": reach_in_words(rule), "why": " ".join(rule.why.split())}
            for key, rule in rules.items()
        ]

    def _is_pending(self, key: str) -> bool:
        """Whether the last change of a setting lies at a scan that has not come."""
        last = [t for t in self.journal.actions if t["kind"] == "settings_change" and t["setting"] == key][-1]
        return int(str(last["at"]).removesuffix(" ms")) > self.time_ms

    def facts(self) -> dict[str, Any]:
        """What does not change while the session lasts."""
        scenario, plant = self.prepared.scenario, self.prepared.parameters
        return {
            "title": scenario.title,
            "plant": scenario.plant.title,
            "refrigerant": scenario.plant.refrigerant,
            "controller": self.prepared.controller_name,
            "seed": self.prepared.seed,
            "scan_ms": self.prepared.scan_ms,
            "duration_ms": scenario.duration_ms,
            "folder": str(self.folder),
            "notes": list(scenario.notes),
            "columns": [one.name for one in COLUMNS_SHOWN],
            "strip": strip_of(plant.plant.rotor, plant.curves).as_data(),
            "settings_known": self.settings_known(),
        }

    def trace(self) -> Trace:
        """The session so far."""
        run, buffers = self.session.run, self.session.buffers
        rows, edges = buffers.rows[: run.row_count], buffers.edges[: run.edge_count]
        return trace_of(rows, edges, list(self.session.noted), dict(self.prepared.facts))

    def scores(self) -> list[dict[str, str]]:
        """The running score: every figure that has a value by now."""
        if self.session.run.row_count < 2:
            return []
        found = score(self.trace(), self.prepared.limits, self.prepared.refrigerant)
        return [
            {"group": s.group, "label": s.label, "unit": s.unit, "direction": s.direction, "text": s.text}
            for s in found.values
            if s.value is not None
        ]

    # What is on disk.

    def save(self) -> bool:
        """Write the session as a scenario, and the time reached; True if the scenario ends where the session stands."""
        note_reached(self.folder, self.time_ms)
        return keep(self.folder, self.prepared.scenario, self.journal.actions, self.time_ms)

    def note_time(self) -> None:
        """Write the time reached, and nothing else."""
        note_reached(self.folder, self.time_ms)

    def kept(self) -> str:
        """Write the session as a scenario; a word on where, and how to run it."""
        ends = self.save()
        more = "" if ends else "; it goes on to its planned end, because something in it lasts longer than the session"
        return f"twoslide run {self.folder / SESSION}{more}"

    def export(self) -> str:
        """Write the log as CSV, every column, and the events; returns where."""
        return write_log(self.folder, self.trace())


def _said(table: dict[str, Any]) -> str:
    if table["kind"] == "settings_change":
        return f"{table['setting']} becomes {table['value']}"
    return " ".join(str(value) for key, value in table.items() if key != "at").replace("_", " ")
