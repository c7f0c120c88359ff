"""Replay of logged events: what a log says of the plant, why it tripped, and what would have ridden through."""
