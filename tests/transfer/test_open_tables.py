"""Real tables: the hand log, probes and samples of eight tanks, summer 2023 (mcdr-mesocosm-tanks, MIT licence).

The data stay beside the checkout; without them these tests skip and say so. Figures are printed with -s.
"""

from __future__ import annotations

import base64
import csv
import re
from collections import Counter
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from uuid import uuid4

import numpy as np
import openpyxl
import pytest
from support.house import House
from support.requirements import beside_checkout

from service.science.carbonate import carbonate_system
from service.science.net_calcification import residence_hours
from service.transfer.imports import routes

FOLDER = "mcdr-mesocosm-tanks"
LOG = "Daily_TankSpotChecks_2023.xlsx"
READINGS = range(2, 12)  # the columns of temperature, salinity, pH, oxygen (surface, bottom) and flow (before, after)
MAPPING: dict[str, Any] = {
    "sheet": "Daily_Tank_SpotChecks",
    "header_rows": 2,
    "fill_down": ["Date"],
    "subjects": {str(number): f"tank-{number}" for number in range(1, 9)},
    "columns": [
        {"column": "Date", "use": "date"},
        {"column": "Sample ID", "use": "subject"},
        *(
            {"column": f"{heading} {place.title()}", "use": "reading", "sample_point": place, **what}
            for heading, what in (
                ("T (C)", {"quantity": "temperature", "unit": "Cel"}),
                ("Salinity (ppt)", {"quantity": "salinity", "unit": "1"}),
                ("pH (NBS)", {"quantity": "ph", "unit": "[pH]", "conditions": {"scale": "nbs"}}),
                ("DO (mg/L)", {"quantity": "dissolved_oxygen", "unit": "mg/L"}),
            )
            for place in ("surface", "bottom")
        ),
        *(
            {
                "column": f"{age} Flow Rate (L/min)",
                "use": "reading",
                "sample_point": f"{when} adjustment",
                "quantity": "inflow",
                "unit": "L/min",
            }
            for age, when in (("Old", "before"), ("New", "after"))
        ),
        {"column": "Time Start(PSD)", "use": "time", "otherwise": "note"},
        {"column": "Time Stop(PSD)", "use": "remark"},
        {"column": "Calibration (y/n)", "use": "remark"},
        {"column": "Initials", "use": "observer"},
        {"column": "Notes", "use": "note"},
    ],
}


def data(name: str) -> Path:
    return beside_checkout("data", FOLDER, name)


@pytest.fixture
def house(house: House) -> House:
    """A service in the autumn after, with the eight tanks and their inlet on one site."""
    house.now = datetime(2023, 9, 1, 12, tzinfo=UTC)
    site = house.a_site(tag="mesocosm", time_zone="America/Los_Angeles")
    for tag in ("inlet", *(f"tank-{number}" for number in range(1, 9))):
        house.a_system(site, tag=tag, name=tag, water_volume={"value": 4100, "unit": "L"})
    return house


def send(house: House, name: str, mapping: dict[str, Any], **more: Any) -> Any:
    """The answer to an import of a file beside the checkout."""
    content = base64.b64encode(data(name).read_bytes()).decode()
    sent = {"site": "mesocosm", "file": {"name": name, "base64": content}, "mapping": mapping, **more}
    return house.call("POST", "/v1/imports", sent)


def everything(house: House, path: str) -> list[dict[str, Any]]:
    """Every row of a list, page by page."""
    rows: list[dict[str, Any]] = []
    path = f"{path}&limit=1000"
    while path:
        response = house.send("GET", path)
        rows += response.json()
        path = (re.findall(r"<([^>]*)>", response.headers.get("link", "")) or [""])[0]
    return rows


def sheet_of(name: str, sheet: str) -> list[tuple[Any, ...]]:
    """The rows of a sheet of a workbook beside the checkout; drawings on it are of no interest."""
    book = openpyxl.load_workbook(data(name), data_only=True, read_only=True)
    try:
        return list(book[sheet].iter_rows(values_only=True))
    finally:
        book.close()


