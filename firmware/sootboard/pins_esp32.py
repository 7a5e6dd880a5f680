"""Pin configuration, ESP32 board, 38 pins, WROOM module without PSRAM. Generated from hardware/; do not edit."""

BOARD = "esp32"
WATCHDOG_MS = 30000
PINS = {
    "spi_sck": {"role": "spi", "pin": 18},
    "spi_miso": {"role": "spi", "pin": 19},
    "spi_mosi": {"role": "spi", "pin": 23},
    "cs_nozzle": {"role": "cs", "pin": 21, "channel": "nozzle", "device": "rtd"},
    "cs_stack": {"role": "cs", "pin": 22, "channel": "stack", "device": "thermocouple"},
    "onewire": {"role": "onewire", "pin": 13},
    "adc_air": {"role": "adc", "pin": 34, "channel": "air_pressure", "optional": True},
    "adc_level": {"role": "adc", "pin": 35, "channel": "supply_level", "optional": True},
    "adc_5v": {"role": "adc", "pin": 36},
    "di_refill": {"role": "di", "pin": 32, "channel": "pump"},
    "di_float": {"role": "di", "pin": 33, "channel": "float", "optional": True},
    "di_call": {"role": "di", "pin": 25, "channel": "call", "optional": True},
    "di_motor": {"role": "di", "pin": 26, "channel": "burner", "optional": True},
    "di_tank_heat": {"role": "di", "pin": 27, "channel": "tank_heater", "optional": True},
    "di_noz_heat": {"role": "di", "pin": 14, "channel": "nozzle_heater", "optional": True},
    "di_alarm": {"role": "di", "pin": 39, "channel": "lockout", "optional": True},
    "di_refill_lockout": {"role": "di", "pin": 4, "channel": "refill_lockout", "optional": True},
    "di_leak": {"role": "di", "pin": 17, "channel": "leak", "optional": True},
    "led": {"role": "do", "pin": 16, "optional": True},
}
ONEWIRE_CHANNELS = ("tank", "return_air", "supply_air", "room", "outdoor", "combustion_air", "supply")
SPI = {
    "id": 2,
    "baudrate": 1000000,
    "polarity": 0,
    "phase": 1,
}
INPUTS = {
    "poll_ms": 20,
    "debounce_samples": 3,
    "boot_mute_ms": 300,
}
ADC_MV = (150, 2450)
AIR = {
    "full_scale_pa": 206843,
    "ratio_zero": 0.1,
    "ratio_span": 0.8,
    "ratio_valid": (0.05, 0.95),
    "rail_valid_v": (4.5, 5.35),
    "divider_top_ohm": 12000,
    "divider_bottom_ohm": 10000,
    "samples": 64,
}
LEVEL = {
    "burden_ohm": 100,
    "zero_ma": 4.0,
    "span_ma": 16.0,
    "valid_ma": (3.8, 20.5),
    "fault_ma": (3.6, 21.0),
}
RTD = {
    "r0_ohm": 1000,
    "rref_ohm": 4300,
    "wires": 2,
    "ci_nf": 10,
}
