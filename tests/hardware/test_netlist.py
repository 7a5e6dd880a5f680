"""Circuits: complete, insulated, fused; the sensor board stays extra-low voltage."""

from collections import Counter

import pytest

from hardware.generate.checks.circuits import BRIDGES
from hardware.generate.load import STAGES, Hardware

# IEC 60664-1 as commonly quoted (from memory): 250 V, pollution degree 3, material group IIIa.
REINFORCED_CREEPAGE_MM = 8.0


def test_no_net_ends_nowhere(hardware: Hardware) -> None:
    for netlist in (*hardware.stages.values(), hardware.sensor_board):
        ends = Counter(net for part in netlist.parts for net in part.nets)
        assert set(ends) == set(netlist.nets)
        assert all(count >= 2 for net, count in ends.items() if net not in netlist.ports)


def test_only_insulating_parts_join_two_domains(hardware: Hardware) -> None:
    bridging = 0
    for netlist in (*hardware.stages.values(), hardware.sensor_board):
        for part in netlist.parts:
            if len({netlist.nets[net] for net in part.nets}) > 1:
                bridging += 1
                assert part.kind in BRIDGES
                assert part.fields["viso_v"] >= 3750
                assert part.fields["creepage_mm"] >= REINFORCED_CREEPAGE_MM
    assert bridging == 4  # one opto in each stage, one in the board's own 24 V input


def test_the_sensor_board_has_no_mains_net_and_no_relay(hardware: Hardware) -> None:
    board = hardware.sensor_board
    assert set(board.nets.values()) == {"selv", "24vac"}
    assert not board.of_kind("relay_driver")
    assert [net for net, domain in board.nets.items() if domain == "24vac" and net.startswith("X")] == ["X9_1", "X9_2"]


@pytest.mark.parametrize("name", STAGES)
def test_current_from_l_passes_the_fuse_then_every_series_resistor(hardware: Hardware, name: str) -> None:
    netlist = hardware.stages[name]
    fuse = netlist.of_kind("fuse")[0]
    assert "L" in fuse.nets
    assert [part.ref for part in netlist.parts if "L" in part.nets] == [fuse.ref]
    least = 2 if name == "a24" else 3
    assert len(netlist.meta["series"]) >= least


def test_every_sense_is_across_a_load_or_round_its_conductor(hardware: Hardware) -> None:
    assert {sense["across"] for sense in hardware.senses} == {"load"}
    assert not any(sense["on_thermostat_pair"] for sense in hardware.senses)
    mains = [sense for sense in hardware.senses if sense["domain_in"] == "mains"]
    assert mains
    assert all(sense["certified"] and sense["qualified_person"] for sense in mains)
    assert {sense["variant"] for sense in mains} == {"current_switch", "relay"}


def test_heaters_are_sensed_by_current(hardware: Hardware) -> None:
    # A voltage sense behind a solid-state relay reads on when the heater is open: see test_spice.
    for signal_id in ("di_tank_heat", "di_noz_heat"):
        assert hardware.sense_of(signal_id)["variant"] == "current_switch"


def test_every_signal_of_the_pin_map_is_wired(hardware: Hardware) -> None:
    controller = hardware.sensor_board.of_kind("controller")[0]
    assert set(controller.pins) == {"v5", "v3v3", "gnd"} | {signal.id for signal in hardware.signals}


def test_the_seven_rules_are_there(hardware: Hardware) -> None:
    assert list(hardware.rules) == [f"R{number}" for number in range(1, 8)]
    assert all({"text", "field", "must"} <= set(rule) for rule in hardware.rules.values())
