"""The presence stages in ngspice: thresholds, levels, stray wiring, leaking relays, single faults, 50 and 60 Hz.

The golden figures of expected.toml come from generate/stage.py; ngspice is the second, independent way to them.
"""

import numpy as np
import pytest

from hardware.generate.load import FOLDER, STAGES, Hardware, Netlist
from hardware.generate.spice import Runs, deck, full_wave, half_wave
from hardware.generate.stage import (
    EASY,
    HARD,
    SUPPLY_V,
    TYPICAL,
    UNRANKED,
    Circuit,
    Corner,
    led_average_a,
    operate_v,
    output_range,
    release_v,
    stress,
)

VIL_V = 0.8  # the lower of both boards
VIH_V = 2.475  # the higher
FREQUENCIES = (50.0, 60.0)
# IEC 61131-2 type 1 inputs: off below / on above. 120 and 230 V rows as data sheets quote them, 24 V from memory.
IEC_TYPE_1 = {"a24": (5.0, 14.0), "b120": (20.0, 79.0), "c230": (40.0, 164.0)}


def settled(runs: Runs, netlist: Netlist, corner: Corner, supply: str, feed: str = "", on: bool = True) -> np.ndarray:
    """Output over the last 100 ms of 0.6 s, the filter starting on the far side."""
    start = SUPPLY_V if on else 0.0
    text = deck(netlist, corner, supply, stop_s=0.6, start_s=0.5, output_v=start, feed=feed)
    return runs.run(text)["v(pin)"]


def reads(output: np.ndarray) -> str:
    return "on" if output.max() < VIL_V else "off" if output.min() > VIH_V else "between"


@pytest.mark.parametrize("name", STAGES)
@pytest.mark.parametrize("hz", FREQUENCIES)
def test_thresholds_lie_where_expected(hardware: Hardware, runs: Runs, name: str, hz: float) -> None:
    netlist, expected = hardware.stages[name], hardware.expected[name]
    tolerance = hardware.expected["tolerance"]
    operate, release = expected["operate_v"], expected["release_v"]
    assert reads(settled(runs, netlist, HARD, full_wave(operate * (1 + tolerance), hz))) == "on"
    assert reads(settled(runs, netlist, HARD, full_wave(operate * (1 - tolerance), hz))) != "on"
    assert reads(settled(runs, netlist, EASY, full_wave(release * (1 - tolerance), hz), on=False)) == "off"
    assert reads(settled(runs, netlist, EASY, full_wave(release * (1 + tolerance), hz), on=False)) != "off"


@pytest.mark.parametrize("name", STAGES)
def test_golden_figures_are_those_of_the_calculation(hardware: Hardware, name: str) -> None:
    netlist, expected = hardware.stages[name], hardware.expected[name]
    supply = netlist.meta["supply_v"]
    circuit = Circuit.of(netlist)
    grid = np.linspace(0.05, 1.1, 106) * supply["nom"]
    approx = {"rel": hardware.expected["tolerance"]}
    assert operate_v(circuit, HARD, 50.0, grid, VIL_V) == pytest.approx(expected["operate_v"], **approx)
    assert operate_v(circuit, UNRANKED, 50.0, grid, VIL_V) == pytest.approx(expected["unranked_operate_v"], **approx)
    assert release_v(circuit, EASY, 50.0, grid, VIH_V) == pytest.approx(expected["release_v"], **approx)
    corners = ((HARD, supply["min"]), (TYPICAL, supply["nom"]), (EASY, supply["max"]))
    led = [1e3 * led_average_a(circuit, corner, volts) for corner, volts in corners]
    assert led == pytest.approx(expected["led_ma"], **approx)
    found = [stress(netlist, TYPICAL, supply["nom"]), stress(netlist, EASY, supply["max"])]
    assert [1e3 * s.input_a for s in found] == pytest.approx(expected["input_ma"], **approx)
    assert [s.chain_w for s in found] == pytest.approx(expected["series_w"], **approx)
    half = output_range(circuit, HARD, np.array([float(supply["min"])]), 50.0, "half")[1][0]
    assert half == pytest.approx(expected["half_wave_v"], **approx)


@pytest.mark.parametrize("name", STAGES)
def test_thresholds_lie_inside_the_window_of_iec_61131_2(hardware: Hardware, name: str) -> None:
    expected, supply = hardware.expected[name], hardware.stages[name].meta["supply_v"]
    off_below, on_above = IEC_TYPE_1[name]
    assert expected["window"] == {"off_below_v": off_below, "on_above_v": on_above}
    assert off_below < expected["release_v"] < expected["operate_v"] < min(on_above, supply["min"])


