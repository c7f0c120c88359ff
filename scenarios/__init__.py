"""Experiments: the only place where controller and plant meet."""