def printed_rows() -> dict[int, tuple[Any, ...]]:
    """The log as a spreadsheet shows it, read apart from the import: row number -> cells."""
    sheet = sheet_of(LOG, "Daily_Tank_SpotChecks")
    return {number: row for number, row in enumerate(sheet, start=1) if number > 2}


def is_number(cell: Any) -> bool:
    return isinstance(cell, int | float) and not isinstance(cell, bool)


def test_every_row_of_the_hand_log_is_stored_or_rejected_with_its_reason(house: House) -> None:
    printed = printed_rows()
    answer = send(house, LOG, MAPPING)
    results = {result["row"]: result for result in answer["results"]}
    assert sorted(results) == sorted(printed)
    assert len(printed) == 612

    with_reading = {number for number, row in printed.items() if any(is_number(row[place]) for place in READINGS)}
    with_words = {
        number
        for number, row in printed.items()
        if row[16] or (isinstance(row[12], str) and not re.match(r"\d", row[12]))
    }
    recorded = {number for number, result in results.items() if result["status"] == "recorded"}
    rejected = {number for number, result in results.items() if result["status"] == "rejected"}
    assert recorded | rejected == set(printed)
    assert recorded == with_reading | with_words
    for number in rejected:
        (fault,) = results[number]["faults"]
        assert fault["detail"].startswith("nothing to record"), number  # and so it is: no number, no word
    share = len(with_reading & recorded) / len(with_reading)
    print(
        f"hand log: {len(printed)} rows, {len(with_reading)} hold a reading, {100 * share:.1f} % of them stored; "
        f"{len(rejected)} rejected, every one without a number or a word; {answer['counts']['records']} records, "
        f"{answer['counts']['flagged']} flagged"
    )
    assert share >= 0.95

    stored = everything(house, "/v1/readings?site=mesocosm")
    numbers = Counter(float(row[place]) for row in printed.values() for place in READINGS if is_number(row[place]))
    assert Counter(reading["value"] for reading in stored) == numbers  # every number, as often as it is printed
    high = [reading for reading in stored if reading["quantity"] == "ph" and reading["value"] > 9]
    assert [(each["value"], each["flagged"]) for each in sorted(high, key=lambda each: each["value"])] == [
        (9.28, True), (9.55, True),
    ]  # fmt: skip
    wild = {each["value"]: each["flagged"] for each in stored if each["quantity"] == "inflow"}
    assert {72.0, 0.5} <= set(wild)

    notes = {event["what"] for event in everything(house, "/v1/maintenance-events?site=mesocosm")}
    texts = {row[12] for row in printed.values() if isinstance(row[12], str) and not re.match(r"\d", row[12])}
    assert texts == {"very low flow to start", "set flow to 14 L/min", "to mitigate warm", "weekend"}
    for text in texts:
        assert any(f"Time Start(PSD): {text}" in note for note in notes), text
    for row in printed.values():
        if row[16]:
            assert any(str(row[16]).strip() in note for note in notes), row[16]
    by_text = {"8:51AM": "08:51:00", "9:15:00AM": "09:15:00"}
    for number, row in printed.items():
        if row[12] in by_text:
            (first, *_) = results[number]["records"]
            taken_at = house.call("GET", f"/v1/readings/{first['id']}")["taken_at"]
            assert taken_at[11:19] == by_text[row[12]]

    initials = {name.strip() for row in printed.values() if row[15] for name in str(row[15]).split(",") if name.strip()}
    observers = {name for reading in stored if reading["observed_by"] for name in reading["observed_by"].split(", ")}
    written = {
        name.strip()
        for number in with_reading
        if printed[number][15]
        for name in str(printed[number][15]).split(",")
        if name.strip()
    }
    assert observers == written
    print(f"observers {sorted(observers)} of the initials {sorted(initials)}; notes {len(notes)}; pH 9.55 flagged")

    again = send(house, LOG, MAPPING)
    assert (again["counts"]["known"], again["counts"]["records"]) == (len(recorded), 0)


