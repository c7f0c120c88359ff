"""One damaged file among whole ones: written, read as a user's run would read it, and judged."""

from __future__ import annotations

import random
import re
import shutil
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from scenarios.errors import ControllerFailed, InputRefused
from scenarios.runner import execute, prepare
from tests.scenarios.acceptance_oracle import objections
from tests.scenarios.mutations import damaged
from tests.scenarios.quantity_oracle import Objection

HERE = Path(__file__).resolve().parent
LIBRARY = HERE.parents[1] / "scenarios" / "library"
SCENARIOS = ("all_kinds.toml", "demo_shift.toml", "fish_hall_log.toml")
PLANT, LOG = "plants/harrow_ness.toml", "loads/fish_freezing_hall.csv"
SHEETS = ("sheets/demo_scheduled_pi.toml", "sheets/demo_three_position.toml")
# what is said of a file as a whole has no line
OF_A_FILE = re.compile(
    r"no such file|is a folder|is not an ordinary file|is empty|is larger|cannot be read|TOML that cannot be read|"
    r"holds no rows|holds no scenario|logged every"
)
LONGEST_TRIED_MS = 3 * 3_600_000


@dataclass
class Tally:
    """What came of the damaged files."""

    refused: int = 0
    accepted: int = 0
    untouched: int = 0
    run: int = 0
    failures: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        total = self.refused + self.accepted + self.untouched
        return (
            f"{total} damaged: {self.refused} refused, {self.accepted} accepted ({self.run} of them run to the end), "
            f"{self.untouched} not changed by their damage, {len(self.failures)} wrong"
        )


class Bench:
    """A folder of whole files in which one at a time is damaged."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        for name in ("plants", "sheets", "loads", "weather"):
            shutil.copytree(LIBRARY / name, folder / name, dirs_exist_ok=True)
        for name in SCENARIOS:
            shutil.copy(HERE / name if name == SCENARIOS[0] else LIBRARY / name, folder / name)
        names = (*SCENARIOS, PLANT, LOG, *SHEETS)
        for name in SHEETS:  # what a sheet is compared with: the library may change meanwhile
            (folder / "whole").mkdir(exist_ok=True)
            shutil.copy(folder / name, folder / "whole" / Path(name).name)
        self.whole = {name: (folder / name).read_bytes() for name in names}
        self.tally = Tally()

    def trial(self, rng: random.Random, run_one_in: int = 0) -> str:
        """Damage one file, try it, mend it; "" if all is well, else what is wrong."""
        kind = rng.choices(("scenario", "plant", "sheet", "log"), (8, 4, 5, 3))[0]
        scenario = rng.choice(SCENARIOS)
        controller, sheet = "scheduled_pi", SHEETS[0]
        if rng.randrange(4) == 0 and kind != "scenario":
            controller, sheet = "three_position", SHEETS[1]
        if kind == "log":
            scenario = rng.choice((SCENARIOS[0], SCENARIOS[2]))
        name = {"scenario": scenario, "plant": PLANT, "sheet": sheet, "log": LOG}[kind]
        text = self.whole[name].decode("utf-8-sig")
        if kind == "sheet" and rng.randrange(
            2
        ):  # half of the sheets without a checksum, so that values can be accepted
            text = re.sub(r"^checksum.*\n", "", text, flags=re.MULTILINE)
        path = self.folder / name
        try:
            if rng.randrange(60) == 0:
                self.replaced(rng, path)
            else:
                raw = damaged(rng, text, of_csv=kind == "log")
                path.write_bytes(raw)
                if raw == self.whole[name]:
                    self.tally.untouched += 1
                    return ""
            override: dict[str, Any] = {}
            if controller != "scheduled_pi":
                override = {"controller": controller, "settings": self.folder / sheet}
            wrong = self.judge(self.folder / scenario, sheet, override, run_one_in, rng)
        finally:
            if path.is_symlink() or path.is_file():
                path.unlink()
            elif path.is_dir():
                path.rmdir()
            path.write_bytes(self.whole[name])
        if wrong:
            self.tally.failures.append(f"{name}: {wrong}")
        return wrong

    def replaced(self, rng: random.Random, path: Path) -> None:
        """The file is missing, a folder, empty, or a link to nowhere or to itself."""
        path.unlink()
        kind = rng.randrange(5)
        if kind == 0:
            path.mkdir()
        elif kind == 1:
            path.touch()
        elif kind == 2:
            path.symlink_to(path.name)
        elif kind == 3:
            path.symlink_to("nowhere.toml")

    def judge(self, scenario: Path, sheet: str, override: dict[str, Any], run_one_in: int, rng: random.Random) -> str:
        try:
            (prepared,) = prepare([scenario], **override)
        except InputRefused as error:
            self.tally.refused += 1
            return "; ".join(filter(None, (self.refusal(problem) for problem in error.problems)))
        except Exception as error:
            return f"TRACEBACK {type(error).__name__}: {str(error)[:300]}"
        self.tally.accepted += 1
        try:
            original_sheet = self.folder / "whole" / Path(sheet).name
            found = objections(prepared, original_sheet if prepared.scenario.sheet else None)
        except Objection as error:
            found = [str(error)]
        if found:
            return f"ACCEPTED {found}"
        if run_one_in and rng.randrange(run_one_in) == 0 and prepared.scenario.duration_ms <= LONGEST_TRIED_MS:
            try:
                execute(prepared, None)
                self.tally.run += 1
            except ControllerFailed:
                self.tally.run += 1
            except Exception as error:
                return f"TRACEBACK IN THE RUN {type(error).__name__}: {str(error)[:300]}"
        return ""

    @staticmethod
    def refusal(problem: Any) -> str:
        """What is wrong with a refusal; "" if it says what and where."""
        if not problem.message.strip() or not problem.file:
            return f"A REFUSAL WITHOUT FILE OR WORDS {problem!r}"
        if problem.line < 1 and not OF_A_FILE.search(problem.message):
            return f"A REFUSAL WITHOUT LINE {problem}"[:400]
        if len(str(problem)) > 3000:
            return f"A REFUSAL OF {len(str(problem))} LETTERS {str(problem)[:200]}"
        return ""
