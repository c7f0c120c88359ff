"""Logs as they are: trends and event lists from any logger, read into the process image's units on one UTC clock.

    proposal = propose([Path("night.csv"), Path("alarms.csv")])      what `twoslide inspect` writes
    data = read_log([Path("night.csv"), Path("alarms.csv")], Path("mapping.toml"))

text_source → dialect → clock → order → numbers: a file's own words; mapping: what they mean; reader: the result.
"""

from scenarios.logged_data.records import (
    Issue,
    LoggedData,
    LoggedEvent,
    Quality,
    RawColumn,
    RawFile,
    Series,
)

__all__ = ["Issue", "LoggedData", "LoggedEvent", "Quality", "RawColumn", "RawFile", "Series"]
