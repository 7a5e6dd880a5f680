"""Builds the drivers that the settings ask for, on the pins of the board."""

import binascii

import machine

from . import channels
from .drivers.contacts import Contacts
from .drivers.ds18b20 import DS18B20
from .drivers.onewire_bus import OneWireBus
from .sampler import Sensors

# Drivers of chips and analog parts are imported only where they are fitted: memory is short.


def board_pins(name):
    """The generated pin module of a board type."""
    if name == "picow":
        from . import pins_picow

        return pins_picow
    from . import pins_esp32

    return pins_esp32


def fitted(settings):
    """Names of the channels fitted, in the order of the contract."""
    named = list(settings["onewire"].values()) + list(settings["contacts"].values())
    for part in list(settings["spi"].values()) + list(settings["analog"].values()):
        named.append(part["channel"])
    return [row[0] for row in channels.NUMERIC if row[0] in named] + [n for n in channels.SWITCHED if n in named]


def outputs(board):
    """Functions that switch the lamp and the sounder; None for a sounder that is not there."""

    pins = board.PINS

    def switch(signal):
        if signal in pins:
            return machine.Pin(pins[signal], machine.Pin.OUT, value=0).value
        return None

    return switch("led") or (lambda on: None), switch("buzzer")


def contacts(settings, board):
    inputs = []
    for signal in sorted(settings["contacts"]):
        bit = channels.SWITCHED.index(settings["contacts"][signal])
        inputs.append((bit, machine.Pin(board.PINS[signal], machine.Pin.IN)))
    return Contacts(inputs, board.DEBOUNCE_SAMPLES)


def sensors(settings, board):
    buses, devices = _onewire(settings, board)
    return Sensors(buses, _spi(settings, board), devices + _analog(settings, board))


def _onewire(settings, board):
    if not settings["onewire"]:
        return [], []
    bus = OneWireBus(machine.Pin(board.PINS["onewire"], machine.Pin.OPEN_DRAIN, machine.Pin.PULL_UP))
    devices = []
    for rom in sorted(settings["onewire"]):
        devices.append((channels.numeric(settings["onewire"][rom]), DS18B20(bus, binascii.unhexlify(rom))))
    return [bus], devices


def _spi(settings, board):
    pins = board.PINS
    # Every chip must be deselected before the first word goes over the bus.
    selects = {}
    for signal in settings["spi"]:
        selects[signal] = machine.Pin(pins[signal], machine.Pin.OUT, value=1)
    if not selects:
        return []
    bus = machine.SPI(
        board.SPI["id"],
        baudrate=board.SPI["baudrate"],
        sck=machine.Pin(pins["spi_sck"]),
        mosi=machine.Pin(pins["spi_mosi"]),
        miso=machine.Pin(pins["spi_miso"]),
    )
    chips = []
    for signal in sorted(selects):
        part = settings["spi"][signal]
        chip = _chip(bus, selects[signal], part, board, settings["mains_hz"])
        chips.append((channels.numeric(part["channel"]), chip))
    return chips


def _chip(bus, select, part, board, mains_hz):
    kind = part["chip"]
    if kind == "max31855":
        from .drivers.max31855 import MAX31855

        return MAX31855(bus, select)
    if kind == "max31856":
        from .drivers.max31856 import MAX31856

        return MAX31856(bus, select, mains_hz)
    if kind == "max31865":
        from .drivers.max31865 import MAX31865

        rtd = board.RTD
        r0 = part.get("r0_ohm", rtd["r0_ohm"])
        return MAX31865(
            bus, select, r0, part.get("r_ref_ohm", rtd["rref_ohm"]), part.get("wires", rtd["wires"]), mains_hz
        )
    raise ValueError("unknown chip %s" % kind)


def _adc(pins, signal):
    pin = machine.Pin(pins[signal])
    if hasattr(machine.ADC, "ATTN_11DB"):
        return machine.ADC(pin, atten=machine.ADC.ATTN_11DB)
    return machine.ADC(pin)


def _analog(settings, board):
    out = []
    for signal in sorted(settings["analog"]):
        part = settings["analog"][signal]
        driver = _analog_driver(board, _adc(board.PINS, signal), part, settings["mains_hz"])
        out.append((channels.numeric(part["channel"]), driver))
    return out


def _analog_driver(board, adc, part, mains_hz):
    kind = part["kind"]
    if kind == "transducer":
        from .drivers.transducer import Transducer

        rail = _adc(board.PINS, "adc_5v")
        return Transducer(adc, rail, board.AIR, part.get("low", 0), part.get("high", board.AIR["full_scale_pa"]))
    if kind == "current":
        from .drivers.current import Current

        return Current(adc, _adc(board.PINS, "adc_5v"), board.AIR, part["a_per_v"], mains_hz)
    if kind == "loop":
        from .drivers.loop import Loop

        return Loop(adc, board.LEVEL, part.get("low", 0.0), part.get("high", 1.0))
    if kind == "thermistor":
        from .drivers.thermistor import Thermistor

        return Thermistor(adc, part["pull_up_ohm"], part["r25_ohm"], part["beta_K"])
    raise ValueError("unknown analog kind %s" % kind)
