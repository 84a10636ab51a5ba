"""The channels a run file can hold: their names in file headers, units and plausible ranges.

The words are those of file headers in English, German, French, Spanish, Italian, Dutch, Polish and Swedish,
without accents; `tokenise` normalises a header in the same way. The plausible ranges are rules of
thumb, no published source; a value outside raises a question and is never refused.
"""

import re
import unicodedata
from dataclasses import dataclass, field
from functools import cache, lru_cache

from jobs.calc.units.factors import get_unit

MAX_PHRASE_WORDS = 6
MAX_NAME_LENGTH = 200  # longer texts name no channel; the search takes a time of the square


@dataclass(frozen=True)
class Channel:
    """One quantity of a run, with one name and one unit everywhere.

    Attributes
    ----------
    id : str
        The name it is stored under, with its unit.
    label : str
        The name people read.
    unit : str
        Key of `jobs.calc.units.factors.FACTORS`.
    low, high : float
        Plausible range, in that unit.
    words : str
        What headers call it: phrases separated by semicolons.
    implied : dict of str to str
        Phrase to the unit that it implies if the header states none.
    shown_as : str
        The quantity whose display unit it takes; that of its unit if empty.
    """

    id: str
    label: str
    unit: str
    low: float
    high: float
    words: str
    implied: dict[str, str] = field(default_factory=dict)
    shown_as: str = ""

    @property
    def quantity(self) -> str:
        return get_unit(self.unit).quantity

    @property
    def display_quantity(self) -> str:
        return self.shown_as or self.quantity

    @property
    def unit_label(self) -> str:
        label = get_unit(self.unit).label
        return "" if label == "–" else label


