"""Alarm and event texts → what kind of event, which cause, and whether it came or went."""

from __future__ import annotations

import re
from functools import cache

from controller.process_image import Trip
from scenarios.logged_data.words import concepts_in, plain_header

KINDS = (
    "alarm",
    "trip",
    "inhibit",
    "operator",
    "setting",
    "manual",
    "start",
    "stop",
    "motor",
    "mode",
    "contact",
    "other",
)
_ON_STATE = re.compile(
    r"^(act|active|on|in|kommt|kam|k|raised|alarm|apparu|set|1|true|aparece|attivo|ein|unack|comes|aktiv)\b"
)
_OFF_STATE = re.compile(
    r"^(rtn|cleared?|off|out|geht|ging|g|gone|returned|return|normal|disparu|0|false|desaparece|rientrato|aus|inactive|ok|goes|inaktiv)\b"
)
_ACK_STATE = re.compile(r"^(ack|q|quitt|acq|acknowledged|kvitt)")
_LOW = re.compile(
    r"\blow\b|niedrig|tief|\bmin\b|bas(se)?\b|baja|bassa|laag|lav\b|lavt|\black|mangel|manque|falta|nied[ae]r|"
    r"\blo\b|zu klein|unter"
)
_HIGH = re.compile(r"\bhigh\b|hoch|\bmax\b|haute?\b|\balt[ao]\b|hoog|hoj|\bhi\b|hog|exces|uber(?!lauf|hitz)|zu gross")
_LOST = re.compile(
    r"sensor|fuhler|transmitter|transducer|broken wire|wire break|drahtbruch|signal (lost|fail|fault)|messwert|"
    r"sonde|captore|geber|open circuit|"
    r"short circuit|under ?range|over ?range|ma (low|high)|capteur|opnemer|foler"
)
_OVERLOAD = re.compile(
    r"overload|uberlast|surcharge|sobrecarga|sovraccar|overbelast|thermal relay|motorschutz|overcurrent|uberstrom|thermique"
)
_START = re.compile(r"\bstart(ed|s|ing)?\b|gestartet|anlauf|demarr|arranqu|avvia|opstart|\bstartet\b")
_STOP = re.compile(
    r"\bstop(ped|s|ping)?\b|gestoppt|\bstopp\b|angehalten|arret(e)?\b|parad[ao]|ferma|arresto|gestopt|stoppet|stanset"
)
_OPERATOR = re.compile(
    r"operator|bediener|user|benutzer|login|log on|opera|utilisateur|usuario|utente|gebruiker|logon|bruger|taste|"
    r"button|key|pressed|gedruckt|by hand"
)
_SETTING = re.compile(
    r"(set ?point|sollwert|consigne|parameter|setting|einstell|grenzwert|limit|reglage|ajuste|wert).{0,80}(chang|"
    r"geandert|modif|->|from|von|cambi|\bto\b|auf|alt|neu)|"
    r"(changed?|geandert|modifi).{0,60}(set ?point|parameter|sollwert|consigne|setting|limit)"
)
_FAILED_START = re.compile(
    r"(failed|fail|not|no|nicht|did not) .{0,12}start|start.{0,12}(fail|fehler|timeout|time out)|running feedback|"
    r"ruckmeldung (fehlt|motor)|no feedback"
)
_FAILED_STOP = re.compile(
    r"(failed|fail|not|nicht|does not) .{0,14}(stop|open)|stop.{0,8}(fail|fehler)|contactor (welded|stuck)|schutz klebt"
)
_SLIDE_LOST = re.compile(
    r"slide (lost|stuck|fault|fail)|schieber (fehler|klemmt|storung|blockiert)|tiroir (bloque|defaut)|"
    r"slide.{0,12}not mov|slide .{0,10}fault"
)
_DISAGREE = re.compile(r"disagree|deviation between|halves|halften|ungleich|mismatch")
_UNLOAD = re.compile(r"unload.{0,12}(time ?out|fail)|entlast.{0,16}(zeit|fehler)")
_WATER = re.compile(r"superheat|uberhitz|liquid (carry|hammer)|flussigkeitsschlag|surchauff|recalent|surrisc")
_TRIP_WORDS = re.compile(
    r"\btrip|abschalt|stor(ung|abschaltung)|shut ?down|declench|disparo|blocco|cut ?out|uitschakel|udkobl|utlos|"
    r"tripped|lock ?out|fault stop"
)
_ALARM_WORDS = re.compile(r"alarm|warn|allarme|pre ?alarm|voralarm|prealarm|preaviso|advarsel|varning")


