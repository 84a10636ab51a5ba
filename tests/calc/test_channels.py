"""Words of file headers in eight languages, with their units."""

import numpy as np
import pytest

from jobs.calc.channels import CHANNELS, match_channels
from jobs.calc.run_file.column_meaning import split_unit, suggest_channels
from jobs.calc.run_file.layout import CERTAIN_CONFIDENCE
from jobs.calc.statistics import FloatArray

NONE: FloatArray = np.array([])

# Ordinary dictionary words of each language for the quantity, as one finds them in a manual.
WORDS = [
    ("Engine speed [rpm]", "engine_speed_rpm"),
    ("Motordrehzahl [1/min]", "engine_speed_rpm"),
    ("Drehzahl [U/min]", "engine_speed_rpm"),
    ("Régime moteur [tr/min]", "engine_speed_rpm"),
    ("Régimen del motor [r/min]", "engine_speed_rpm"),
    ("Giri motore [giri/min]", "engine_speed_rpm"),
    ("Motortoerental [omw/min]", "engine_speed_rpm"),
    ("Prędkość obrotowa silnika [obr/min]", "engine_speed_rpm"),
    ("Motorvarvtal [varv/min]", "engine_speed_rpm"),
    ("Wheel power [hp]", "power_kw"),
    ("Leistung [kW]", "power_kw"),
    ("Puissance [ch]", "power_kw"),
    ("Potencia [CV]", "power_kw"),
    ("Potenza [CV]", "power_kw"),
    ("Vermogen [pk]", "power_kw"),
    ("Moc [KM]", "power_kw"),
    ("Effekt [hk]", "power_kw"),
    ("Torque [lb-ft]", "torque_nm"),
    ("Drehmoment [Nm]", "torque_nm"),
    ("Couple [N·m]", "torque_nm"),
    ("Par motor [Nm]", "torque_nm"),
    ("Coppia [kgm]", "torque_nm"),
    ("Koppel [Nm]", "torque_nm"),
    ("Moment obrotowy [Nm]", "torque_nm"),
    ("Vridmoment [Nm]", "torque_nm"),
    ("Geschwindigkeit [km/h]", "road_speed_kmh"),
    ("Vitesse [km/h]", "road_speed_kmh"),
    ("Velocità [km/h]", "road_speed_kmh"),
    ("Predkosc [km/h]", "road_speed_kmh"),
    ("Hastighet [km/h]", "road_speed_kmh"),
    ("Gasgriff [%]", "grip_pct"),
    ("Puño del gas [%]", "grip_pct"),
    ("Manetka gazu [%]", "grip_pct"),
    ("Drosselklappe [%]", "plate_pct"),
    ("Papillon [%]", "plate_pct"),
    ("Farfalla [%]", "plate_pct"),
    ("Przepustnica [%]", "plate_pct"),
    ("Gasspjäll [%]", "plate_pct"),
    ("Ansauglufttemperatur [°C]", "intake_air_temperature_c"),
    ("Température d'admission [°C]", "intake_air_temperature_c"),
    ("Kühlmitteltemperatur [°C]", "coolant_temperature_c"),
    ("Kuehlmitteltemperatur [°C]", "coolant_temperature_c"),
    ("Temperatura acqua [°C]", "coolant_temperature_c"),
    ("Öltemperatur [°C]", "oil_temperature_c"),
    ("Temperatura aceite [°C]", "oil_temperature_c"),
    ("Omgevingstemperatuur [°C]", "ambient_temperature_c"),
    ("Luftdruck [hPa]", "barometric_pressure_kpa"),
    ("Pression atmosphérique [mbar]", "barometric_pressure_kpa"),
    ("Ciśnienie atmosferyczne [hPa]", "barometric_pressure_kpa"),
    ("Saugrohrdruck [kPa]", "manifold_pressure_kpa"),
    ("Luftfeuchtigkeit [%]", "humidity_pct"),
    ("Umidità relativa [%]", "humidity_pct"),
    ("Zeit [s]", "time_s"),
    ("Temps [s]", "time_s"),
    ("Tiempo [ms]", "time_s"),
    ("Tijd [s]", "time_s"),
    ("Czas [s]", "time_s"),
    ("Zündwinkel [°]", "ignition_advance_deg"),
    ("Einspritzzeit [ms]", "injector_time_ms"),
    ("Czas wtrysku [ms]", "injector_time_ms"),
    ("Strecke [m]", "distance_m"),
    ("Rollengeschwindigkeit [km/h]", "roller_speed_kmh"),
    ("Rollendrehzahl [1/min]", "roller_speed_rpm"),
]