_ALL = (
    Channel(
        "time_s",
        "time",
        "s",
        0,
        86_400,
        "time; elapsed time; run time; log time; time stamp; timestamp; t; clock; zeit; messzeit; "
        "zeitstempel; laufzeit; uhrzeit; temps; temps ecoule; horodatage; heure; tiempo; tiempo "
        "transcurrido; hora; tempo; tempo trascorso; ora; tijd; tijdstip; czas; znacznik czasu; tid; "
        "tidpunkt; tidsstampel",
    ),
    Channel(
        "engine_speed_rpm",
        "engine speed",
        "rpm",
        0,
        25_000,
        "engine speed; engine rpm; rpm; revs; engine revs; crank speed; crankshaft speed; motor speed; "
        "motor rpm; tach; tachometer; speed; n; n engine; motordrehzahl; drehzahl; drehzahl motor; "
        "kurbelwellendrehzahl; n mot; nmot; n motor; regime moteur; regime; vitesse moteur; vitesse de "
        "rotation; vitesse de rotation moteur; regimen del motor; regimen motor; regimen; revoluciones; "
        "revoluciones del motor; velocidad del motor; giros; regime motore; giri motore; giri; regime di "
        "rotazione; velocita motore; motortoerental; toerental; obroty silnika; obroty; predkosc obrotowa; "
        "predkosc obrotowa silnika; motorvarvtal; varvtal",
        {"rpm": "rpm", "engine rpm": "rpm", "motor rpm": "rpm"},
    ),
    Channel(
        "power_kw",
        "power",
        "kw",
        -100,
        500,
        "power; engine power; wheel power; rear wheel power; power at the wheel; crank power; power "
        "output; horsepower; hp; bhp; whp; kw; ps; leistung; motorleistung; radleistung; p mot; puissance; "
        "puissance moteur; puissance roue; puissance a la roue; potencia; potencia motor; potencia del "
        "motor; potencia rueda; potencia a la rueda; potenza; potenza motore; potenza ruota; potenza alla "
        "ruota; vermogen; motorvermogen; wielvermogen; moc; moc silnika; moc na kole; effekt; motoreffekt; "
        "hjuleffekt",
        {"kw": "kw", "hp": "hp", "bhp": "hp", "whp": "hp", "horsepower": "hp", "ps": "ps"},
    ),
    Channel(
        "torque_nm",
        "torque",
        "nm",
        -300,
        1_000,
        "torque; engine torque; wheel torque; rear wheel torque; crank torque; moment; nm; drehmoment; "
        "motormoment; motordrehmoment; raddrehmoment; m mot; couple; couple moteur; couple roue; par; par "
        "motor; par del motor; par a la rueda; coppia; coppia motore; coppia ruota; koppel; motorkoppel; "
        "wielkoppel; draaimoment; moment obrotowy; moment silnika; vridmoment; motorvridmoment",
        {"nm": "nm"},
    ),
    Channel(
        "road_speed_kmh",
        "road speed",
        "kmh",
        -5,
        450,
        "road speed; vehicle speed; bike speed; speed; wheel speed; rear wheel speed; ground speed; gps "
        "speed; velocity; v; geschwindigkeit; fahrgeschwindigkeit; fahrzeuggeschwindigkeit; "
        "radgeschwindigkeit; vitesse; vitesse vehicule; vitesse du vehicule; vitesse roue; velocidad; "
        "velocidad del vehiculo; velocidad vehiculo; velocidad de rueda; velocita; velocita veicolo; "
        "velocita ruota; snelheid; rijsnelheid; voertuigsnelheid; wielsnelheid; predkosc; predkosc "
        "pojazdu; predkosc jazdy; predkosc kola; hastighet; fordonshastighet; hjulhastighet; kmh; mph",
        {"kmh": "kmh", "mph": "mph"},
    ),
    Channel(
        "roller_speed_kmh",
        "roller speed",
        "kmh",
        -5,
        450,
        "roller speed; drum speed; roll speed; dyno speed; rollengeschwindigkeit; trommelgeschwindigkeit; "
        "vitesse rouleau; vitesse du rouleau; velocidad rodillo; velocidad del rodillo; velocita rullo; "
        "velocita del rullo; rolsnelheid; predkosc rolki; rullhastighet",
    ),
    Channel(
        "roller_speed_rpm",
        "roller rotation",
        "rpm",
        -50,
        10_000,
        "roller speed; roller rpm; drum speed; drum rpm; roll speed; roll rpm; dyno speed; dyno rpm; "
        "rollendrehzahl; trommeldrehzahl; vitesse rouleau; vitesse du rouleau; regime rouleau; velocidad "
        "rodillo; velocidad del rodillo; giros rodillo; velocita rullo; giri rullo; roltoerental; "
        "rolsnelheid; obroty rolki; predkosc rolki; rullvarvtal; rullhastighet",
        {"roller rpm": "rpm", "drum rpm": "rpm", "roll rpm": "rpm", "dyno rpm": "rpm"},
    ),
    Channel(
        "roller_torque_nm",
        "roller torque",
        "nm",
        -2_000,
        10_000,
        "roller torque; drum torque; roll torque; brake torque; rollenmoment; rollendrehmoment; couple "
        "rouleau; couple au rouleau; par rodillo; par en el rodillo; par del rodillo; coppia rullo; coppia "
        "al rullo; rolkoppel; moment na rolce; moment rolki; rullmoment; rullvridmoment",
    ),
    Channel(
        "lambda",
        "lambda",
        "lambda",
        0.5,
        3,
        "lambda; λ; lambda value; lambda sensor; wideband; wideband lambda; air fuel ratio; afr; a f; air "
        "fuel; wideband afr; equivalence ratio; phi; φ; eq ratio; lambdawert; lambdasonde; luftzahl; "
        "luftverhaltnis; luft kraftstoff verhaltnis; richesse; rapport air carburant; rapport air essence; "
        "rapport d equivalence; relacion aire combustible; relacion de equivalencia; rapporto aria "
        "carburante; rapporto di equivalenza; titolo; lucht brandstof verhouding; luchtfactor; "
        "wspolczynnik nadmiaru powietrza; stosunek powietrze paliwo; luft bransle forhallande; lambdavarde",
        {
            "lambda": "lambda",
            "λ": "lambda",
            "lambda value": "lambda",
            "wideband lambda": "lambda",
            "lambdawert": "lambda",
            "lambdavarde": "lambda",
            "luftzahl": "lambda",
            "luftverhaltnis": "lambda",
            "luchtfactor": "lambda",
            "wspolczynnik nadmiaru powietrza": "lambda",
            "afr": "afr",
            "a f": "afr",
            "wideband afr": "afr",
            "air fuel ratio": "afr",
            "luft kraftstoff verhaltnis": "afr",
            "rapport air carburant": "afr",
            "rapport air essence": "afr",
            "relacion aire combustible": "afr",
            "rapporto aria carburante": "afr",
            "lucht brandstof verhouding": "afr",
            "stosunek powietrze paliwo": "afr",
            "luft bransle forhallande": "afr",
            "equivalence ratio": "phi",
            "eq ratio": "phi",
            "phi": "phi",
            "φ": "phi",
            "richesse": "phi",
            "rapport d equivalence": "phi",
            "relacion de equivalencia": "phi",
            "rapporto di equivalenza": "phi",
        },
    ),
    Channel(
        "grip_pct",
        "grip",
        "pct",
        -5,
        105,
        "grip; grip opening; grip position; twist grip; throttle grip; accelerator; accelerator position; "
        "accelerator pedal position; app; aps; throttle; throttle opening; gas; gasgriff; "
        "gasgriffstellung; griffstellung; drehgriff; fahrpedal; gaspedal; poignee; poignee de gaz; "
        "position poignee; accelerateur; puno; puno del gas; puno de gas; acelerador; posicion acelerador; "
        "manopola; manopola gas; manopola del gas; acceleratore; gashendel; gasgreep; manetka; manetka "
        "gazu; polozenie manetki; pedal gazu; gashandtag; gasreglage",
    ),
    Channel(
        "plate_pct",
        "plate",
        "pct",
        -5,
        105,
        "plate; dk; throttle plate; plate opening; throttle plate position; throttle position; tps; throttle "
        "valve; throttle blade; butterfly; throttle; throttle opening; gas; drosselklappe; "
        "drosselklappenstellung; drosselklappenoffnung; papillon; papillon des gaz; position papillon; "
        "ouverture papillon; mariposa; posicion mariposa; apertura mariposa; farfalla; posizione farfalla; "
        "apertura farfalla; gasklep; gasklepstand; gasklepopening; przepustnica; polozenie przepustnicy; "
        "otwarcie przepustnicy; gasspjall; gasspjallslage; spjallage",
    ),
    Channel(
        "intake_air_temperature_c",
        "intake air temperature",
        "c",
        -40,
        120,
        "intake air temperature; intake temperature; iat; inlet air temperature; inlet temperature; "
        "air intake temperature; air temperature; charge temperature; "
        "ansauglufttemperatur; ansaugtemperatur; lufttemperatur; t ansaug; temperature admission; "
        "temperature d admission; temperature air admission; temperature d air; temperature air; "
        "temperatura admision; temperatura de admision; temperatura aire admision; temperatura aire; "
        "temperatura aspirazione; temperatura aria aspirata; temperatura aria; inlaattemperatuur; "
        "inlaatluchttemperatuur; luchttemperatuur; temperatura dolotu; temperatura powietrza dolotowego; "
        "temperatura zasysanego powietrza; temperatura powietrza; insugningstemperatur; insugstemperatur; "
        "insugsluftens temperatur",
    ),
    Channel(
        "coolant_temperature_c",
        "coolant temperature",
        "c",
        -40,
        150,
        "coolant temperature; engine coolant temperature; coolant; ect; clt; water temperature; engine "
        "temperature; kuhlmitteltemperatur; kuhlwassertemperatur; wassertemperatur; motortemperatur; "
        "temperature eau; temperature d eau; temperature liquide de refroidissement; temperature moteur; "
        "temperatura refrigerante; temperatura del refrigerante; temperatura agua; temperatura motor; "
        "temperatura acqua; temperatura liquido; temperatura motore; koelvloeistoftemperatuur; "
        "watertemperatuur; motortemperatuur; temperatura cieczy; temperatura plynu chlodzacego; "
        "temperatura wody; temperatura silnika; kylvatsketemperatur; vattentemperatur",
    ),
    Channel(
        "oil_temperature_c",
        "oil temperature",
        "c",
        -40,
        180,
        "oil temperature; engine oil temperature; oltemperatur; motoroltemperatur; temperature huile; "
        "temperature d huile; temperatura aceite; temperatura del aceite; temperatura olio; "
        "olietemperatuur; temperatura oleju; oljetemperatur",
    ),
    Channel(
        "ambient_temperature_c",
        "ambient temperature",
        "c",
        -40,
        60,
        "ambient temperature; ambient air temperature; room temperature; outside temperature; air "
        "temperature; umgebungstemperatur; aussentemperatur; raumtemperatur; lufttemperatur; temperature "
        "ambiante; temperature exterieure; temperature d air; temperatura ambiente; temperatura exterior; "
        "temperatura esterna; omgevingstemperatuur; buitentemperatuur; temperatura otoczenia; temperatura "
        "zewnetrzna; omgivningstemperatur; utetemperatur; lufttemperatur",
    ),
    Channel(
        "barometric_pressure_kpa",
        "barometric pressure",
        "kpa",
        50,
        110,
        "barometric pressure; baro; barometer; baro pressure; ambient pressure; atmospheric pressure; air "
        "pressure; station pressure; luftdruck; umgebungsdruck; aussendruck; barometerdruck; pression "
        "atmospherique; pression barometrique; pression ambiante; presion atmosferica; presion "
        "barometrica; presion ambiente; pressione atmosferica; pressione barometrica; pressione ambiente; "
        "luchtdruk; omgevingsdruk; cisnienie atmosferyczne; cisnienie barometryczne; cisnienie otoczenia; "
        "lufttryck; barometertryck; omgivningstryck",
    ),
    Channel(
        "manifold_pressure_kpa",
        "manifold pressure",
        "kpa",
        5,
        400,
        "manifold pressure; manifold absolute pressure; intake manifold pressure; map; intake pressure; "
        "inlet pressure; saugrohrdruck; ansaugdruck; pression collecteur; pression admission; pression d "
        "admission; presion colector; presion del colector; presion admision; presion de admision; "
        "pressione collettore; pressione aspirazione; pressione di aspirazione; inlaatdruk; "
        "spruitstukdruk; cisnienie kolektora; cisnienie w kolektorze; cisnienie dolotu; insugstryck; "
        "insugningstryck; grenrorstryck",
        shown_as="manifold_pressure",
    ),
    Channel(
        "boost_pressure_kpa",
        "boost pressure",
        "kpag",
        -100,
        300,
        "boost; boost pressure; charge pressure; charge air pressure; turbo pressure; manifold gauge "
        "pressure; ladedruck; ladeluftdruck; pression de suralimentation; pression suralimentation; pression "
        "turbo; presion de soplado; presion de sobrealimentacion; presion turbo; pressione di "
        "sovralimentazione; pressione sovralimentazione; pressione turbo; laaddruk; turbodruk; cisnienie "
        "doladowania; laddtryck",
    ),
    Channel(
        "oil_pressure_kpa",
        "oil pressure",
        "kpag",
        -20,
        1_200,
        "oil pressure; engine oil pressure; oldruck; motoroldruck; pression huile; pression d huile; presion "
        "aceite; presion de aceite; presion del aceite; pressione olio; pressione dell olio; oliedruk; "
        "cisnienie oleju; oljetryck",
    ),
    Channel(
        "fuel_pressure_kpa",
        "fuel pressure",
        "kpag",
        -20,
        1_000,
        "fuel pressure; fuel rail pressure; rail pressure; kraftstoffdruck; benzindruck; pression carburant; "
        "pression essence; presion combustible; presion de combustible; presion del combustible; pressione "
        "carburante; pressione benzina; brandstofdruk; benzinedruk; cisnienie paliwa; bransletryck",
    ),
    Channel(
        "air_flow_g_s",
        "air mass flow",
        "g_per_s",
        0,
        500,
        "air mass flow; mass air flow; air mass; air flow; airflow; maf; luftmasse; luftmassenstrom; debit d "
        "air; masse d air; caudal de aire; masa de aire; portata aria; massa aria; luchtmassa; masa "
        "powietrza; przeplyw powietrza; luftmassa; luftflode",
    ),
    Channel(
        "humidity_pct",
        "relative humidity",
        "pct",
        0,
        100,
        "humidity; relative humidity; rel humidity; air humidity; rh; luftfeuchte; luftfeuchtigkeit; "
        "relative feuchte; relative luftfeuchte; relative luftfeuchtigkeit; feuchte; humidite; humidite "
        "relative; humedad; humedad relativa; umidita; umidita relativa; vochtigheid; luchtvochtigheid; "
        "relatieve vochtigheid; relatieve luchtvochtigheid; wilgotnosc; wilgotnosc wzgledna; "
        "luftfuktighet; relativ fuktighet; fuktighet",
    ),
    Channel(
        "gear",
        "gear",
        "one",
        -1,
        8,
        "gear; gear position; current gear; gear engaged; gang; gangstufe; eingelegter gang; rapport; "
        "rapport engage; vitesse engagee; marcha; marcha engranada; marcia; marcia inserita; versnelling; "
        "bieg; vaxel",
    ),
    Channel(
        "ignition_advance_deg",
        "ignition advance",
        "deg",
        -40,
        70,
        "ignition advance; ignition timing; ignition angle; spark advance; spark timing; spark angle; "
        "advance; zundwinkel; zundzeitpunkt; fruhzundung; avance; avance allumage; avance a l allumage; "
        "avance de encendido; avance encendido; anticipo; anticipo accensione; anticipo di accensione; "
        "ontstekingstijdstip; voorontsteking; ontstekingshoek; kat wyprzedzenia zaplonu; wyprzedzenie "
        "zaplonu; kat zaplonu; tandvinkel; fortandning; tandlage",
    ),
    Channel(
        "injector_time_ms",
        "injector opening time",
        "ms",
        0,
        60,
        "injector time; injection time; injector pulse width; injection pulse width; fuel pulse width; "
        "pulse width; pulsewidth; injector on time; injector opening time; injector duration; injection "
        "duration; pw; einspritzzeit; einspritzdauer; ti; temps d injection; temps injection; duree d "
        "injection; tiempo de inyeccion; tiempo inyeccion; tempo di iniezione; tempo iniezione; "
        "inspuittijd; injectietijd; inspuitduur; czas wtrysku; insprutningstid; oppningstid spridare",
    ),
    Channel(
        "distance_m",
        "distance",
        "m",
        0,
        1_000_000,
        "distance; distance travelled; distance traveled; travel; strecke; weg; wegstrecke; distance "
        "parcourue; distancia; distancia recorrida; distanza; distanza percorsa; afstand; afgelegde weg; "
        "dystans; droga; odleglosc; stracka; avstand; distans",
    ),
)

