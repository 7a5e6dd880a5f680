"""One connection with the settings given as JSON; prints `connected`, or the class and text of the error."""

import asyncio
import json
import sys

from sootboard import mqtt, tls_context, transport


async def main(settings):
    tls = settings.get("tls")
    context = tls_context.make(tls) if tls else None
    broker = transport.Broker(
        "127.0.0.1", settings["port"], settings.get("user"), None, context, (tls or {}).get("server_name")
    )
    client = mqtt.Client(broker, print, bytearray(512), settings.get("pid", 0))
    try:
        await client.open("one", "will", b"x")
        for n in range(settings.get("publish", 1)):
            await client.publish("sootline/one/measurements", b"[%d]" % n)
        print("connected", client.acked, client.last_pid)
    except mqtt.ERRORS as e:
        print(type(e).__name__, e, client.error)
    finally:
        await client.close()


asyncio.run(main(json.loads(sys.argv[1])))
