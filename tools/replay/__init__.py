"""Replay of a logged event: what happened in order, which cause came first, and where the controller's logic agrees."""
