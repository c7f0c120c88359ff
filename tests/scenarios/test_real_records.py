"""The edge with the records that are really shipped: every field can be written, and a whole sheet reads back."""

import subprocess
import sys
from pathlib import Path

import pytest

from controller.registry import SHIPPED
from plant_model.parameters import PlantParameters
from scenarios.cross_checks import every_field
from scenarios.quantities import Site, example_of, parse_quantity
from scenarios.settings_sheet import load_sheet, write_sheet

RECORDS = [PlantParameters, *(controller.settings_type for controller in SHIPPED.values())]


@pytest.mark.parametrize("record", RECORDS)
def test_every_number_has_limits_a_reason_and_a_unit_that_is_read(record: type) -> None:
    for path, rule in every_field(record):
        if rule.is_number:
            assert rule.low is not None, path
            assert rule.high is not None, path
            assert rule.why, path
            written = example_of(rule.unit, rule.of).split(" or ")[0].split(", ")[0].strip('"')
            assert isinstance(parse_quantity(written, rule.unit, rule.of, Site(101325.0)), float), path


@pytest.mark.parametrize("name", SHIPPED)
def test_a_sheet_of_defaults_reads_back(tmp_path: Path, name: str) -> None:
    settings = SHIPPED[name].settings_type()
    write_sheet(tmp_path / "sheet.toml", name, settings)
    sheet = load_sheet(tmp_path / "sheet.toml", name, SHIPPED[name].settings_type, Site())
    assert sheet.settings == settings
    assert sheet.notes == ()


def test_shipped_records_need_no_unit_library() -> None:
    code = (
        "import sys\n"
        "from controller.registry import SHIPPED\n"
        "from plant_model.parameters import PlantParameters\n"
        "from scenarios.cross_checks import every_field\n"
        "for record in [PlantParameters, *(c.settings_type for c in SHIPPED.values())]:\n"
        "    list(every_field(record))\n"
        "sys.exit('pint' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
