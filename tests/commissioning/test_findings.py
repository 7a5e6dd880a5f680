"""What a record says afterwards, in the types the sums use."""

from datetime import date

import pytest

from sootline.commissioning import findings
from sootline.commissioning.baseline import Baseline
from sootline.commissioning.record import Record, add, dumps, loads

DAY = date(2026, 1, 10)
ICE = {"sensor": "thermocouple", "reading_C": 0.4}
BOIL = {"ice_C": 0.4, "reading_C": 100.3, "station_hPa": 1013.25}
TRAVEL = {"volumes_l": [0.44, 0.45, 0.46]}


def poured(record: Record, time_s: float, oil_C: float, on: date = DAY) -> Record:
    values = {"volume_l": 2.0, "time_s": time_s, "runs": 4, "oil_C": oil_C, "pump_A": 0.2}
    return add(record, "refill_delivery", on, "Maud", values)


def test_an_empty_record_says_nothing() -> None:
    record = Record("engine-shed")
    assert findings.correction(record, "stack") is None
    assert findings.deliveries(record) == []
    assert findings.differential_l(record) is None
    assert findings.refill_time(record, 15.0) is None
    assert findings.air_table(record) is None
    assert findings.clean_baseline(record) is None


def test_the_boiling_point_refines_the_ice_point() -> None:
    record = add(Record("engine-shed"), "ice_point", DAY, "Maud", ICE, "stack")
    iced = findings.correction(record, "stack")
    assert iced is not None
    assert (iced.offset_K, iced.slope) == (0.4, 1.0)
    boiled = findings.correction(add(record, "boiling_point", DAY, "Maud", BOIL, "stack"), "stack")
    assert boiled is not None
    assert boiled.corrected_C(0.4) == 0.0
    assert boiled.corrected_C(100.3) == pytest.approx(100.0, abs=0.01)
    assert findings.correction(record, "tank") is None


def test_refill_time_follows_the_oil_temperature() -> None:
    record = add(poured(poured(Record("engine-shed"), 80, 5), 60, 25), "float_travel", DAY, "Maud", TRAVEL)
    cold, warm = findings.refill_time(record, 5), findings.refill_time(record, 25)
    assert cold is not None
    assert warm is not None
    assert cold.expected_s == pytest.approx(0.45 / (2 / 80))
    assert warm.expected_s == pytest.approx(0.45 / (2 / 60))


def test_a_new_delivery_replaces_the_old_at_its_temperature() -> None:
    later = date(2027, 1, 10)
    record = poured(poured(poured(Record("engine-shed"), 80, 5), 60, 25), 66, 25, later)
    assert sorted(point.l_per_s for point in findings.deliveries(record)) == pytest.approx([2 / 80, 2 / 66])


def test_everything_survives_the_file() -> None:
    record = add(Record("engine-shed"), "float_travel", DAY, "Maud", TRAVEL)
    air = {"pressures_kPa": [83, 97, 110], "flows_l_per_h": [4, 4.5, 5], "nozzle_C": 85, "oil": "15W-40"}
    record = add(record, "air_flow", DAY, "technician", air)
    clean = {"net_K": [230, 231, 229, 232, 230], "firing_min": [25] * 5, "fuel": "15W-40", "outdoor_C": 2}
    record = loads(dumps(add(record, "baseline", DAY, "Maud", clean)))
    assert findings.differential_l(record) == pytest.approx(0.45)
    table = findings.air_table(record)
    assert table is not None
    assert table.oil_l_per_h(97e3) == 4.5
    assert findings.clean_baseline(record) == Baseline(230.0, pytest.approx(1.4826), pytest.approx(3.0))
