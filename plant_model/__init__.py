"""The machine and the process round it, in SI units; nothing here knows a controller."""
