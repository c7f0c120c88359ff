"""Replay of a logged event: what happened in order, which cause came first, what the plant did, what would have held."""