def test_the_probes_go_in_as_series(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(routes, "MOST_ROWS", 30_000)
    times = {"column": "datetime_pdt", "use": "date_and_time"}
    probes = [
        {"column": f"co2_ppm_{tank}", "use": "reading", "quantity": "pco2", "unit": "uatm", "subject": tag}
        for tank, tag in (("bare", "tank-3"), ("eelgrass", "tank-5"))
    ]
    gas = send(house, "csense_timeseries_corrected.csv", {"record_as": "series", "columns": [times, *probes]})
    pier = send(house, "MCRLdata_CTD_20230529-20230807.csv", {"record_as": "series", "subject": "inlet"})
    for name, answer, rows in (("carbon dioxide", gas, 24_951), ("pier", pier, 20_142)):
        reasons = Counter(re.sub(r"[-\d.]+", "#", f["detail"]) for r in answer["results"] for f in r["faults"][:1])
        print(f"{name}: {answer['counts']}; rejected: {dict(reasons)}")
        assert answer["counts"]["rows"] == rows
        assert answer["counts"]["recorded"] + answer["counts"]["rejected"] == rows
    assert pier["understood"]["mapping"]["time_zone"] == "UTC"
    assert pier["understood"]["mapping"]["date_order"] == "month_day_year"

    assert gas["counts"]["rejected"] == 0
    midnights = sum("inferred: time_of_day" in result["remarks"] for result in gas["results"])
    with data("csense_timeseries_corrected.csv").open(newline="") as file:
        bare = sum(len(row["datetime_pdt"]) == 10 for row in csv.DictReader(file))
    assert midnights == bare > 80  # the program that wrote the log leaves a midnight off
    (bad,) = [result for result in pier["results"] if result["status"] == "rejected"]
    assert {fault["sent"] for fault in bad["faults"]} == {"-9999"}  # the release's own mark for no value
    held = {(each["quantity"], each["count"]) for each in house.call("GET", "/v1/series/overview?site=mesocosm")}
    assert held == {
        ("pco2", 24_951), ("temperature", 20_141), ("salinity", 20_141), ("dissolved_oxygen", 20_141),
    }  # fmt: skip


def figure_rows() -> dict[str, np.ndarray]:
    """The authors' rows of the bare tank, as columns of numbers."""
    with data("241019_figure6_data.bare-rows.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    names = ("temp_c", "sal_psu", "ph_total", "co2_ppm_calc", "alk_umol_kg", "dic_umol_kg", "omega_aragonite")
    return {
        "at": np.array([row["datetime"] for row in rows]),
        **{
            name: np.array([float(row[name]) if row[name] not in ("", "NA") else np.nan for row in rows])
            for name in names
        },
    }


def test_the_authors_carbonate_chemistry_comes_out() -> None:
    """From pH (total scale) and pCO2, salinity and temperature of each row; their column of ppm is pCO2 in uatm."""
    rows = figure_rows()
    whole = np.isfinite(sum(column for name, column in rows.items() if name != "at"))
    state = carbonate_system(
        ph_total=rows["ph_total"][whole],
        pco2_atm=rows["co2_ppm_calc"][whole] * 1e-6,
        salinity=rows["sal_psu"][whole],
        temperature_c=rows["temp_c"][whole],
    )
    for name, found, printed in (
        ("alkalinity", state.alkalinity_mol_kg * 1e6, rows["alk_umol_kg"]),
        ("inorganic carbon", state.dic_mol_kg * 1e6, rows["dic_umol_kg"]),
        ("saturation of aragonite", state.omega_aragonite, rows["omega_aragonite"]),
    ):
        off = np.max(np.abs(found / printed[whole] - 1))
        print(f"{name}: {np.count_nonzero(whole)} of {len(whole)} rows, largest relative difference {off:.1e}")
        assert off < 3e-4, name
    assert len(whole) == 3_817
    assert np.count_nonzero(whole) >= 3_800


def test_the_consumption_of_that_tank_is_not_answerable_without_its_inlet(house: House) -> None:
    """Water runs through at 14 L/min, five times the tank a day: what it brings decides, and nobody measured it."""
    house.now = datetime(2023, 8, 21, 20, tzinfo=UTC)
    rows = figure_rows()
    (tank,) = [each for each in house.call("GET", "/v1/systems?site=mesocosm") if each["tag"] == "tank-3"]
    picked = [place for place in range(0, len(rows["at"]), 72) if np.isfinite(rows["alk_umol_kg"][place])]  # six hours
    items = [
        {
            "id": str(uuid4()),
            "subject_id": tank["id"],
            "quantity": "alkalinity",
            "value": float(rows["alk_umol_kg"][place]),
            "unit": "umol/kg",
            "conditions": {
                "salinity": float(rows["sal_psu"][place]),
                "temperature": float(rows["temp_c"][place]),
            },
            "taken_at": str(rows["at"][place]),
            "relative_sd": 0.02,  # of pH rounded to 0.01
            "confirm": True,
        }
        for place in picked
    ]
    results = house.call("POST", "/v1/readings/batch", {"items": items})["results"]
    assert {result["status"] for result in results} == {201}
    exchange = {
        "kind": "exchange",
        "system_id": tank["id"],
        "started_at": (datetime(2023, 8, 7, tzinfo=UTC)).isoformat(),
        "flow": {"value": 14, "unit": "L/min"},
    }
    (unknown,) = [house.call("PUT", f"/v1/additions/{uuid4()}", exchange)]
    path = f"/v1/systems/{tank['id']}/consumption?quantity=alkalinity"
    answer = house.call("GET", path)
    print(f"inlet unknown: estimate {answer['estimate']}, missing {[each['code'] for each in answer['missing']]}")
    assert answer["estimate"] is None
    assert "inlet_alkalinity" in [each["code"] for each in answer["missing"]]

    widths = {}
    for sd in (0.001, 0.03, 0.06):
        stated = {"alkalinity": {"value": 2.15, "unit": "meq/L"}, "relative_sd": sd}
        why = {"If-Match": f'"{unknown["version"]}"'}
        correction = {"reason": "the inlet is assumed, not measured", "new_water": stated}
        unknown = house.call("POST", f"/v1/additions/{unknown['id']}/corrections", correction, headers=why)
        found = house.call("GET", path)["estimate"]
        interval = f"{found['value']:.2f} ({found['low']:.2f} to {found['high']:.2f}) meq/L/d"
        print(f"inlet assumed 2.15 meq/L +- {100 * sd:g} %: {interval}")
        widths[sd] = found["high"] - found["low"]
    by_inlet = np.sqrt(widths[0.06] ** 2 - widths[0.001] ** 2)
    expected = 2 * 1.96 * 0.06 * 2.15 * 14 * 1440 / 4100
    share = by_inlet**2 / widths[0.06] ** 2
    print(
        f"at 6 % the inlet makes {100 * share:.0f} % of the variance: width {by_inlet:.2f} by it alone, "
        f"2 x 1.96 x sd x flow / volume by hand {expected:.2f}"
    )
    assert share > 0.6
    assert by_inlet == pytest.approx(expected, rel=0.1)


def test_volume_and_residence_time_are_those_of_the_sheet() -> None:
    """Length x width x height, and volume over flow, against ResidenceTime_eelgrasstanks.xlsx."""
    sheet = sheet_of("ResidenceTime_eelgrasstanks.xlsx", "Residence Time")
    compared = 0
    for row in sheet[1:9]:
        height, width, length, volume, *flows = (float(cell) for cell in row[1:7])
        assert height * width * length * 1000 == pytest.approx(volume, rel=1e-9)
        for flow, hours in zip(flows, row[9:11], strict=True):
            found = residence_hours(volume_l=volume, flow_l_h=np.array([flow * 60, flow * 60]))
            assert found == pytest.approx(float(hours), rel=1e-9)
            compared += 1
    assert compared == 16
