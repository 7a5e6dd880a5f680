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
        from . import pins_picow as board
    else:
        from . import pins_esp32 as board
    return board


def contacts(settings, board):
    inputs = []
    for signal in sorted(settings["contacts"]):
        bit = channels.SWITCHED_INDEX[settings["contacts"][signal]]
        inputs.append((bit, machine.Pin(board.PINS[signal]["pin"], machine.Pin.IN)))
    return Contacts(inputs, board.INPUTS["debounce_samples"])


def sensors(settings, board):
    buses, devices = _onewire(settings, board)
    return Sensors(buses, _spi(settings, board), devices + _analog(settings, board))


def _onewire(settings, board):
    if not settings["onewire"]:
        return [], []
    bus = OneWireBus(machine.Pin(board.PINS["onewire"]["pin"], machine.Pin.OPEN_DRAIN, machine.Pin.PULL_UP))
    devices = []
    for rom in sorted(settings["onewire"]):
        devices.append((settings["onewire"][rom], DS18B20(bus, binascii.unhexlify(rom))))
    return [bus], devices


def _spi(settings, board):
    pins = board.PINS
    # Every chip must be deselected before the first word goes over the bus.
    selects = {}
    for signal in settings["spi"]:
        selects[signal] = machine.Pin(pins[signal]["pin"], machine.Pin.OUT, value=1)
    if not selects:
        return []
    bus = machine.SPI(
        board.SPI["id"],
        baudrate=board.SPI["baudrate"],
        sck=machine.Pin(pins["spi_sck"]["pin"]),
        mosi=machine.Pin(pins["spi_mosi"]["pin"]),
        miso=machine.Pin(pins["spi_miso"]["pin"]),
    )
    chips = []
    for signal in sorted(selects):
        part = settings["spi"][signal]
        chips.append((part["channel"], _chip(bus, selects[signal], part, board, settings["mains_hz"])))
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
    pin = machine.Pin(pins[signal]["pin"])
    if hasattr(machine.ADC, "ATTN_11DB"):
        return machine.ADC(pin, atten=machine.ADC.ATTN_11DB)
    return machine.ADC(pin)


def _analog(settings, board):
    out = []
    for signal in sorted(settings["analog"]):
        part = settings["analog"][signal]
        from .drivers import analog

        adc = _adc(board.PINS, signal)
        kind = part["kind"]
        if kind == "transducer":
            rail = _adc(board.PINS, "adc_5v")
            driver = analog.Transducer(
                adc, rail, board.AIR, part.get("low", 0), part.get("high", board.AIR["full_scale_pa"])
            )
        elif kind == "loop":
            driver = analog.Loop(adc, board.LEVEL, part.get("low", 0.0), part.get("high", 1.0))
        elif kind == "thermistor":
            driver = analog.Thermistor(adc, part["pull_up_ohm"], part["r25_ohm"], part["beta_K"])
        else:
            raise ValueError("unknown analog kind %s" % kind)
        out.append((part["channel"], driver))
    return out
