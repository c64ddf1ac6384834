"""The station sheet for the night: its numbers, its blanks, its cautions, and how it is written."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from page_reading import read
from rated_stations import fitness_of, only, rated
from station_sheets import fields, part, response, with_everything

from stationsim.equipment.power import GeneratorSet, StandbyPower
from stationsim.equipment.ratings import BypassConnection, Generator, MotorPlate, Service
from stationsim.errors import InputError
from stationsim.forms import PART_COLUMNS, WORKBOOK, Form, csv_text, workbook
from stationsim.pages import page_of, sheet_page_of, write_sheets
from stationsim.records.filled_form import read_filled
from stationsim.scenario.load import load
from stationsim.station import AlarmSettings, Station
from stationsim.studies.rehearse.hours import HoursAsked, station_hours
from stationsim.studies.rehearse.sheet import station_sheet
from stationsim.studies.rehearse.sheet_peaks import pumps_that_carry
from stationsim.study_result import Source, StudyResult
from stationsim.testing import bypass_pump, duplex, engine_pump, episode, triplex

SCENARIOS = Path(__file__).parents[1] / "scenarios"
DAY_S = 86_400.0
SERVICE = Service(400.0, other_load_w=1000.0)
PLATE = MotorPlate(rated_w=10e3, current_a=20.0, efficiency=0.88, starter="direct")


def sheet(station: Station | None = None, system: Any = "si", **changes: Any) -> Form:
    """Return the sheet of a station at a steady 10 L/s."""
    what = episode(DAY_S, 0.010)
    return station_sheet(
        duplex() if station is None else station, dataclasses.replace(what, **changes), system
    )


def plated(station: Station | None = None, **ratings: Any) -> Station:
    """Return a station whose motors and supply are known."""
    station = duplex() if station is None else station
    plates = {pump.name: PLATE for pump in station.pumps}
    return rated(station, **({"plates": plates, "service": SERVICE} | ratings))


# ------------------------------------------------------------------------------ what the water does


def test_minutes_and_volumes_are_those_of_a_tank_by_closed_form() -> None:
    # a tank of 10 m2: lead start 2 m, alarm 3 m, spill 4 m; 10 L/s fill 10 m3 in 1000 s
    form = sheet()
    hours = part(form, "Minutes")
    assert list(hours) == [f"{hour:02d}:00" for hour in range(24)]
    for entries in hours.values():
        assert entries == {
            "Wed alarm": "17",
            "Wed spill": "33",
            "Sat alarm": "17",
            "Sat spill": "33",
        }
    levels = part(form, "Levels")
    assert levels["spill"] == {"level": "4.00 m", "stored": "40.0 m3", "to next": "-"}
    assert levels["high-level alarm"] == {
        "level": "3.00 m", "stored": "30.0 m3", "to next": "10.0 m3",
    }  # fmt: skip
    spill = fields(form, "The spill")
    assert spill["lowest spill level"] == "4.00 m above the floor"
    assert spill["alarm level to spill"] == "10.0 m3"
    assert spill["spills at the dry peak"] == "600 L/min (Wed 00:00)"
    assert "water at lead start, 2.00 m" in form.notes[2]


def test_in_us_units() -> None:
    form = sheet(system="us")
    spill = fields(form, "The spill")
    # 10 m3 / 3.785411784 L per gallon; 10 L/s; 4 m
    assert spill["alarm level to spill"] == "2642 gal"
    assert spill["spills at the dry peak"] == "159 gpm (Wed 00:00)"
    assert spill["lowest spill level"] == "13.12 ft above the floor"
    text = csv_text(form)
    for metric in (" m3", " L/", " m,", " m above"):
        assert metric not in text


@pytest.mark.parametrize("name", ["mill-reach", "osier-wharf", "heron-ditch", "quarry-row-us"])
def test_minutes_and_flows_are_those_of_the_24_hour_table(name: str) -> None:
    loaded = load(SCENARIOS / f"{name}.toml")
    station, what = loaded.station, loaded.episode
    source = Source(name, loaded.digest, loaded.text)
    form = station_sheet(station, what, "si", source=source)
    table = station_hours(name, station, what, HoursAsked())
    hours = part(form, "Minutes")
    for row in table.hours:
        of = f"{row.day} {row.weather}" if table.has_wet else row.day
        entries = hours[f"{row.hour:02d}:00"]
        assert entries[f"{of} alarm"] == f"{row.alarm_s / 60.0:.0f}"
        assert entries[f"{of} spill"] == f"{row.spill_s / 60.0:.0f}"
    assert len(hours["00:00"]) == 2 * len(table.blocks)
    for weather in {row.weather for row in table.hours}:
        most = max(row.inflow_m3s for row in table.hours if row.weather == weather)
        told = str(fields(form, "The spill")[f"spills at the {weather} peak"])
        number = float(told.split(" L/min", maxsplit=1)[0].replace(",", ""))
        assert number == pytest.approx(most * 60_000.0, abs=0.5)
    assert loaded.digest[:12] in form.notes[0]
    assert station_sheet(station, what, "si", table, source=source) == form


def test_what_is_asked_of_the_table_is_asked_of_the_sheet() -> None:
    asked = HoursAsked(days=("sunday",), start_level="stop", added_m3s=0.010)
    form = station_sheet(duplex(), episode(DAY_S, 0.010), "si", asked=asked)
    # from 1 m: 20 m3 to the alarm, 30 m3 to the spill, at 10 and at 20 L/s
    assert part(form, "Minutes")["05:00"] == {
        "Sun dry alarm": "33", "Sun dry spill": "50", "Sun wet alarm": "17", "Sun wet spill": "25",
    }  # fmt: skip
    assert "water at stop, 1.00 m" in form.notes[2]
    assert str(fields(form, "The spill")["spills at the wet peak"]).startswith("1,200 L/min")


def test_without_an_alarm_level_there_are_no_minutes_to_it() -> None:
    form = sheet(duplex(alarms=AlarmSettings()))
    assert set(part(form, "Minutes")["00:00"]) == {"Wed spill", "Sat spill"}
    assert fields(form, "The spill")["alarm level to spill"] == "no such alarm is set"


def test_without_a_level_of_spill_it_is_refused_as_the_table_is() -> None:
    with pytest.raises(InputError) as refused:
        sheet(duplex(spillway=None))
    with pytest.raises(InputError) as table:
        station_hours("duplex", duplex(spillway=None), episode(DAY_S, 0.01), HoursAsked())
    assert "no level of spill is given" in str(refused.value)
    assert "no level of spill is given" in str(table.value)


@pytest.mark.parametrize(
    ("flows", "arriving", "told"),
    [
        ((0.03, 0.03, 0.03), 0.029, "any one of the three pumps is enough"),
        ((0.03, 0.03, 0.03), 0.031, "any two of the three pumps are enough"),
        ((0.03, 0.03, 0.03), 0.089, "all three pumps are needed"),
        ((0.03, 0.03, 0.03), 0.091, "not even all three pumps together are enough"),
        # of unlike ones the weakest count
        ((0.01, 0.05, 0.05), 0.055, "any two of the three pumps are enough"),
        ((0.01, 0.05, 0.05), 0.065, "all three pumps are needed"),
    ],
)
def test_how_many_pumps_carry_the_peak(
    flows: tuple[float, ...], arriving: float, told: str
) -> None:
    assert pumps_that_carry(triplex(flows), arriving, 2.0) == told


# ------------------------------------------------------------------------------------------- power


def test_what_a_generator_must_carry_by_closed_form() -> None:
    levels = {"restart_stagger_s": 10.0}
    form = sheet(plated(duplex(levels=levels)))
    each_va = math.sqrt(3.0) * 400.0 * 20.0
    loads = part(form, "What a generator")
    for number in (1, 2):
        running = number * each_va + 1000.0
        entries = loads["1 pump" if number == 1 else "2 pumps"]
        assert entries["running"] == f"{running / 1e3:.1f} kVA"
        # direct on line: six times, and it runs already
        last = running + 5.0 * each_va
        assert entries["at the last start"] in (f"{last / 1e3:.1f} kVA", f"{last / 1e3:.0f} kVA")
        assert entries["draws"] == f"{number * 10.0 / 0.88 + 1.0:.1f} kW"
    assert list(loads) == ["1 pump", "2 pumps"]
    assert fields(form, "Starts")["after power is back"] == "one by one, 10 s apart, up to 2"
    assert part(form, "Pumps")["P1"] == {
        "output": "10.0 kW", "starter": "direct", "current": "20.0 A",
        "running": "13.9 kVA", "starting": "83.1 kVA",
    }  # fmt: skip
    assert "look at the panel" in form.notes[-1]


def test_without_a_stagger_all_start_at_once() -> None:
    form = sheet(plated())
    assert "2 start AT ONCE" in str(fields(form, "Starts")["after power is back"])
    each_va = math.sqrt(3.0) * 400.0 * 20.0
    together = 12.0 * each_va + 1000.0
    entry = part(form, "What a generator")["2 pumps, started at once"]["at the last start"]
    assert entry == f"{together / 1e3:.0f} kVA"


@pytest.mark.parametrize("name", ["osier-wharf", "heron-ditch"])
def test_what_a_generator_must_carry_agrees_with_the_criterion(name: str) -> None:
    loaded = load(SCENARIOS / f"{name}.toml")
    form = station_sheet(loaded.station, loaded.episode, "si")
    plant = loaded.station.ratings.generator
    assert plant is not None
    number = plant.most_running or len(loaded.station.pumps)
    judged = only(fitness_of(loaded.station, loaded.episode).judged, "generator start")
    line = "1 pump" if number == 1 else f"{number} pumps"
    told = str(part(form, "What a generator")[line]["at the last start"])
    assert float(told.removesuffix(" kVA")) == pytest.approx(judged.limit / 1e3, rel=0.005)


def test_sets_fuel_and_bypass_as_the_file_gives_them() -> None:
    plant = Generator(
        80e3, rated_va=100e3, start_va=250e3, most_running=1, fuel_m3_per_s=5e-6, tank_m3=0.36
    )
    mobile = GeneratorSet(
        rated_w=40e3, fuel_loads=(0.0, 1.0), fuel_rates_m3_per_s=(1e-6, 4e-6), tank_m3=0.1,
        may_start=("P1",),
    )  # fmt: skip
    station = plated(
        duplex(
            engine_pump=engine_pump(0.04, fuel_m3_per_s=5e-6, tank_m3=0.18),
            bypass_pump=bypass_pump(0.05),
            standby_power=StandbyPower(mobile=mobile),
        ),
        generator=plant,
        bypass=BypassConnection(0.15, flow_m3s=0.04, suction_lift_m=4.2),
    )
    form = sheet(station)
    sets = part(form, "Generators")
    heads = ["fixed set", "mobile set", "E1", "bypass B1"]
    expected = {
        "rated output": ["80.0 kW", "40.0 kW", "-", "-"],
        "rated apparent output": ["100 kVA", None, "-", "-"],
        "carries at a start": ["250 kVA", None, "-", "-"],
        "pumps that may run on it": ["1 at once", "P1", "-", "-"],
        "plug / connector": [None, None, "-", "-"],
        "phase rotation": [None, None, "-", "-"],
        "fuel tank": ["360 L", "100 L", "180 L", None],
        # by its table of fuel, at its rated output: 4e-6 m3/s, so 0.1 m3 lasts 25 000 s
        "burns at full load": ["18.0 L/h", "14.4 L/h", "18.0 L/h", None],
        "full tank lasts": ["20 h", "6 h 57 min", "10 h", None],
        "flow of one set alone at 2.00 m": ["-", "-", "40.0 L/s", "50.0 L/s"],
    }
    assert sets == {line: dict(zip(heads, told, strict=True)) for line, told in expected.items()}
    assert fields(form, "Bypass") == {
        "riser size": "150 mm",
        "thread or coupling": None,
        "suction hose length": None,
        "lift from lowest water": "4.2 m",
        "flow meant for it": "40.0 L/s",
    }


# ------------------------------------------------------------------------------------------ blanks


def test_what_the_file_does_not_say_is_blank() -> None:
    form = sheet()
    blank = {(part, line, what) for part, line, what, entry in form.rows if entry is None}
    for line in ("where, and how it shows", "receiving water"):
        assert ("The spill", line, "") in blank
    assert ("The spill", "reporting threshold (local rules decide)", "") in blank
    assert all(entry is None for entry in fields(form, "Site").values())
    assert set(fields(form, "Site")) >= {"downstream limit", "access, parking", "key, gate, code"}
    assert all(entry is None for entry in fields(form, "Bypass").values())
    for name in (
        "Pumps",
        "What a generator",
        "Generators",
        "Steps",
        "Who is called",
    ):
        for entries in part(form, name).values():
            assert set(entries.values()) == {None}, name
    assert fields(form, "Starts")["supply"] is None
    assert form.blank == ("entry",)


def test_a_plate_that_says_little_leaves_the_rest_blank() -> None:
    station = rated(duplex(), plates={"P1": MotorPlate(rated_w=10e3)}, service=SERVICE)
    pumps = part(sheet(station), "Pumps")
    assert pumps["P1"]["output"] == "10.0 kW"
    assert pumps["P1"]["current"] is None
    assert pumps["P1"]["starting"] is None
    assert set(pumps["P2"].values()) == {None}
    assert set(part(sheet(station), "What a generator")["1 pump"].values()) == {None}


# --------------------------------------------------------------------------------- steps and people


def test_steps_stand_in_the_order_of_the_response() -> None:
    steps = part(sheet(response=response()), "Steps")
    told = [tuple(entries.values())[:4] for entries in steps.values()]
    assert told == [
        ("alarm to the first phone", "-", "-", "0.5-3-15"),
        ("look around on site", "-", "-", "5-10-20"),
        ("reset", "1", "-", "2-5-10"),
        ("set right", "1", "-", "2-5-10"),
        ("clear rags", "2", "-", "20-40-90"),
        (
            "connect mobile generator (licensed, and not alone)",
            "2",
            "mobile generator, fetched 10-15-30",
            "12-20-50",
        ),
        ("connect bypass pump", "3", "bypass set, fetched 20-30-60", "30-45-90"),
        ("refuel", "1", "-", None),  # no time is given
        (
            "haul",
            "who brings it",
            "tanker, delivered 30-45-90, 10.0 m3 a load, away 25-35-60",
            "5-10-15",
        ),
        ("pull a pump", "3", "lifting gear: none to be had", "60-90-180"),
    ]
    assert {entries["done at"] for entries in steps.values()} == {None}


def test_the_call_list_has_its_order_and_room_for_numbers() -> None:
    calls = part(sheet(response=response()), "Who is called")
    assert calls["1"] == {
        "who": "operator on call (22:00 to 06:30)",
        "phone": None,
        "answers": "1-5-30; night 2-8-40",
        "to site": "15-35-110",
        "at night": "20-45-130",
    }
    assert [entries["who"] for entries in calls.values()][1:] == [
        "second operator", "electrician on call", "supervisor",
    ]  # fmt: skip
    assert calls["2"]["at night"] == "as by day"
    assert {entries["phone"] for entries in calls.values()} == {None}


# ---------------------------------------------------------------------------- cautions and writing


def test_cautions_stand_on_the_sheet_in_full() -> None:
    form = sheet()
    told = " ".join(form.cautions)
    for words in (
        "Local codes", "licensed practice come first", "planning and teaching tool",
        "controls nothing", "Confined space and gas", "Electricity", "Backfeed", "lock out",
        "starts by itself", "Traffic", "Hygiene",
    ):  # fmt: skip
        assert words in told, words
    page = read(sheet_page_of(form)).text
    for line in form.cautions:
        assert line in page


@pytest.mark.parametrize("format_", ["csv", "xlsx"])
def test_it_opens_again_as_csv_and_as_a_workbook(format_: str, tmp_path: Path) -> None:
    form = sheet(plated(), response=response())
    file = tmp_path / f"sheet.{format_}"
    if format_ == "csv":
        file.write_text(csv_text(form), encoding="utf-8")
    else:
        file.write_bytes(workbook([form]))
    filled = read_filled(file, form.name, PART_COLUMNS)
    assert filled.header == PART_COLUMNS
    assert not filled.broken
    assert list(filled.rows) == [
        tuple("" if value is None else str(value) for value in row) for row in form.rows
    ]
    table = pd.read_csv(file, comment="#") if format_ == "csv" else pd.read_excel(file, form.name)
    assert tuple(table.columns) == PART_COLUMNS
    assert len(table) == len(form.rows)
    assert int(table["entry"].isna().sum()) == sum(row[3] is None for row in form.rows)


def study(form: Form) -> StudyResult:
    return StudyResult(
        study="rehearse",
        subject="duplex",
        tables={"hours": pd.DataFrame({"hour": [0.0]})},
        tell=lambda _: ["It holds."],
        show=lambda _: [],
        forms=lambda _: [form],
    )


def test_a_study_writes_it_with_its_other_files(tmp_path: Path) -> None:
    folder = study(sheet()).save(tmp_path / "out", ("csv", "xlsx"))
    assert (folder / "station_sheet.csv").read_text(encoding="utf-8") == csv_text(sheet())
    assert (folder / WORKBOOK).exists()
    (page,) = write_sheets([sheet()], folder)
    assert page == folder / "station_sheet.html"
    assert page.read_text(encoding="utf-8") == sheet_page_of(sheet())


def test_every_entry_and_every_blank_stands_on_the_page() -> None:
    loaded = load(SCENARIOS / "osier-wharf.toml")
    form = station_sheet(*with_everything(loaded.station, loaded.episode), "si")
    tree = read(sheet_page_of(form))
    cells = [cell for table in tree.all("table") for cell in table.all("td")]
    texts = [cell.text for cell in cells]
    for _part, line, _what, entry in form.rows:
        assert entry is None or entry in texts, line
    blanks = [cell for cell in cells if cell.attributes.get("class") == "blank"]
    assert len(blanks) == sum(row[3] is None for row in form.rows)
    assert not any(cell.text for cell in blanks)
    assert next(iter(tree.all("caption"))).text == "Minutes to alarm and to spill"
    assert len(tree.all("caption")) == len(form.parts)


def test_a_page_of_the_study_holds_it_once_and_asks_for_no_boxes() -> None:
    text = page_of(study(sheet()), figures={})
    tree = read(text)
    (section,) = [one for one in tree.all("section") if one.attributes.get("class") == "onepage"]
    assert len(section.all("caption")) == len(sheet().parts)
    assert "station_sheet.csv" in section.text
    assert "To fill in" not in tree.text


def test_no_text_of_a_scenario_becomes_markup() -> None:
    name = "<script>alert(1)</script> & <b>"
    form = sheet(dataclasses.replace(duplex(), name=name))
    text = sheet_page_of(form)
    assert "<script" not in text
    assert name in read(text).text
    assert "default-src 'none'" in text


# --------------------------------------------------------------------------------- forms in parts


def in_parts(**changes: Any) -> Form:
    given: dict[str, Any] = {
        "name": "sheet",
        "title": "A sheet",
        "columns": PART_COLUMNS,
        "rows": (("A", "x", "", None), ("A", "y", "", "1 m")),
        "blank": ("entry",),
        "parts": {"A": "short"},
    }
    return Form(**(given | changes))


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"columns": ("part", "line", "what", "read"), "blank": ()}, "the columns are part, line"),
        ({"rows": (("A", "x", "", None),) * 2}, "a place twice: A, x, "),
        ({"rows": (("B", "x", "", None),)}, "how is part 'B' laid"),
    ],
)
def test_a_form_in_parts_that_does_not_fit_is_refused(changes: dict[str, Any], told: str) -> None:
    with pytest.raises(ValueError, match=told):
        in_parts(**changes)


def test_a_form_that_is_a_list_has_no_page_of_its_own(tmp_path: Path) -> None:
    form = in_parts(parts={})
    with pytest.raises(ValueError, match="not in parts"):
        sheet_page_of(form)
    assert write_sheets([form], tmp_path) == []
    assert list(tmp_path.iterdir()) == []
