"""A TCP proxy that can do to a connection what networks do, switched from the test."""

import asyncio
import contextlib
import socket
import threading

MODES = ("pass", "hole", "drop_down", "half_close", "reset", "refuse", "slow", "bad_certificate")


class Proxy:
    """Listens on `port`, forwards to `upstream`; `bad_upstream` is used in mode `bad_certificate`."""

    def __init__(self, upstream: int, bad_upstream: int) -> None:
        self._upstream = upstream
        self._bad_upstream = bad_upstream
        self._mode = "pass"
        self._loop = asyncio.new_event_loop()
        self._writers: set[asyncio.StreamWriter] = set()
        self._tasks: set[asyncio.Task[None]] = set()
        self.connections = 0
        listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = listener.getsockname()[1]
        self._thread = threading.Thread(target=self._run, args=(listener,), daemon=True)
        self._thread.start()

    def _run(self, listener: socket.socket) -> None:
        asyncio.set_event_loop(self._loop)
        self._loop.run_until_complete(self._serve(listener))
        self._loop.close()

    async def _serve(self, listener: socket.socket) -> None:
        self._stop = asyncio.Event()
        server = await asyncio.start_server(self._accept, sock=listener)
        await self._stop.wait()
        server.close()
        self._end(reset=False)
        for task in list(self._tasks):
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)

    def close(self) -> None:
        self._loop.call_soon_threadsafe(self._stop.set)
        self._thread.join(5)

    def set(self, mode: str) -> None:
        """Go over to `mode`, open connections included."""
        assert mode in MODES
        self._loop.call_soon_threadsafe(self._set, mode)

    def _set(self, mode: str) -> None:
        self._mode = mode
        if mode in ("reset", "refuse", "bad_certificate"):
            self._end(reset=mode == "reset")
        elif mode == "half_close":
            for writer in self._writers:
                with contextlib.suppress(OSError, RuntimeError):
                    writer.write_eof()

    def _end(self, reset: bool) -> None:
        for writer in list(self._writers):
            if reset:
                sock = writer.get_extra_info("socket")
                with contextlib.suppress(OSError):
                    sock.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\x01\x00\x00\x00\x00\x00\x00\x00")
                writer.transport.abort()
            else:
                writer.close()

    async def _accept(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        self._tasks.add(task)
        self._writers.add(writer)
        self.connections += 1
        try:
            if self._mode == "refuse":
                return
            port = self._bad_upstream if self._mode == "bad_certificate" else self._upstream
            up_reader, up_writer = await asyncio.open_connection("127.0.0.1", port)
            self._writers.add(up_writer)
            try:
                await asyncio.gather(
                    self._pump(reader, up_writer, down=False),
                    self._pump(up_reader, writer, down=True),
                )
            finally:
                self._writers.discard(up_writer)
                up_writer.close()
        except (OSError, asyncio.CancelledError):
            pass
        finally:
            self._writers.discard(writer)
            writer.close()
            self._tasks.discard(task)

    async def _pump(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, down: bool) -> None:
        # After a half-close from here nothing more can be written that way (RuntimeError).
        with contextlib.suppress(OSError, RuntimeError):
            while data := await reader.read(65536):
                if self._mode == "hole" or (self._mode == "drop_down" and down):
                    continue
                slow = self._mode == "slow"
                for i in range(0, len(data), 200 if slow else 65536):
                    await asyncio.sleep(0.03 if slow else 0)
                    writer.write(data[i : i + (200 if slow else 65536)])
                await writer.drain()
            writer.write_eof()
