"""How fast the engine is, against what, and where the time goes: `python -m tools.benchmarks --help`.

Speeds are ratios measured in turns inside one process, because a figure in seconds says more about the machine and its
other users than about the program.  Nothing here checks physics; that is the tests' business.
"""