@pytest.mark.parametrize("name", STAGES)
@pytest.mark.parametrize("hz", FREQUENCIES)
@pytest.mark.parametrize("wave", [full_wave, half_wave])
def test_least_supply_reads_on_and_none_reads_off_on_both_boards(
    hardware: Hardware, runs: Runs, name: str, hz: float, wave: object
) -> None:
    netlist = hardware.stages[name]
    supply = full_wave if wave is full_wave else half_wave
    for corner in (HARD, TYPICAL):
        output = settled(runs, netlist, corner, supply(netlist.meta["supply_v"]["min"], hz))
        for chip in hardware.boards.values():
            assert output.max() < chip["vil_v"]
    off = settled(runs, netlist, EASY, "0", on=False)
    assert off.min() > 2.9


@pytest.mark.parametrize("name", ["b120", "c230"])
def test_an_unsorted_opto_fails_at_least_supply(hardware: Hardware, runs: Runs, name: str) -> None:
    """Guards the rank in the parts list: at CTR 20 % the stage does not work."""
    netlist = hardware.stages[name]
    volts = netlist.meta["supply_v"]["min"]
    assert reads(settled(runs, netlist, UNRANKED, full_wave(volts, 50.0))) != "on"
    assert hardware.bom["opto-ac-wide"].min_spec["ctr"] >= 0.5


@pytest.mark.parametrize("name", STAGES)
@pytest.mark.parametrize("length_nf", [2, 5])
def test_an_open_conductor_beside_a_live_one_reads_off(
    hardware: Hardware, runs: Runs, name: str, length_nf: int
) -> None:
    """2 nF is some 20 m of cable, 5 nF some 50 m (100 pF/m, common practice)."""
    netlist = hardware.stages[name]
    supply = full_wave(netlist.meta["supply_v"]["max"], 60.0)
    output = settled(runs, netlist, EASY, supply, feed=f"Cstray line L {length_nf}n", on=False)
    assert reads(output) == "off"


def behind_ssr(snubber_nf: float, load_ohm: float | None = None, bleeder_ohm: float = 0) -> str:
    """A switched-off solid-state relay: its snubber of 100 ohm and `snubber_nf` still joins line and load."""
    parts = ["Rsnub line snub 100", f"Csnub snub L {snubber_nf:g}n"]
    parts += [f"Rload L N {load_ohm:g}"] if load_ohm else []
    parts += [f"Rbleed L N {bleeder_ohm:g}"] if bleeder_ohm else []
    return "\n".join(parts)


@pytest.mark.parametrize("name", STAGES)
@pytest.mark.parametrize("row", range(4))
def test_solid_state_relay_with_its_load_open(hardware: Hardware, runs: Runs, name: str, row: int) -> None:
    """Documents the hazard: a voltage sense says ON for a heater that is open circuit, until a bleeder is fitted."""
    netlist = hardware.stages[name]
    snubber_nf, expected, bleeder_ohm = hardware.expected[name]["ssr"][row]
    volts = netlist.meta["supply_v"]["max"]
    hz = 50.0 if name == "c230" else 60.0
    supply = full_wave(volts, hz)
    assert reads(settled(runs, netlist, EASY, supply, behind_ssr(snubber_nf), on=False)) == expected
    load_ohm = {"a24": 28.8, "b120": 106.0, "c230": 106.0}[name]
    for ohm in (load_ohm, 2000.0):
        assert reads(settled(runs, netlist, EASY, supply, behind_ssr(snubber_nf, load_ohm=ohm), on=False)) == "off"
    if bleeder_ohm:
        with_bleeder = behind_ssr(snubber_nf, bleeder_ohm=bleeder_ohm)
        assert reads(settled(runs, netlist, EASY, supply, with_bleeder, on=False)) == "off"
    else:
        assert expected == "off"


def test_the_hazard_is_real_on_both_mains_stages(hardware: Hardware) -> None:
    for name in ("b120", "c230"):
        assert [100, "on"] in [row[:2] for row in hardware.expected[name]["ssr"]]


