"""SHA-512 (FIPS 180-4), since MicroPython has no other than SHA-256. Slow: for the few bytes a signature covers."""

_MASK = (1 << 64) - 1
_S0, _S1 = (1, 8, 7), (19, 61, 6)  # two turns and one shift
_B0, _B1 = (28, 34, 39), (14, 18, 41)  # three turns


def _root(n, power):
    """Whole part of the root of `n`, which must be below 2**68, by Newton's method from above."""
    x = 1 << 68
    while True:
        y = ((power - 1) * x + n // x ** (power - 1)) // power
        if y >= x:
            return x
        x = y


def _constants(out, count, power):
    """Put the first 64 bits behind the point of the roots of the first primes into `out`, a prime a step."""
    n = 2
    while len(out) < count * 8:
        prime = True
        for i in range(2, n):
            if not n % i:
                prime = False
        if prime:
            out.extend((_root(n << 64 * power, power) & _MASK).to_bytes(8, "big"))
            yield None
        n += 1


def _words(data):
    return [int.from_bytes(data[i : i + 8], "big") for i in range(0, len(data), 8)]


def _turn(x, n):
    return (x >> n | x << 64 - n) & _MASK


def _turned(x, by):
    return _turn(x, by[0]) ^ _turn(x, by[1]) ^ _turn(x, by[2])


def _shifted(x, by):
    return _turn(x, by[0]) ^ _turn(x, by[1]) ^ x >> by[2]


def _block(state, block, k):
    w = _words(block)
    a, b, c, d, e, f, g, h = state
    for i in range(80):
        if i > 15:
            w.append((_shifted(w[-15], _S0) + _shifted(w[-2], _S1) + w[0] + w[9]) & _MASK)
            w.pop(0)
        t = h + _turned(e, _B1) + (e & f ^ ~e & g) + int.from_bytes(k[8 * i : 8 * i + 8], "big") + w[min(i, 15)]
        h, g, f, e = g, f, e, d + t & _MASK
        d, c, b, a = c, b, a, t + _turned(a, _B0) + (a & b ^ a & c ^ b & c) & _MASK
    return [x + y & _MASK for x, y in zip(state, (a, b, c, d, e, f, g, h))]  # noqa: B905


def digest(data):
    """The 64 bytes of the hash of `data`, in steps: yields None after each, at last the hash."""
    k, first = bytearray(), bytearray()
    yield from _constants(k, 80, 3)
    yield from _constants(first, 8, 2)
    state = _words(first)
    data = data + b"\x80" + b"\x00" * ((111 - len(data)) % 128) + (len(data) * 8).to_bytes(16, "big")
    for at in range(0, len(data), 128):
        state = _block(state, data[at : at + 128], k)
        yield None
    yield b"".join([x.to_bytes(8, "big") for x in state])
