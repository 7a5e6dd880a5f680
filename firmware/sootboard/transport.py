"""Streams over TCP, with TLS where configured; nothing here blocks the loop or waits without end."""

import asyncio
import socket
import sys

_MICROPYTHON = sys.implementation.name == "micropython"


class Broker:
    """Where and how to connect. `context` is a tls.SSLContext or None."""

    def __init__(self, host, port, user=None, password=None, context=None, server_name=None):
        self.host = host
        self.port = port
        self.user = user
        self.password = password
        self.context = context
        self.server_name = server_name or host
        self.address = None  # looked up once: a look-up blocks


async def connect(broker, deadline_s):
    """`(reader, writer)` of a new connection."""
    if not _MICROPYTHON:
        name = broker.server_name if broker.context else None
        opening = asyncio.open_connection(broker.host, broker.port, ssl=broker.context, server_hostname=name)
        return await asyncio.wait_for(opening, deadline_s)
    if broker.address is None:
        broker.address = socket.getaddrinfo(broker.host, broker.port, 0, socket.SOCK_STREAM)[0]
    family, kind, protocol = broker.address[:3]
    s = socket.socket(family, kind, protocol)
    stream = None
    try:
        s.setblocking(False)
        try:
            s.setsockopt(6, 1, 1)  # TCP, no delay: packets are written whole
        except (OSError, AttributeError):
            pass  # a port without it is only slower
        try:
            s.connect(broker.address[-1])
        except OSError as e:
            if e.errno not in (115, 119):  # EINPROGRESS of the ports
                raise
        if broker.context:
            s = broker.context.wrap_socket(s, server_hostname=broker.server_name, do_handshake_on_connect=False)
        stream = asyncio.StreamReader(s)
        await asyncio.wait_for(stream.drain(), deadline_s)
        return stream, stream
    except BaseException:
        s.close()
        raise


async def send(stream, data, deadline_s):
    """Write `data` in one go and wait until the network took it."""
    writer = stream[1]
    writer.write(data)
    await asyncio.wait_for(writer.drain(), deadline_s)


async def close(stream):
    writer = stream[1]
    try:
        writer.close()
        await asyncio.wait_for(writer.wait_closed(), 2)
    except (OSError, ValueError, EOFError, asyncio.TimeoutError):
        pass
