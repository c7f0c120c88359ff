"""Words of the trade in headers and alarm texts, in several languages, as concepts.

A header is made plain (no accents, no capitals, words parted) and searched for stems; abbreviations must stand alone.
The words are trade-general; common practice, no source.
"""

from __future__ import annotations

import re
import unicodedata
from functools import cache

_STEMS: dict[str, str] = {  # concept → regular expression over the plain header; \b…\b where it must stand alone
    "pressure": r"press|druck|presion|pressione|\btryk|trykk|tryck|cisnien|\bdruk|zuigdruk|persdruk|oliedruk|"
                r"sugetryk|olietryk|"
                r"\bp0\b|\bpo\b|\bps\b|\bpd\b|\bpc\b|\bp\b|\bpt\b|\bpi\b|\bpit\b|pressao",
    "temperature": r"temp|\bt\b|\btt\b|\bte\b|\btit\b",
    "suction": r"suct|saug|aspira|\bsug|zuig|\bssan|succao|\bsuc\b|verdampf|evapor|niederdruck|low pressure(?! "
               r"(alarm|trip|cut))|\bps\b|"
               r"\bp0\b|\bpo\b|\bt0\b|\bto\b|\blp\b|\bnd\b|\bbp\b|\bts\b|baja presion|bassa pressione|basse "
               r"pression|lagedruk|lavtryk",
    "discharge": r"disch|druckgas|druckseit|enddruck|endtemp|verdichtungsend|refoul|descarga|mandata|scarico|\bpers|trykgas|"
                 r"trykkgass|tryckgas|hetgas|heissgas|hochdruck|kondens|condens|verfluss|high pressure(?! (alarm|"
                 r"trip|cut))|\bdis\b|"
                 r"\bpd\b|\bpc\b|\btd\b|\btc\b|\bhp\b|\bhd\b|haute pression|alta presion|alta pressione|hogedruk|"
                 r"hojtryk|tryksid|"
                 r"trykror|tloczen",
    "oil": r"\boil|\boel|\bol(?=druck|temp|filter|stand|niveau|pump|diff|heiz|kuhl|sumpf|vor|\b|tryk|trykk|tryck|"
           r"filtr|nivå|niva)|"
           r"\bhuile|\baceite|\bolio|\bolie|\bolja|\bolje|\boleo|\boleju|\bolej",
    "filter": r"filter|filtr|filtre|filtro",
    "before": r"before|upstream|\bvor\b|vor(?=filter)|avant|antes|prima|\bvoor\b|\bfor\b|przed|\binlet\b|fore\b|innan",
    "after": r"after|downstream|\bnach\b|nach(?=filter)|apres|despues|\bdopo\b|\bna\b|efter|etter|\boutlet\b",
    "level": r"level|fullstand|\bstand\b|olstand|niveau|nivel|livello|\bpeil|\bniva|poziom",
    "current": r"current(?! (mode|state|value|set))|strom(?!ung)|intensite|courant|corriente|corrente|stroom|"
               r"strom\b|amps?\b|ampere|\bprad\b|\bflt? ?a\b",
    "power": r"power(?! (fail|dip|loss|suppl))|leistung|puissance|potencia|potenza|vermogen|effekt|\bmoc\b|wirkleist|\bkw\b",
    "capacity": r"capac|leistungs?(?=schieber|regel|stell)|kapazit|tiroir de puissance|leistungsschieb|kapac|"
                r"\bcap\b|wydajnosc|\bcs\b",
    "slide": r"slide|schieber|tiroir|corredera|cassetto|schuif|glider|skyder|sleide|\bslid|suwak",
    "position": r"posit|posic|posiz|stellung|\blage\b|travel|\bweg\b|\bhub\b|stroke|\bpos\b|recop|stand schuif",
    "ratio": r"volume ratio|vol ratio|\bvi\b|volumenverh|rapport v|relacion de v|rapporto|volumeverh|volumenforh|volymf|"
             r"built in ratio|\bvr\b|voluminaverh|innere verd",
    "opposite": r"opposite|other half|gegen|zweite|\bright\b|\brechts\b|\bdroite\b|other side|half 2|\b2nd\b",
    "motor": r"motor|moteur|motore|silnik",
    "running": r"\brun|running|lauft|\blauf\b|betrieb(?!sart|sstund)|\bmarche\b|marcha|in funzione|\bdrift\b|in "
               r"bedrijf|pracuje|"
               r"ruckmeld|feedback|retour marche|\bgira\b|i drift",
    "command": r"command|\bcmd\b|befehl|ordre|\borden\b|comando|opdracht|\bfreigabe|\border\b|kommando",
    "set": r"set ?point|setpoint|sollwert|\bsoll\b|consigne|consigna|\bsp\b|borv|setpunt|gewenst|zadan|set punto|"
           r"valor set|nastaw",
    "demand": r"demand|anforder|request|stellgrosse|sollstell|demande|target|richiesta|zapotrz",
    "up": r"\bload(?:ing)?\b|\bup\b|\bmehr\b|\bauf\b|belasten|\bcharge\b|\bcarga\b|\bcarico\b|\bplus\b|increase|"
          r"opladen|belast|\bincr\b|\bhoher\b",
    "down": r"unload|\bdown\b|weniger|\bab\b|entlast|decharge|descarga capac|\bminus\b|decrease|aflast|avlast|"
            r"\bdecr\b|scarica capac|"
            r"\btiefer\b|\bzu\b",
    "drive": r"drive|valve|solenoid|magnetventil|\bmv\b|pulse|impuls|electrovanne|elettrovalvola",
    "room": r"\broom|raum(?!temperaturf)|chambre|camara|\bcella|cold store|process(?!or)|prozess|kuhlraum|\brum\b|"
            r"product|\bhall|koelcel|komora",
    "vessel": r"vessel|abscheider|bouteille|separador|separatore|accumul|pump receiver|surge drum|"
              r"flussigkeitsabsch|vloeistofafsch|"
              r"vaeskeuds|vaske",
    "highhigh": r"high[ -]?high|\bhh\b|hoch hoch|hochhoch|max(imal)? ?niveau|tres haut|\bhihi\b|muy alto|altissimo",
    "chain": r"safety chain|sicherheitskette|chaine de sec|cadena de seg|catena di sic|veiligheidsk|sikkerhedsk|"
             r"safety circuit|sikringsk|"
             r"lancuch bezp",
    "stop": r"stop button|\be[ -]?stop|emergency stop|not ?aus|not ?halt|arret d.?urgence|parada de em|paro de em|"
            r"noodstop|nodstop|emergenza",
    "reset": r"\breset|quitt|acquit|\brearm|ripristin|kvitter|nullstill",
    "manual": r"manual|\bhand|manuel|manuale|\breczn",
    "remote": r"remote|\bfern|distance|remoto|afstand|fjern|telecom",
    "selection": r"selector|selection|wahlschalter|off local|commutat|selettore|keuzesch|\bsel\b",
    "mode": r"\bmode\b|betriebsart|zustand|\bstate\b|\bstatus\b|\betat\b|\bestado\b|\bstato\b|toestand|tilstand|sequence",
    "alarm": r"alarm|warn|allarme",
    "trip": r"\btrip|fault|storung|stoer|defaut|\bfallo|guasto|storing|\bfejl|\bfeil\b|abschalt|shut ?down|"
            r"declench|disparo|blocco|awaria|cut ?out",
    "starts": r"\bstarts\b|anlauf|anlaufe|demarrages|arranques|avviament|start count|starts count|antal starter|no "
              r"of starts|number of starts",
    "hours": r"hours|stunden|heures|\bhoras\b|\bore\b|bedrijfsuren|driftstim|hour meter|runtime",
    "count": r"\bcount|zahler|compteur|contador|contatore|teller|taeller|\btotal\b",
    "differential": r"diff|delta|\bdp\b|\bdelta p\b|drop|ecart",
    "superheat": r"superheat|uberhitz|surchauff|recalent|surrisc|overhit|overhed",
    "saturated": r"\bsat|saturat|\bt0\b|\bto\b|\btc\b|verdampfungstemp|verflussigungstemp|evaporating temp|"
                 r"condensing temp|temperature d.?evap",
    "wetbulb": r"wet ?bulb|feuchtkug|bulbe hum|bulbo hum|natteb",
    "ambient": r"ambient|outdoor|outside|aussen|exterieur|esterna|exterior|\bbuiten|\bude\b",
    "cooling": r"cooling|kalteleist|frigorif|refrigerat|kuhlleist|koelverm|kolekap|heat load|refrig load",
    "heater": r"heater|heizung|chauff|resistenc|resistenza|verwarm|varme",
    "pump": r"pump|pompe|bomba|pompa",
    "injection": r"inject|einspritz|iniec|inyecc|insprui|inspro",
    "inhibit": r"inhibit|limit|begrenz|\bhold\b|block|sperr|inibiz",
    "first": r"first ?out|first cause|erstmeld|premier defaut|first fault",
    "word": r"\bword\b|\bbits?\b|\bwort\b",
    "second": r"second set|\bsp2\b|set point 2|sollwert 2|2nd set",
    "local": r"\blocal|\blokal|vor ort",
    "valves": r"stop valves|valves open|absperrventile|vannes",
    "fan": r"\bfan|lufter|ventil(?!e)|ventilat",
    "other": r"other machine|machine 2|\bk2\b",
    "announced": r"announced|forecast|vorhersage",
    "auto": r"\bauto",
}  # fmt: skip
_FOLD = str.maketrans(
    {"ø": "o", "Ø": "o", "æ": "ae", "Æ": "ae", "ß": "ss", "ł": "l", "Ł": "l", "Δ": " delta ", "δ": " delta ", "₀": "0"}
)


@cache
def _compiled() -> dict[str, re.Pattern[str]]:
    return {concept: re.compile(stems) for concept, stems in _STEMS.items()}


def plain_header(text: str) -> str:
    """A header or message without accents, capitals, and signs between its words.

    >>> plain_header("Öldruck_nachFilter (K1)")
    'oldruck nach filter k1'
    """
    folded = unicodedata.normalize("NFKD", text.translate(_FOLD))
    folded = "".join(c for c in folded if not unicodedata.combining(c))
    folded = re.sub(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])", " ", folded)
    return re.sub(r"[^a-z0-9]+", " ", folded.lower()).strip()


@cache
def concepts_in(text: str) -> frozenset[str]:
    """The concepts that a header or a message names.

    >>> sorted(concepts_in("Saugdruck")), sorted(concepts_in("Temp. refoulement"))
    (['pressure', 'suction'], ['discharge', 'temperature'])
    """
    plain = re.sub(r"\b[ck]ompress?[aeo]\w*|\bverdichter\b", "machine", plain_header(text)[:300])
    return frozenset(concept for concept, pattern in _compiled().items() if pattern.search(plain))
