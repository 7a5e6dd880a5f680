"""One chip on the shared SPI bus: own select pin and mode, whole transactions only."""


class SpiDevice:
    def __init__(self, spi, select, phase, baudrate=1000000):
        self._spi = spi
        self._select = select
        self._phase = phase
        self._baudrate = baudrate
        select.value(1)

    def transfer(self, out):
        """Send `out`, return as many bytes received."""
        answer = bytearray(len(out))
        # Chips on the bus differ in clock phase, so it is set anew each time.
        self._spi.init(baudrate=self._baudrate, polarity=0, phase=self._phase)
        self._select.value(0)
        try:
            self._spi.write_readinto(out, answer)
        finally:
            self._select.value(1)
        return answer


def bus_silent(answer):
    """True if nobody drove the bus: every byte all ones or all zeros."""
    return answer == b"\xff" * len(answer) or answer == b"\x00" * len(answer)