def test_ignition_hash_on_a_dead_line_passes_a_capacitive_dropper_but_not_the_resistive_one(
    hardware: Hardware, runs: Runs
) -> None:
    """Why the dropper is resistive: 10 kHz hash beside an ignition transformer."""
    netlist = hardware.stages["b120"]
    hash_v = full_wave(20.0, 10_000.0)
    text = deck(netlist, EASY, hash_v, stop_s=0.2, start_s=0.18, step_s=2e-6, output_v=SUPPLY_V)
    resistive = runs.run(text)
    assert np.abs(resistive["i(vled)"]).mean() < 1e-6
    assert resistive["v(pin)"].min() > 2.9
    small = full_wave(5.0, 10_000.0)
    text = deck(netlist, EASY, small, stop_s=0.05, start_s=0.03, step_s=2e-6, output_v=SUPPLY_V)
    rows = [row for row in text.splitlines() if not row.startswith(("RR1 ", "RR2 ", "RR3 ", "Bopto "))]
    dropper = ["Cdrop f drop 100n", "Rdrop drop led 100"]
    capacitive = runs.run("\n".join([rows[0], *dropper, *rows[1:]]) + "\n")
    assert np.abs(capacitive["i(vled)"]).mean() > 1e-4


@pytest.mark.parametrize("name", STAGES)
@pytest.mark.parametrize("hz", FREQUENCIES)
def test_release_takes_under_a_quarter_second(hardware: Hardware, runs: Runs, name: str, hz: float) -> None:
    netlist = hardware.stages[name]
    volts = netlist.meta["supply_v"]["max"]
    text = deck(netlist, EASY, full_wave(volts, hz, off_at_s=0.3), stop_s=0.7, output_v=0.1)
    result = runs.run(text)
    late = result["time"][(result["time"] > 0.3) & (result["v(pin)"] > VIH_V)][0] - 0.3
    assert 0.05 < late < 0.25


FAULTS = {
    "shunt open": (lambda row: None if row.startswith("RR4 ") else row, "towards on"),
    "opto dead": (lambda row: None if row.startswith("Bopto ") else row, "off"),
    "filter capacitor short": (lambda row: "Rshort vnode 0 1m" if row.startswith("CIN_C2") else row, "on"),
    "LED capacitor short": (lambda row: "RC1 led N 1m" if row.startswith("CC1 ") else row, "off"),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_single_faults_only_ever_change_what_is_displayed(hardware: Hardware, runs: Runs, fault: str) -> None:
    netlist = hardware.stages["b120"]
    change, effect = FAULTS[fault]
    node = netlist.part("IN_C2").nets[0]

    def run(volts: float) -> dict[str, np.ndarray]:
        start = deck(netlist, TYPICAL, full_wave(volts, 60.0), stop_s=0.8, start_s=0.7, output_v=1.0)
        rows = [change(row) for row in start.splitlines()]
        text = "\n".join(row for row in rows if row is not None).replace("vnode", node) + "\n"
        return runs.run(text, ("v(pin)", "i(vled)", "v(f,led)"))

    nominal = run(120.0)
    drawn = float(np.max(np.abs(nominal["v(f,led)"]))) / 33_000
    assert drawn < 0.02
    assert reads(nominal["v(pin)"]) == ("on" if effect in ("on", "towards on") else "off")
    if effect == "towards on":  # found at commissioning: off must read off
        assert reads(run(10.0)["v(pin)"]) == "on"
        assert reads(settled(runs, netlist, TYPICAL, full_wave(10.0, 60.0), on=False)) == "off"


def test_50_and_60_hz_agree_on_the_led_current(hardware: Hardware, runs: Runs) -> None:
    netlist = hardware.stages["b120"]
    means = []
    for hz in FREQUENCIES:
        text = deck(netlist, TYPICAL, full_wave(120.0, hz), stop_s=0.2, start_s=0.1, step_s=5e-5)
        means.append(float(np.abs(runs.run(text)["i(vled)"]).mean()))
    assert means[0] == pytest.approx(means[1], rel=0.02)
    assert 1e3 * means[0] == pytest.approx(hardware.expected["b120"]["led_ma"][1], rel=0.03)


@pytest.mark.parametrize("name", STAGES)
def test_the_published_decks_run_and_read_on(runs: Runs, name: str) -> None:
    result = runs.run((FOLDER / "out" / f"{name}.cir").read_text(encoding="utf-8"))
    assert reads(result["v(pin)"][result["time"] > 0.5]) == "on"


def test_ngspice_says_what_is_wrong_with_a_deck(runs: Runs) -> None:
    with pytest.raises(RuntimeError, match="no table"):
        runs.run("* nothing\nR1 a 0\n.end\n")
