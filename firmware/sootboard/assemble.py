"""Builds the application from the settings, in stages; each stage's modules are forgotten, since memory is short."""

import binascii
import gc
import os

import machine
from micropython import const

from . import forget
from .app import App

_WORK_BYTES = const(24000)  # what the tasks and a connection take after this, with some to spare


def assemble(path):
    """The parts of the application, wired together."""
    from . import config

    settings = config.load(path)
    del config
    forget("config")
    app = App()
    app.update_key = binascii.unhexlify(settings["update_key"]) if settings["update_key"] else None
    app.boot = int(binascii.hexlify(os.urandom(4)).decode(), 16)
    link = _usb(app, settings) if settings["link"] == "usb" else _link(app, settings)
    left = _storage(app, settings)
    _inputs(app, settings)
    _outbox(app, left)
    link(app)
    _time(app, settings)
    forget("assemble")
    return app


def _storage(app, settings):
    """Decide where data goes and why the board started; returns the rows the last boot left."""
    from . import memo, storage
    from .faultlog import FaultLog
    from .kept import Kept

    where = storage.directory(settings["data"])
    app.faults = FaultLog((where or ".") + "/faults.log", app.clock)
    app.kept = Kept(machine.RTC())
    app.data_directory = where
    data = app.kept.read()
    files = None if app.kept.works else memo.FileMemo((where or ".") + "/memo")
    noted = memo.unpack(files.read() if files else data)
    app.reset_label = memo.label(machine.reset_cause(), machine, noted)
    app.bad_boots = memo.bad_boots(app.reset_label, noted)
    app.safe = app.bad_boots >= memo.BAD_BOOTS
    app.keep_memo = files.write if files else app.kept.write_memo
    for intent in memo.INTENTS:
        app.memos[intent] = memo.pack(intent, app.bad_boots)
    app.memos["good"] = memo.pack("", 0)
    app.keep_memo(app.memos[""])
    forget("memo", "storage")
    return data[4:]


def _inputs(app, settings):
    from . import inputs
    from .sampler import Sampler

    board = inputs.board_pins(settings["board"])
    app.channels = inputs.fitted(settings)
    app.watchdog_ms = board.WATCHDOG_MS
    app.sampler = Sampler(
        app.clock,
        inputs.contacts(settings, board),
        None if app.safe else inputs.sensors(settings, board),
        settings["interval"],
        settings["idle_interval"],
        settings["poll_ms"],
    )
    lamp, sounder = inputs.outputs(board)
    from .warning import Warning

    app.warning = Warning(app.clock, app.sampler, settings["limits"], lamp, sounder, app.safe)
    forget("inputs", "pins_esp32", "pins_picow")


def _outbox(app, left):
    from .outbox import Outbox, rows_a_pack

    store = None
    if app.data_directory:
        from .store import Store

        store = Store(app.data_directory)
    gc.collect()
    # Without flash the backlog gets half of the memory that the work will leave.
    limit = 1500 if store else max(1500, min(60000, (gc.mem_free() - _WORK_BYTES) // 2))
    batch = rows_a_pack(len(app.channels))
    app.outbox = Outbox(app.boot, app.sampler.contact_mask, store, app.kept.write, limit, batch)
    app.outbox.restore(left)
    app.sampler.emit = app.outbox.put


def broker(settings):
    """`(transport.Broker, whether the clock must be set before it can be connected to)`."""
    from .transport import Broker

    b = settings["broker"]
    tls = b.get("tls") or {}
    context = None
    needs_time = False
    if tls:
        from . import tls_context

        context = tls_context.make(tls)
        needs_time = tls_context.needs_time(tls)
        del tls_context
        forget("tls_context")
    server_name = tls.get("server_name")
    return Broker(b["host"], b["port"], b.get("user"), b.get("password"), context, server_name), needs_time


def client_id(furnace):
    return "%s-%s" % (furnace, binascii.hexlify(machine.unique_id()).decode())


def _link(app, settings):
    """The largest modules, so they come first; returns what finishes the link once the outbox is there."""
    from .link import Link
    from .mqtt import Client
    from .wifi import Wifi

    where, needs_time = broker(settings)
    # Not a function of this module, which would then stay in memory with all it holds.
    ready = app.clock_known if needs_time else None
    furnace = settings["furnace"]
    prefix = "%s/%s/" % (settings["root"], furnace)
    ssid, password = settings["wifi"].get("ssid", ""), settings["wifi"].get("password", "")

    def finish(app):
        app.wifi = Wifi(ssid, password, app.clock, app.reset if app.data_directory else None)
        app.link = Link(Client, where, prefix, client_id(furnace), furnace, app, ready)
        app.outbox.changed = app.link.work

    return finish


def _usb(app, settings):
    """The link over the console's line, in place of a network; returns what finishes it."""
    from .link import Link
    from .usb import Client, Line

    furnace = settings["furnace"]
    prefix = "%s/%s/" % (settings["root"], furnace)

    def finish(app):
        line = Line(app.clock, app.clock_set)
        app.link = Link(Client, line, prefix, furnace, furnace, app, line.host_there)
        app.outbox.changed = app.link.work

    return finish


def _time(app, settings):
    if settings["ntp"] and settings["link"] == "mqtt":
        from . import ntp

        app.ntp = ntp.address(settings["ntp"]["host"], settings["ntp"].get("port", 123))
        forget("ntp")
