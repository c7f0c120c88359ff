"""Tuning: processes, rules, margins, searches, the settings sheet that comes out."""