CHANNELS: dict[str, Channel] = {channel.id: channel for channel in _ALL}

# The same tap, counted from vacuum or from the air outside: the unit of a column decides which it is.
OTHER_REFERENCE = {
    "manifold_pressure_kpa": "boost_pressure_kpa",
    "boost_pressure_kpa": "manifold_pressure_kpa",
}

_ABBREVIATIONS = {"temp": "temperature", "press": "pressure", "pos": "position", "veh": "vehicle"}
_UNFOLDED = str.maketrans({"ł": "l", "ø": "o", "đ": "d", "æ": "ae", "ı": "i", "œ": "oe"})
_CAMEL = re.compile(r"(?<=[a-zà-ÿ])(?=[A-ZÀ-Þ])|(?<=[^\W\d_])(?=\d)")
_NOT_A_WORD = re.compile(r"[\W_]+")
_UMLAUT_SPELT_OUT = re.compile(r"([aou])e(?!$)")


def tokenise(name: str) -> tuple[str, ...]:
    """Split a header into words without case, accents and punctuation.

    Parameters
    ----------
    name : str

    Returns
    -------
    tuple of str
        Common abbreviations are spelt out.
    """
    separate = _CAMEL.sub(" ", unicodedata.normalize("NFKC", name))
    plain = unicodedata.normalize("NFD", separate.casefold().translate(_UNFOLDED))
    plain = "".join(sign for sign in plain if not unicodedata.combining(sign))
    return tuple(_ABBREVIATIONS.get(word, word) for word in _NOT_A_WORD.sub(" ", plain).split())


