"""SenML (RFC 8428, JSON form): decoding and resolving a pack to records that stand alone (section 4.6)."""

import re

import msgspec

RELATIVE_BELOW_S = 2**28  # RFC 8428 section 4.5.3: a smaller resolved time is relative to now
_VERSION = 10
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*")


class SenmlError(ValueError):
    """The bytes are not a SenML pack; the text says why."""


class Record(msgspec.Struct, gc=False, omit_defaults=True):
    """One record as sent; every field may be missing."""

    n: str | None = None
    t: float | None = None
    u: str | None = None
    v: float | None = None
    vs: str | None = None
    vb: bool | None = None
    vd: str | None = None
    s: float | None = None
    ut: float | None = None
    bn: str | None = None
    bt: float | None = None
    bu: str | None = None
    bv: float | None = None
    bs: float | None = None
    bver: int | None = None


class Resolved(msgspec.Struct, gc=False, frozen=True):
    """A record that stands alone: full name, own time [s], unit and exactly one value (or only a sum)."""

    n: str
    t: float
    u: str | None = None
    v: float | None = None
    vs: str | None = None
    vb: bool | None = None
    vd: str | None = None
    s: float | None = None
    ut: float | None = None


_decoder = msgspec.json.Decoder(list[Record])
_raw_decoder = msgspec.json.Decoder(list[dict[str, object]])


def decode(payload: bytes) -> list[Resolved]:
    """Records of a pack in the order sent, resolved.

    Raises SenmlError for text that is not JSON, breaks the SenML grammar, or needs a newer version.
    """
    try:
        records = _decoder.decode(payload)
        if b'_"' in payload or b"\\u005" in payload:
            _refuse_must_understand(payload)
    except msgspec.DecodeError as error:
        raise SenmlError(str(error)) from None
    except UnicodeDecodeError:
        raise SenmlError("the bytes are not UTF-8") from None
    except RecursionError:
        raise SenmlError("nested too deeply") from None
    return resolve(records)


def _refuse_must_understand(payload: bytes) -> None:
    """RFC 8428 section 4.4: a field whose label ends in `_` must not be ignored."""
    for record in _raw_decoder.decode(payload):
        for label in record:
            if label.endswith("_"):
                raise SenmlError(f"field '{label}' must be understood and is not known here")


def resolve(records: list[Record]) -> list[Resolved]:
    """Apply base fields (RFC 8428 section 4.6). Times stay relative where the pack is relative."""
    bn, bu = "", None
    bt = 0.0
    bv = bs = None
    resolved: list[Resolved] = []
    checked: set[str] = set()
    for record in records:
        if record.bver is not None and record.bver > _VERSION:
            raise SenmlError(f"SenML version {record.bver} is newer than {_VERSION}")
        if record.bn is not None:
            bn = record.bn
        if record.bt is not None:
            bt = record.bt
        if record.bu is not None:
            bu = record.bu
        if record.bv is not None:
            bv = record.bv
        if record.bs is not None:
            bs = record.bs
        v = record.v
        values = (v is not None) + (record.vs is not None) + (record.vb is not None) + (record.vd is not None)
        if values == 0 and record.s is None:
            if record.n is None and record.t is None:
                continue  # only base fields
            if bv is None:
                raise SenmlError(f"record '{bn}{record.n or ''}' has no value")
        if values > 1:
            raise SenmlError(f"record '{bn}{record.n or ''}' has more than one value")
        name = bn + record.n if record.n else bn
        if name not in checked:
            if not _NAME.fullmatch(name):
                raise SenmlError(f"'{name}' is not a SenML name")
            checked.add(name)
        if bv is not None and (v is not None or values == 0):
            v = bv + (v or 0.0)
        s = record.s
        if bs is not None and s is not None:
            s += bs
        resolved.append(
            Resolved(
                name,
                bt + record.t if record.t is not None else bt,
                record.u if record.u is not None else bu,
                v,
                record.vs,
                record.vb,
                record.vd,
                s,
                record.ut,
            )
        )
    return resolved
