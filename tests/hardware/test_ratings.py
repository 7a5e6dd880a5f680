"""Stress on every part of the presence stages, whole and with any one series resistor shorted."""

import numpy as np
import pytest

from hardware.generate import spice, stage
from hardware.generate.load import STAGES, Hardware
from hardware.generate.stage import EASY, HARD, TYPICAL, Circuit, stress

DERATE = 0.6
LED_PEAK_MAX_A = 0.025  # half of the usual 50 mA of such parts
CLAMP_275_V = 710.0  # a 275 V varistor at its rated surge, data sheet
BOX_W_MAX = 1.0


@pytest.mark.parametrize("name", STAGES)
def test_power_and_led_current_with_any_one_resistor_shorted(hardware: Hardware, name: str) -> None:
    netlist = hardware.stages[name]
    volts = netlist.meta["supply_v"]["max"]
    for shorted in (None, *netlist.meta["series"]):
        found = stress(netlist, EASY, volts, shorted)
        rating = min(netlist.part(ref).w for ref in netlist.meta["series"])
        assert found.series_w <= DERATE * rating
        assert found.shunt_w <= DERATE * netlist.part("R4").w
        assert found.led_peak_a <= LED_PEAK_MAX_A


@pytest.mark.parametrize("name", STAGES)
def test_worst_single_fault_stays_below_the_stage_fuse(hardware: Hardware, name: str) -> None:
    """Rule R5: one part short changes the monitored circuit by less than the stage's fuse passes."""
    netlist = hardware.stages[name]
    fuse_a = netlist.of_kind("fuse")[0].value
    volts = netlist.meta["supply_v"]["max"]
    worst = max(stress(netlist, EASY, volts, ref).input_a for ref in netlist.meta["series"])
    assert worst < fuse_a / 5
    rule = hardware.rules["R5"]["must"]
    assert 1e3 * fuse_a <= rule


@pytest.mark.parametrize("name", STAGES)
def test_fuse_is_ten_times_the_steady_current(hardware: Hardware, name: str) -> None:
    netlist = hardware.stages[name]
    assert netlist.of_kind("fuse")[0].value >= 10 * stress(netlist, EASY, netlist.meta["supply_v"]["max"]).input_a


@pytest.mark.parametrize(("name", "surge_v", "without_v"), [("b120", 2500, 833), ("c230", 4000, 1333)])
def test_surge_is_shared_with_the_varistor_and_would_break_the_resistors_without(
    hardware: Hardware, name: str, surge_v: int, without_v: float
) -> None:
    netlist = hardware.stages[name]
    count = len(netlist.meta["series"])
    rating = min(netlist.part(ref).v for ref in netlist.meta["series"])
    assert netlist.meta["surge_v"] == surge_v
    assert surge_v / count == pytest.approx(without_v, abs=1)
    assert surge_v / count > rating
    assert CLAMP_275_V / count <= rating
    assert netlist.of_kind("mov")[0].fields["clamp_v"] == CLAMP_275_V


def test_control_transformer_gives_under_one_percent_to_three_stages(hardware: Hardware) -> None:
    """Rule R7."""
    sense = hardware.sense_of("di_call")
    drawn_va = 24.0 * stress(hardware.stages["a24"], TYPICAL, 24.0).input_a
    assert drawn_va / sense["transformer_va"] == pytest.approx(0.003, abs=0.0005)
    assert hardware.rules["R7"]["must"] * drawn_va < 0.01 * sense["transformer_va"]


def test_heat_in_the_sensor_box(hardware: Hardware) -> None:
    stage_w = stress(hardware.stages["a24"], EASY, 30.0).chain_w
    controller_w = 5.0 * 0.15  # mean current of a Wi-Fi controller, common practice
    assert stage_w + controller_w < BOX_W_MAX


def test_seven_mains_stages_would_cook_a_box(hardware: Hardware) -> None:
    """Why the mains stages are not in the sensor box, insulation apart."""
    heat_w = 7 * stress(hardware.stages["c230"], EASY, 265.0).chain_w
    assert heat_w > 4.5


def test_24_v_on_the_level_input_until_the_resettable_fuse_opens(hardware: Hardware) -> None:
    board = hardware.sensor_board
    burden = [part for part in board.of_kind("resistor") if set(part.nets) == {"loop", "gnd"}]
    assert 1 / sum(1 / part.value for part in burden) == pytest.approx(hardware.settings["level"]["burden_ohm"])
    for part in burden:
        assert 24.0**2 / part.value <= 6.25 * part.w  # 2.5 times rated voltage for 5 s, common film resistor limit
    into_rail_a = (24.0 - 3.6) / board.part("R26").value
    assert into_rail_a <= 0.021  # less than the board itself takes from 3.3 V


def test_contact_current_wets_gold_and_the_capacitor_cannot_weld_it(hardware: Hardware) -> None:
    contacts = {s["pinmap_id"] for s in hardware.senses if s["variant"] in ("relay", "dry", "leak_switch")}
    assert contacts
    for signal_id in contacts:
        pull = hardware.sensor_board.part(f"{signal_id}_R5").value
        series = hardware.sensor_board.part(f"{signal_id}_R7").value
        assert 3.3 / (pull + series) >= 1e-3
        assert 3.3 * series / (pull + series) < 0.8  # still reads on
        assert 3.3 / series <= 0.05  # discharge of the capacitor


@pytest.mark.parametrize("name", STAGES)
@pytest.mark.parametrize("shorted", [None, "R1"])
def test_ngspice_agrees_on_the_stress(hardware: Hardware, runs: spice.Runs, name: str, shorted: str | None) -> None:
    netlist = hardware.stages[name]
    volts = float(netlist.meta["supply_v"]["max"])
    text = spice.deck(netlist, EASY, spice.full_wave(volts, 50.0), stop_s=0.1, start_s=0.06, step_s=2e-5)
    if shorted:
        part = netlist.part(shorted)
        line = f"R{shorted} {part.nets[0]} {part.nets[1]} "
        text = "\n".join(f"{line}1m" if row.startswith(line) else row for row in text.splitlines()) + "\n"
    result = runs.run(text, ("i(vled)", "v(f,led)"))
    expected = stress(netlist, EASY, volts, shorted)
    peak = float(np.max(np.abs(result["i(vled)"])))
    assert peak == pytest.approx(expected.led_peak_a, rel=0.03)
    circuit = Circuit.of(netlist, shorted).at(EASY)
    rms = float(np.sqrt(np.mean(result["v(f,led)"] ** 2))) / circuit.series_ohm
    assert rms == pytest.approx(expected.input_a, rel=0.03)


def test_hard_corner_is_the_dimmest(hardware: Hardware) -> None:
    circuit = Circuit.of(hardware.stages["b120"])
    dim, bright = (stage.led_average_a(circuit, corner, 90.0) for corner in (HARD, EASY))
    assert dim < stage.led_average_a(circuit, TYPICAL, 90.0) < bright
