"""The board's own client asks a time server: prints what it believed, or that it believed nothing."""

import asyncio
import sys

from sootboard import ntp
from sootboard.clock import Clock

clock = Clock()


async def main():
    offset = await ntp.offset_ms(ntp.address("127.0.0.1", int(sys.argv[1])), clock)
    print("believed", int(offset is not None))
    print("utc_ms", 0 if offset is None else clock.uptime_ms() + offset)


asyncio.run(main())
