"""Ed25519 signatures (RFC 8032), verified in small steps so that nothing else waits for long."""

from .sha512 import digest

_P = (1 << 255) - 19
_L = (1 << 252) + 27742317777372353535851937790883648493
_D = -121665 * pow(121666, _P - 2, _P) % _P
_G = (
    15112221349535400772501151409588531511454012693041857206046113283949847762202,
    46316835694926478169428394003475163141307993866256225615783033603165251855960,
)


def _add(a, b):
    """Sum of points in extended coordinates (x, y, z, t), RFC 8032 section 5.1.4."""
    p = (a[1] - a[0]) * (b[1] - b[0]) % _P
    q = (a[1] + a[0]) * (b[1] + b[0]) % _P
    r = 2 * a[3] * b[3] * _D % _P
    s = 2 * a[2] * b[2] % _P
    e, f, g, h = q - p, s - r, s + r, q + p
    return e * f % _P, g * h % _P, f * g % _P, e * h % _P


def _double(a):
    p = a[0] * a[0] % _P
    q = a[1] * a[1] % _P
    h = p + q
    e = h - (a[0] + a[1]) ** 2 % _P
    g = p - q
    f = 2 * a[2] * a[2] % _P + g
    return e * f % _P, g * h % _P, f * g % _P, e * h % _P


def _point(x, y):
    return x, y, 1, x * y % _P


def _decoded(data):
    """`(x, y)` of 32 bytes, or None where they are no point (section 5.1.3)."""
    y = int.from_bytes(data, "little")
    sign = y >> 255
    y &= (1 << 255) - 1
    if y >= _P:
        return None
    u = (y * y - 1) % _P
    v = (_D * y * y + 1) % _P
    x = u * v**3 % _P * pow(u * v**7 % _P, (_P - 5) // 8, _P) % _P
    if (v * x * x - u) % _P:
        x = x * pow(2, (_P - 1) // 4, _P) % _P
    if (v * x * x - u) % _P or (not x and sign):
        return None
    return (_P - x if x & 1 != sign else x), y


def verify(public, signature, message):
    """Yields None after each step, at last whether `signature` (64 bytes) is `public`'s (32 bytes) over `message`."""
    s = int.from_bytes(signature[32:], "little")
    if len(public) != 32 or len(signature) != 64 or s >= _L:
        yield False
        return
    a = _decoded(public)
    yield None
    if a is None:
        yield False
        return
    h = 0
    for part in digest(signature[:32] + public + message):
        if part:
            h = int.from_bytes(part, "little") % _L
        yield None
    # s G - h A must be the point that the signature begins with. Both products share their doublings.
    minus_a = _point(_P - a[0], a[1])
    g = _point(_G[0], _G[1])
    table = (None, g, minus_a, _add(g, minus_a))
    sum_ = (0, 1, 1, 0)
    for bit in range(252, -1, -1):
        sum_ = _double(sum_)
        chosen = table[(s >> bit & 1) | (h >> bit & 1) << 1]
        if chosen:
            sum_ = _add(sum_, chosen)
        yield None
    z = pow(sum_[2], _P - 2, _P)
    encoded = (sum_[1] * z % _P) | (sum_[0] * z % _P & 1) << 255
    yield encoded.to_bytes(32, "little") == signature[:32]