@pytest.mark.parametrize(("header", "channel"), WORDS)
def test_header_with_unit_is_certain(header, channel):
    found = suggest_channels(*split_unit(header), NONE)
    assert found[0].channel == channel
    assert found[0].confidence >= CERTAIN_CONFIDENCE


@pytest.mark.parametrize("channel", CHANNELS)
def test_channel_id_as_header_is_certain(channel):
    values = np.array([70.0, 71.0]) if channel != "lambda" else np.array([0.9, 0.95])
    found = suggest_channels(*split_unit(channel), values)
    assert (found[0].channel, found[0].unit) == (channel, CHANNELS[channel].unit)
    if channel not in ("gear", "time_s"):  # 70 is no gear, and two steps of 1 may be milliseconds
        assert found[0].confidence >= CERTAIN_CONFIDENCE or CHANNELS[channel].high <= 70


@pytest.mark.parametrize(
    "header", ["Throttle [%]", "Power", "Torque", "Air temperature [°C]", "Speed", "AFR target"]
)
def test_ambiguous_header_is_not_certain(header):
    assert suggest_channels(*split_unit(header), NONE)[0].confidence < CERTAIN_CONFIDENCE


@pytest.mark.parametrize("header", ["Serial number", "Marker", "Battery [V]", "Fan", "Lap", ""])
def test_unknown_header_has_no_suggestion(header):
    assert suggest_channels(*split_unit(header), NONE) == ()


def test_unit_of_another_quantity_excludes_a_channel():
    assert suggest_channels("Speed", "km/h", NONE)[0].channel == "road_speed_kmh"
    assert suggest_channels("Speed", "rpm", NONE)[0].channel == "engine_speed_rpm"
    assert all(s.channel != "power_kw" for s in suggest_channels("Power", "V", NONE))


@pytest.mark.parametrize(
    ("header", "name", "unit"),
    [
        ("Leistung [kW]", "Leistung", "kW"),
        ("n / 1/min", "n / 1/min", "1/min"),
        ("power_kw", "power_kw", "kw"),
        ("Speed, km/h", "Speed, km/h", "km/h"),
        ("Power (kW) corrected", "Power corrected", "kW"),
        ("Lambda (bank 1)", "Lambda (bank 1)", ""),
        ("RPM", "RPM", "RPM"),
        ("rpm min", "rpm min", ""),
        ("", "", ""),
    ],
)
def test_split_unit_finds_units_in_headers(header, name, unit):
    assert split_unit(header) == (name, unit)


@pytest.mark.parametrize(
    ("header", "channel"),
    [
        ("MotorDrehzahl", "engine_speed_rpm"),
        ("ÖL-Temperatur", "oil_temperature_c"),
        ("Oeltemperatur", "oil_temperature_c"),
        ("coolant_TEMP", "coolant_temperature_c"),
    ],
)
def test_match_channels_ignores_case_accents_punctuation_and_abbreviation(header, channel):
    assert match_channels(header)[channel][0] == 1.0


def test_implausible_values_lower_the_confidence():
    plausible = suggest_channels("Engine speed", "rpm", np.array([3000.0, 4000.0]))[0]
    implausible = suggest_channels("Engine speed", "rpm", np.array([60_000.0, 61_000.0]))[0]
    assert implausible.confidence < CERTAIN_CONFIDENCE <= plausible.confidence


def test_lambda_column_with_values_of_an_air_fuel_ratio_is_not_certain():
    found = suggest_channels("Lambda", "", np.array([12.9, 13.1, 14.0]))[0]
    assert found.unit == "afr"
    assert found.confidence < CERTAIN_CONFIDENCE


def test_every_channel_matches_its_label_and_has_a_plausible_range():
    for channel in CHANNELS.values():
        assert channel.low < channel.high
        assert match_channels(channel.label)[channel.id][0] == 1.0


def test_engine_speed_in_thousands_is_not_certain_when_unit_is_rpm():
    found = suggest_channels("RPM", "RPM", np.array([3.05, 7.9, 9.2]))
    assert found[0].unit == "krpm"
    assert found[0].confidence < CERTAIN_CONFIDENCE
