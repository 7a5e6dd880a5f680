"""Pin configuration, ESP32 board, 38 pins, WROOM module without PSRAM. Generated from hardware/; do not edit."""

WATCHDOG_MS = 30000
PINS = {
    "spi_sck": 18,
    "spi_miso": 19,
    "spi_mosi": 23,
    "cs_nozzle": 21,
    "cs_stack": 22,
    "onewire": 13,
    "adc_air": 34,
    "adc_level": 35,
    "adc_5v": 36,
    "di_refill": 32,
    "di_float": 33,
    "di_call": 25,
    "di_motor": 26,
    "di_tank_heat": 27,
    "di_noz_heat": 14,
    "di_alarm": 39,
    "di_refill_lockout": 4,
    "di_leak": 17,
    "led": 16,
}
SPI = {
    "id": 2,
    "baudrate": 1000000,
}
DEBOUNCE_SAMPLES = 3
AIR = {
    "full_scale_pa": 206843,
    "ratio_zero": 0.1,
    "ratio_span": 0.8,
    "ratio_valid": (0.05, 0.95),
    "rail_valid_v": (4.5, 5.35),
    "divider_top_ohm": 12000,
    "divider_bottom_ohm": 10000,
}
LEVEL = {
    "burden_ohm": 100,
    "fault_ma": (3.6, 21.0),
}
RTD = {
    "r0_ohm": 1000,
    "rref_ohm": 4300,
    "wires": 2,
}
