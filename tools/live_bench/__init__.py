"""The live bench: one simulated machine, played at the pace of a clock, in the browsers of those who watch.

    bench.py            the session itself: the same engine as `twoslide run`, played in pieces
    session_folder.py   what of it is on disk, so that a killed server loses nothing
    engine_process.py   the process in which it runs, so that nobody who watches can slow it
    messages.py         what a page may ask for; hub.py: who watches and who holds control; server.py: the local server

An engineering aid on a simulated plant, and no safety system.
"""
