"""TLS towards the broker: a pre-shared key, or certificates that are really verified."""

import binascii


def make(settings):
    """A tls.SSLContext for the `tls` part of the broker's settings."""
    try:
        import tls  # not ssl: its wrapper verifies nothing and ignores a pre-shared key in silence
    except ImportError:
        raise ValueError("this interpreter has no tls module: leave out tls or use MicroPython 1.28") from None
    context = tls.SSLContext(tls.PROTOCOL_TLS_CLIENT)
    if "psk_key" in settings:
        if not hasattr(context, "psk_key"):
            raise ValueError("a pre-shared key needs MicroPython 1.29 or later")
        # The stubs do not know these attributes yet.
        context.psk_identity = settings["psk_identity"]
        context.psk_key = binascii.unhexlify(settings["psk_key"])
    else:
        context.verify_mode = tls.CERT_REQUIRED
        with open(settings["ca"], "rb") as f:
            context.load_verify_locations(f.read())  # DER
    return context


def needs_time(settings):
    """Certificates cannot be verified before the clock is set; a pre-shared key can."""
    return bool(settings) and "psk_key" not in settings
