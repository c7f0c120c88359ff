"""Alarm texts of several languages; common practice, no source."""

from __future__ import annotations

import pytest

from scenarios.logged_data.event_words import classify, state_of

TEXTS = {
    "TRIP: low suction pressure": ("trip", "LOW_SUCTION_PRESSURE"),
    "Compressor tripped high discharge pressure": ("trip", "HIGH_DISCHARGE_PRESSURE"),
    "Störabschaltung Öldruckdifferenz niedrig": ("trip", "LOW_OIL_DIFFERENTIAL"),
    "Störabschaltung Motorüberlast": ("trip", "MOTOR_OVERLOAD"),
    "Déclenchement température refoulement haute": ("trip", "HIGH_DISCHARGE_TEMPERATURE"),
    "Disparo alta presión de descarga": ("trip", "HIGH_DISCHARGE_PRESSURE"),
    "Blocco pressione aspirazione bassa": ("trip", "LOW_SUCTION_PRESSURE"),
    "Voralarm Druckgastemperatur hoch": ("alarm", "HIGH_DISCHARGE_TEMPERATURE"),
    "Pre-alarm oil temperature high": ("alarm", "HIGH_OIL_TEMPERATURE"),
    "Oil filter differential high warning": ("alarm", "HIGH_FILTER_DIFFERENTIAL"),
    "Trip: suction transmitter signal fault": ("trip", "SIGNAL_LOST"),
    "Safety chain open": ("trip", "SAFETY_CHAIN"),
    "Not-Aus betätigt": ("trip", "STOP_BUTTON"),
    "Trip running feedback lost, failed start": ("trip", "FAILED_START"),
    "Load inhibit active": ("inhibit", ""),
    "Set point suction changed from 290 to 270 kPa": ("setting", ""),
    "Parameter 41 geändert 14,6 -> 15,9": ("setting", ""),
    "Capacity slide manual mode selected": ("manual", ""),
    "Alarm reset by operator": ("operator", "reset"),
    "Verdichter gestoppt": ("stop", ""),
    "Compressor started": ("start", ""),
    "Tür Kühlhaus offen": ("other", ""),
    "HIGH_DISCHARGE_PRESSURE trip": ("trip", "HIGH_DISCHARGE_PRESSURE"),
    "Liquid separator high high level trip": ("trip", "VESSEL_HIGH_LEVEL"),
}


@pytest.mark.parametrize("text", TEXTS)
def test_what_a_text_is_taken_for(text: str) -> None:
    assert classify(text)[:2] == TEXTS[text]


@pytest.mark.parametrize(
    ("word", "state"),
    [("Kommt", "on"), ("K", "on"), ("Geht", "off"), ("RTN", "off"), ("ACT", "on"), ("Q", "ack"), ("", "")],
)
def test_states(word: str, state: str) -> None:
    assert state_of(word) == state
