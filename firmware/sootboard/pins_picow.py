"""Pin configuration, Pico W or Pico 2 W board. Generated from hardware/; do not edit."""

WATCHDOG_MS = 8000
PINS = {
    "spi_sck": 18,
    "spi_miso": 16,
    "spi_mosi": 19,
    "cs_nozzle": 17,
    "cs_stack": 20,
    "onewire": 22,
    "adc_air": 26,
    "adc_level": 27,
    "adc_5v": 28,
    "di_refill": 2,
    "di_float": 3,
    "di_call": 4,
    "di_motor": 5,
    "di_tank_heat": 6,
    "di_noz_heat": 7,
    "di_alarm": 8,
    "di_refill_lockout": 9,
    "di_leak": 10,
    "led": 14,
}
SPI = {
    "id": 0,
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
