"""The firmware's own debouncer on simulated waveforms, at every phase of the mains, at slow and fast polling.

Between VIL and VIH a pin may read either way, so each case runs with the threshold at both ends and in the middle.
"""

from collections.abc import Iterator

import numpy as np
import pytest
from sootboard.debounce import BOOT_MUTE_MS, Debounce
from sootboard.drivers.contacts import Contacts

from hardware.generate.load import STAGES, Hardware, Netlist
from hardware.generate.spice import Runs, deck, full_wave, half_wave
from hardware.generate.stage import EASY, HARD, SUPPLY_V, Corner

PHASES = 40
POLLS_MS = (5, 8, 10, 20, 50)
FAST_POLLS_MS = (1, 2)  # three samples span less than half a mains period
ON_AT_S, OFF_AT_S, STOP_S = 0.6, 1.0, 1.5
STAMP_TOLERANCE_S = 0.2  # what the host is promised of the moment of a change


def switched(supply: str) -> str:
    return f"({supply})*(time > {ON_AT_S} ? 1 : 0)*(time < {OFF_AT_S} ? 1 : 0)"


def waveform(runs: Runs, netlist: Netlist, corner: Corner, supply: str) -> np.ndarray:
    """Pin voltage every 0.1 ms while the supply comes and goes."""
    text = deck(netlist, corner, switched(supply), stop_s=STOP_S, output_v=SUPPLY_V)
    result = runs.run(text)
    return np.interp(np.arange(0, STOP_S, 1e-4), result["time"], result["v(pin)"])


def polled(wave: np.ndarray, threshold_v: float, poll_ms: int, offset_ms: float) -> Iterator[tuple[bool, float]]:
    """(on, time in ms) at each poll; inputs are on when low."""
    times = np.arange(offset_ms, STOP_S * 1e3 - 1, poll_ms)
    for time_ms, volts in zip(times, wave[(times * 10).astype(int)], strict=True):
        yield bool(volts < threshold_v), float(time_ms)


def changes(wave: np.ndarray, threshold_v: float, poll_ms: int, offset_ms: float) -> list[tuple[bool, float]]:
    debounce = Debounce(samples=3)
    found = (debounce.update(level, t_ms) for level, t_ms in polled(wave, threshold_v, poll_ms, offset_ms))
    return [change for change in found if change]


def thresholds(hardware: Hardware) -> list[float]:
    ends = [(chip["vil_v"], chip["vih_v"]) for chip in hardware.boards.values()]
    low, high = min(low for low, _ in ends), max(high for _, high in ends)
    return [low, (low + high) / 2, high]


@pytest.mark.parametrize("name", STAGES)
@pytest.mark.parametrize(("hz", "wave"), [(50.0, full_wave), (60.0, full_wave), (50.0, half_wave), (60.0, half_wave)])
def test_no_false_edge_at_any_phase_and_pace(
    hardware: Hardware, runs: Runs, name: str, hz: float, wave: object
) -> None:
    netlist = hardware.stages[name]
    supply = (full_wave if wave is full_wave else half_wave)(netlist.meta["supply_v"]["min"], hz)
    output = waveform(runs, netlist, HARD, supply)
    for threshold_v in thresholds(hardware):
        for poll_ms in POLLS_MS:
            for phase in range(PHASES):
                found = changes(output, threshold_v, poll_ms, phase * 1e3 / hz / PHASES)
                assert [state for state, _ in found] == [False, True, False], (threshold_v, poll_ms, phase)


@pytest.mark.parametrize("name", STAGES)
@pytest.mark.parametrize("wave", [full_wave, half_wave])
def test_steady_levels_are_clean_even_when_polled_too_fast(
    hardware: Hardware, runs: Runs, name: str, wave: object
) -> None:
    netlist = hardware.stages[name]
    supply = (full_wave if wave is full_wave else half_wave)(netlist.meta["supply_v"]["min"], 50.0)
    output = waveform(runs, netlist, HARD, supply)
    on = output[int((ON_AT_S + 0.3) * 1e4) : int(OFF_AT_S * 1e4)]
    off = output[int((OFF_AT_S + 0.3) * 1e4) :]
    assert on.max() < min(thresholds(hardware))
    assert off.min() > max(thresholds(hardware))