# Words beside the name of a quantity that do not change it,
PLAIN_COMPANIONS = frozenset(
    tokenise(
        "actual measured value sensor signal channel log logged ist istwert wert mess gemessen valeur "
        "mesure valor medido valore misurato waarde gemeten wartosc zmierzona varde 1 01 the of der des du "
        "de di del gauge gage abs absolute"
    )
)
# words that make it something else (a target, a limit, a correction),
OTHER_THAN_MEASURED = frozenset(
    tokenise(
        "target desired demand setpoint command requested goal soll sollwert cible consigne objetivo "
        "consigna obiettivo doel gewenst zadana cel mal error trim correction deviation limit limiter max "
        "min maximum minimum delta diff difference rate status state flag raw voltage volt adc count"
    )
)
# and words that say that it is corrected for the air.
CORRECTED = frozenset(
    tokenise(
        "corrected corr sae din std stp iso ece cor korrigiert corrige corregida corregido corretta "
        "corretto gecorrigeerd skorygowana skorygowany korrigerad korrigerat"
    )
)


def _key(words: tuple[str, ...]) -> str:
    """Join words for comparison; 'ae', 'oe' and 'ue' count as the umlaut they may stand for."""
    return _UMLAUT_SPELT_OUT.sub(r"\1", "".join(words))


