"""Pins against the chips' own rules, and channels against the dictionary of the host."""

from hardware.generate.checks import pins, problems
from hardware.generate.load import Hardware
from sootline.channels import CHANNELS, REQUIRED, STATES

# RP2040 data sheet, table of GPIO functions, as MicroPython's machine_spi checks it: SPI0 sits where bit 3 is clear.
RP2_SPI0 = {"spi_sck": 2, "spi_mosi": 3, "spi_miso": 0}
# Input-only pins and boot straps of the ESP32 data sheet (pin list; section on strapping pins).
ESP32_INPUT_ONLY = {34, 35, 36, 39}
ESP32_STRAPS = {0, 2, 5, 12, 15}
ESP32_FLASH_AND_CONSOLE = {1, 3, *range(6, 12)}
PICO_W_RADIO = {23, 24, 25, 29}


def test_the_whole_folder_has_no_problem(hardware: Hardware) -> None:
    assert problems(hardware) == []


def test_every_signal_has_its_own_pin_on_every_board(hardware: Hardware) -> None:
    for board in hardware.boards:
        used = [signal.pins[board] for signal in hardware.signals]
        assert len(set(used)) == len(used)
        assert set(used) <= set(hardware.boards[board]["gpio"])
    assert all(set(signal.pins) == set(hardware.boards) for signal in hardware.signals)


def test_board_data_agree_with_the_data_sheets(hardware: Hardware) -> None:
    esp32, picow = hardware.boards["esp32"], hardware.boards["picow"]
    assert set(esp32["input_only"]) == ESP32_INPUT_ONLY
    assert set(esp32["strap"]) == ESP32_STRAPS
    assert {*esp32["flash"], *esp32["console"]} == ESP32_FLASH_AND_CONSOLE
    assert set(picow["radio"]) == PICO_W_RADIO
    for name, remainder in RP2_SPI0.items():
        assert picow[name] == [pin for pin in range(30) if pin % 4 == remainder and not pin & 8][: len(picow[name])]


def test_no_signal_on_a_reserved_pin(hardware: Hardware) -> None:
    for signal in hardware.signals:
        assert signal.pins["esp32"] not in ESP32_STRAPS | ESP32_FLASH_AND_CONSOLE
        assert signal.pins["picow"] not in PICO_W_RADIO


def test_pico_spi_follows_the_modulo_rule(hardware: Hardware) -> None:
    for name, remainder in RP2_SPI0.items():
        pin = hardware.signal(name).pins["picow"]
        assert pin % 4 == remainder
        assert not pin & 8


def test_outputs_are_not_on_input_only_pins_and_the_board_switches_one_led(hardware: Hardware) -> None:
    for signal in hardware.signals:
        if signal.role in pins.OUTPUT_ROLES and signal.id != "spi_miso":
            assert signal.pins["esp32"] not in ESP32_INPUT_ONLY
    assert [signal.id for signal in hardware.signals if signal.role == "do"] == ["led"]


def test_analog_signals_stay_inside_the_converter_on_both_boards(hardware: Hardware) -> None:
    analog = [signal for signal in hardware.signals if signal.role == "adc"]
    assert len(analog) == 3
    for signal in analog:
        assert signal.range_mv is not None
        for board, chip in hardware.boards.items():
            assert signal.pins[board] in chip["adc_wifi_ok"]
            assert chip["adc_mv"][0] <= signal.range_mv[0] < signal.range_mv[1] <= chip["adc_mv"][1]


def test_every_contact_and_select_is_pulled_up_outside_the_chip(hardware: Hardware) -> None:
    for signal in hardware.signals:
        if signal.role in ("di", "cs", "onewire"):
            assert signal.pull_ohm is not None


def test_channels_are_those_of_the_dictionary_and_the_required_ones_are_there(hardware: Hardware) -> None:
    channels = [channel for signal in hardware.signals for channel in signal.channels]
    assert set(channels) <= set(CHANNELS)
    assert set(REQUIRED) <= set(channels)
    contacts = [signal.channels[0] for signal in hardware.signals if signal.role == "di"]
    assert set(contacts) <= set(STATES)
    required = [s for s in hardware.signals if set(s.channels) & set(REQUIRED)]
    assert not any(signal.optional for signal in required)