@pytest.mark.parametrize("poll_ms", FAST_POLLS_MS)
def test_polling_too_fast_shows_the_ripple_of_the_ramp(hardware: Hardware, runs: Runs, poll_ms: int) -> None:
    """Negative control, and why the data hold the pace: half-wave ripple crosses the threshold more than once."""
    netlist = hardware.stages["b120"]
    output = waveform(runs, netlist, HARD, half_wave(90.0, 50.0))
    states = [state for state, _ in changes(output, 0.8, poll_ms, 0.0)]
    assert len(states) > 3
    bus = hardware.settings["bus"]
    assert (bus["debounce_samples"] - 1) * bus["poll_ms"] >= 20  # a whole period of 50 Hz


@pytest.mark.parametrize("name", STAGES)
def test_edges_are_stamped_within_the_promised_time(hardware: Hardware, runs: Runs, name: str) -> None:
    """Through the firmware's whole contact driver, which takes the filter's typical delay off each stamp."""
    netlist = hardware.stages[name]
    for corner, volts in ((HARD, netlist.meta["supply_v"]["min"]), (EASY, netlist.meta["supply_v"]["max"])):
        output = waveform(runs, netlist, corner, full_wave(volts, 50.0))
        for threshold_v in thresholds(hardware):
            for phase in range(0, PHASES, 5):
                pin = Pin()
                contacts = Contacts([(0, pin)])
                stamps = []
                for on, t_ms in polled(output, threshold_v, hardware.settings["bus"]["poll_ms"], phase * 0.5):
                    pin.level = 0 if on else 1
                    stamps += contacts.poll(t_ms) or []
                assert [bool(state) for _, _, state in stamps] == [True, False]
                (on_ms, _, _), (off_ms, _, _) = stamps
                assert abs(on_ms / 1e3 - ON_AT_S) <= STAMP_TOLERANCE_S
                assert abs(off_ms / 1e3 - OFF_AT_S) <= STAMP_TOLERANCE_S
                assert abs((off_ms - on_ms) / 1e3 - (OFF_AT_S - ON_AT_S)) <= STAMP_TOLERANCE_S


class Pin:
    """The one method of machine.Pin that the driver uses."""

    level = 1

    def value(self) -> int:
        return self.level


@pytest.mark.parametrize("poll_ms", [10, 20, 50])
def test_without_the_filter_slow_polling_is_wrong(hardware: Hardware, runs: Runs, poll_ms: int) -> None:
    """Negative control: the raw opto output aliases with the mains, so the filter is what makes the rule above hold."""
    netlist = hardware.stages["b120"]
    text = deck(netlist, HARD, switched(full_wave(90.0, 50.0)), stop_s=STOP_S, output_v=SUPPLY_V)
    raw = "\n".join("CIN_C2 node gnd 1p IC=3.3" if row.startswith("CIN_C2") else row for row in text.splitlines())
    node = netlist.part("IN_C2").nets[0]
    result = runs.run(raw.replace("CIN_C2 node", f"CIN_C2 {node}") + "\n")
    output = np.interp(np.arange(0, STOP_S, 1e-4), result["time"], result["v(pin)"])
    wrong = 0
    for phase in range(PHASES):
        states = [state for state, _ in changes(output, 1.65, poll_ms, phase * 20.0 / PHASES)]
        wrong += states != [False, True, False]
    assert wrong >= 10


def test_settings_of_board_and_data_agree(hardware: Hardware) -> None:
    bus = hardware.settings["bus"]
    assert bus["boot_mute_ms"] == BOOT_MUTE_MS
    assert Debounce().samples == bus["debounce_samples"]


def test_the_filters_settle_inside_the_boot_mute(hardware: Hardware) -> None:
    """Both input versions charge to the higher VIH before the mute ends, 10 % tolerance against them."""
    for signal in hardware.signals:
        if signal.role == "di":
            pull, cap = (hardware.sensor_board.part(f"{signal.id}_{ref}") for ref in ("R5", "C2"))
            tau_s = pull.value * cap.value * (1 + cap.tol)
            assert tau_s * np.log(SUPPLY_V / (SUPPLY_V - 2.475)) < BOOT_MUTE_MS / 1e3
