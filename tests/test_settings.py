"""studio.toml: defaults, units, and messages that name the line and the nearest right word."""

import dataclasses
import tomllib

import pytest

from pipeline import settings
from pipeline.errors import SettingsError
from pipeline.resources import table


def refusal(text: str) -> str:
    with pytest.raises(SettingsError) as caught:
        settings.load(text, "studio.toml")
    return str(caught.value)


def test_defaults_are_those_of_the_schema() -> None:
    loaded = settings.load()
    for key, row in table("settings").items():
        if "stored" not in row:
            assert getattr(loaded, key) == row.get("default", getattr(loaded, row.get("optional", key))), key
    assert loaded.smallest_difference_m == pytest.approx(5 * 0.9144)


def test_every_setting_can_be_set_and_arrives() -> None:
    chosen = {"units_shown": "metres", "paper": "letter", "language": "en", "firmness": "soft", "give_up_seconds": 600}
    chosen |= {"accent": "#0B5D3B", "tidy": "move"}
    chosen |= {"mail_from": "a@b.example", "mail_reply_to": "c@d.example", "smtp_security": "tls"}
    for key, row in table("settings").items():
        if "range" in row:
            chosen.setdefault(key, row["range"][0])
        if row["type"] == "text":
            chosen[key] = "Testword"
    lines = [f'{key} = "{value}"' if isinstance(value, str) else f"{key} = {value}" for key, value in chosen.items()]
    lines += ['bays_set_up = { "2" = 2026-03-10 }']
    chosen["bays_set_up"] = {"2": "2026-03-10"}
    loaded = dataclasses.asdict(settings.load("\n".join(lines)))
    assert loaded.pop("smallest_difference_m") == pytest.approx(0.5 * 0.9144)
    assert loaded.pop("fairway_width_m") == pytest.approx(5 * 0.9144)
    assert loaded.pop("hole_m") == pytest.approx(100 * 0.9144)
    assert loaded == {key: value for key, value in chosen.items() if not key.endswith("_yd")}


def test_the_template_reads_as_the_defaults_also_with_every_remark_mark_deleted() -> None:
    text = settings.template()
    assert settings.load(text) == settings.load()
    uncommented = "\n".join(line.removeprefix("# ") for line in text.splitlines() if " = " in line)
    assert set(tomllib.loads(uncommented)) == set(table("settings"))
    assert settings.load(uncommented) == settings.load()


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('\nnaem = "A"', "studio.toml, line 2: unknown key 'naem'. Did you mean 'name'?"),
        ('Paper = "A4"', "studio.toml, line 1: unknown key 'Paper'. Did you mean 'paper'?"),
        ('"paper size" = "A4"', "studio.toml, line 1: unknown key 'paper size'. Did you mean 'paper'?"),
        ("[studio]\nname = 1", "studio.toml, line 1: unknown key 'studio'."),
        ("name = 5", "line 1: name = 5 is not right: a text in quotes, of at most 2000 characters, is wanted."),
        ('paper = "A5"', 'line 1: paper = "A5" is not right: one of "A4", "letter" is wanted.'),
        ("paper = ['A4']", "paper = ['A4'] is not right: one of"),
        ('settle_seconds = "2"', 'settle_seconds = "2" is not right: a number without quotes is wanted'),
        ("settle_seconds = true", "settle_seconds = true is not right: a number without quotes"),
        ("settle_seconds = nan", "settle_seconds = nan is not right: a number without quotes"),
        ("settle_seconds = inf", "settle_seconds = inf is not right: a number without quotes"),
        ("altitude_m = 9000", "altitude_m = 9000 is not right: it must lie between -430 and 4500."),
        ("smallest_difference_yd = 0.4", "it must lie between 0.5 and 50."),
        ("settle_seconds = 90", "give_up_seconds = 60.0 is not right: it must not be shorter than settle_seconds."),
        ("name = Studio", "not readable as TOML: Invalid value (at line 1, column 8). Text stands in quotes"),
        ("altitude_m = 1,5", "not readable as TOML"),
        (f'footnote = "{"x" * 2001}"', f'footnote = "{"x" * 60}…" is not right: a text in quotes, of at most 2000'),
    ],
)
def test_what_is_wrong_is_named_with_its_line(text: str, message: str) -> None:
    assert message in refusal(text)


def test_with_no_near_word_the_known_ones_are_listed() -> None:
    message = refusal("zzz = 1")
    for key in table("settings"):
        assert key in message


def test_an_optional_setting_takes_the_value_of_the_one_it_stands_beside() -> None:
    loaded = settings.load("altitude_m = 300\ntemperature_c = 25\ndevice_temperature_c = 15")
    assert (loaded.device_altitude_m, loaded.device_temperature_c) == (300.0, 15.0)


def test_days_of_bays_are_names_with_a_date_each() -> None:
    assert settings.load("").bays_set_up == {}
    assert settings.load('bays_set_up = { "2" = 2026-03-10, north = 2026-05-01 }').bays_set_up == {
        "2": "2026-03-10",
        "north": "2026-05-01",
    }
    for wrong in ('"2026-03-10"', '{ "2" = "2026-03-10" }', "[2026-03-10]", "{ a = 5 }"):
        with pytest.raises(SettingsError, match="names with a date each are wanted"):
            settings.load(f"bays_set_up = {wrong}")
