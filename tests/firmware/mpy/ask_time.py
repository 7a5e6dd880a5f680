"""The board's own client asks a time server: prints what it believed, or that it believed nothing."""

import asyncio
import sys

from sootboard.clock import Clock
from sootboard.ntp import Ntp

clock = Clock()
client = Ntp("127.0.0.1", int(sys.argv[1]), clock, lambda step_ms: None)


async def main():
    offset = await client._ask()
    print("believed", int(offset is not None))
    print("utc_ms", 0 if offset is None else clock.uptime_ms() + offset)


asyncio.run(main())