@cache
def _phrases() -> tuple[dict[tuple[str, ...], list[str]], dict[str, list[tuple[str, str]]]]:
    """Index all phrases: words to channels, and comparison key to channels with their phrase."""
    by_words: dict[tuple[str, ...], list[str]] = {}
    by_key: dict[str, list[tuple[str, str]]] = {}
    for channel in CHANNELS.values():
        phrases = dict.fromkeys(
            tokenise(text) for text in (*channel.words.split(";"), channel.label, channel.id)
        )
        for phrase in filter(None, phrases):
            by_words.setdefault(phrase, []).append(channel.id)
            by_key.setdefault(_key(phrase), []).append((channel.id, " ".join(phrase)))
    return by_words, by_key


@lru_cache(maxsize=4096)
def match_channels(name: str) -> dict[str, tuple[float, str]]:
    """Find the channels that a header may name.

    Parameters
    ----------
    name : str
        Of a column, without its unit.

    Returns
    -------
    dict of str to (float, str)
        Channel id to the share of the name that its phrase explains, 0 to 1 [1], and that phrase. The share
        is 1 if the name is the phrase and nothing else; channels without a phrase in the name are absent. A
        text longer than `MAX_NAME_LENGTH` names none.

    Notes
    -----
    Rule of thumb, no published source: 0.96 beside words that change nothing, 0.85 beside 'corrected' and its
    like, 0.3 beside words such as 'target' or 'limit', else 0.55 + 0.3 times the share of letters.
    """
    if len(name) > MAX_NAME_LENGTH:
        return {}
    words = tokenise(name)
    by_words, by_key = _phrases()
    found: dict[str, tuple[float, str]] = {}
    for start in range(len(words)):
        for stop in range(start + 1, min(len(words), start + MAX_PHRASE_WORDS) + 1):
            phrase = words[start:stop]
            share = _share_found(words, start, stop)
            for channel_id in by_words.get(phrase, ()) if len("".join(phrase)) > 1 else ():
                if share > found.get(channel_id, (0.0, ""))[0]:
                    found[channel_id] = (share, " ".join(phrase))
    for channel_id, text in by_key.get(_key(words), ()):
        found[channel_id] = (1.0, text)
    return found


def _share_found(words: tuple[str, ...], start: int, stop: int) -> float:
    rest = {*words[:start], *words[stop:]}
    if rest & OTHER_THAN_MEASURED:
        return 0.3
    if rest <= PLAIN_COMPANIONS:
        return 0.96
    if rest <= PLAIN_COMPANIONS | CORRECTED:
        return 0.85
    return 0.55 + 0.3 * len("".join(words[start:stop])) / len("".join(words))


def stated_reference(name: str) -> str:
    """Return from where the name of a column says that its pressure counts.

    Parameters
    ----------
    name : str

    Returns
    -------
    str
        'absolute', 'gauge' or '' if it says neither.
    """
    words = set(tokenise(name))
    if words & {"gauge", "gage"}:
        return "gauge"
    return "absolute" if words & {"abs", "absolute", "map"} else ""


def mentions_correction(name: str) -> bool:
    """Return True if the name of a column says that its figures are corrected for the air already.

    Parameters
    ----------
    name : str

    Returns
    -------
    bool
    """
    return bool(set(tokenise(name)) & CORRECTED)