def state_of(text: str) -> str:
    """ "on", "off", "ack" or "" of a state column's word.

    >>> state_of("Kommt"), state_of("RTN"), state_of("ACK"), state_of("K1")
    ('on', 'off', 'ack', '')
    """
    plain = plain_header(text)
    for state, pattern in (("ack", _ACK_STATE), ("on", _ON_STATE), ("off", _OFF_STATE)):
        if pattern.match(plain):
            return state
    return ""


def cause_of(text: str) -> Trip:
    """The cause that a text names; NONE if it names none.

    >>> cause_of("Saugdruck zu niedrig").name, cause_of("Oil pressure diff. low").name, cause_of("Tür offen").name
    ('LOW_SUCTION_PRESSURE', 'LOW_OIL_DIFFERENTIAL', 'NONE')
    """
    plain, concepts = plain_header(text), concepts_in(text)
    low, high = bool(_LOW.search(plain)), bool(_HIGH.search(plain))
    own = plain.upper().replace(" ", "_")
    for cause in Trip:
        if cause and cause.name in own:
            return cause
    ordered = (
        (Trip.STOP_BUTTON, "stop" in concepts),
        (Trip.SAFETY_CHAIN, "chain" in concepts),
        (Trip.SIGNAL_LOST, bool(_LOST.search(plain))),
        (Trip.SLIDE_LOST, bool(_SLIDE_LOST.search(plain))),
        (Trip.HALVES_DISAGREE, bool(_DISAGREE.search(plain))),
        (Trip.UNLOAD_TIMEOUT, bool(_UNLOAD.search(plain))),
        (Trip.FAILED_STOP, bool(_FAILED_STOP.search(plain))),
        (Trip.FAILED_START, bool(_FAILED_START.search(plain))),
        (Trip.HIGH_FILTER_DIFFERENTIAL, "filter" in concepts and not low),
        (
            Trip.LOW_OIL_DIFFERENTIAL,
            "oil" in concepts
            and ("pressure" in concepts or "differential" in concepts)
            and "temperature" not in concepts,
        ),
        (Trip.HIGH_OIL_TEMPERATURE, "oil" in concepts and "temperature" in concepts and not low),
        (Trip.LOW_DISCHARGE_SUPERHEAT, bool(_WATER.search(plain))),
        (Trip.VESSEL_HIGH_LEVEL, "highhigh" in concepts or ("level" in concepts and high and "oil" not in concepts)),
        (Trip.MOTOR_OVERLOAD, bool(_OVERLOAD.search(plain)) or ("current" in concepts and high)),
        (Trip.HIGH_DISCHARGE_TEMPERATURE, "discharge" in concepts and "temperature" in concepts and not low),
        (
            Trip.LOW_SUCTION_PRESSURE,
            "suction" in concepts and not high and "temperature" not in concepts and (low or "pressure" in concepts),
        ),
        (Trip.HIGH_DISCHARGE_PRESSURE, "discharge" in concepts and not low),
    )
    return next((cause for cause, holds in ordered if holds), Trip.NONE)


@cache
def classify(text: str) -> tuple[str, str, float]:
    """(kind, name, confidence) of an event's text; name: a Trip's name, or "".

    >>> classify("TRIP: low suction pressure")[:2], classify("Set point changed 290 -> 270 kPa")[:2]
    (('trip', 'LOW_SUCTION_PRESSURE'), ('setting', ''))
    """
    plain, concepts = plain_header(text), concepts_in(text)
    raw = text.lower()
    cause = cause_of(text)
    if _SETTING.search(raw) or (_SETTING.search(plain) and not _ALARM_WORDS.search(plain)):
        return "setting", "", 0.85
    if _TRIP_WORDS.search(plain):
        return "trip", "" if cause is Trip.NONE else cause.name, 0.9 if cause else 0.6
    if "inhibit" in concepts or re.search(
        r"load (hold|limit)|forced unload|zwangsentlast|lastbegrenz|limitation de charge", plain
    ):
        return "inhibit", "" if cause is Trip.NONE else cause.name, 0.8
    if "reset" in concepts:
        return "operator", "reset", 0.85
    if cause in (Trip.STOP_BUTTON, Trip.SAFETY_CHAIN):
        return "trip", cause.name, 0.8
    if "manual" in concepts and not _ALARM_WORDS.search(plain):
        return "manual", "", 0.8
    if _ALARM_WORDS.search(plain) or cause is not Trip.NONE:
        return "alarm", "" if cause is Trip.NONE else cause.name, 0.85 if cause else 0.6
    if _OPERATOR.search(plain):
        return "operator", "", 0.7
    if _START.search(plain):
        return "start", "", 0.8
    if _STOP.search(plain):
        return "stop", "", 0.8
    if "running" in concepts:
        return "motor", "", 0.5
    if "mode" in concepts or "selection" in concepts or "auto" in concepts:
        return "mode", "", 0.6
    return "other", "", 0.3
