"""SenML against the examples printed in RFC 8428 (section numbers beside each), and against its rules."""

import pytest

from sootline.wire.senml import Resolved, SenmlError, decode


def _resolved(text: str) -> list[dict[str, object]]:
    fields = ("n", "u", "t", "v", "vs", "vb", "vd", "s")
    return [
        {f: getattr(r, f) for f in fields if getattr(r, f) is not None and (f, getattr(r, f)) != ("t", 0.0)}
        for r in decode(text.encode())
    ]


def test_single_data_point() -> None:
    """RFC 8428 section 5.1.1."""
    text = '[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]'
    assert _resolved(text) == [{"n": "urn:dev:ow:10e2073a01080063", "u": "Cel", "v": 23.1}]


def test_several_data_points_share_a_base_name() -> None:
    """RFC 8428 section 5.1.2, first example."""
    text = """[
      {"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1},
      {"n":"current","u":"A","v":1.2}
    ]"""
    assert _resolved(text) == [
        {"n": "urn:dev:ow:10e2073a01080063:voltage", "u": "V", "v": 120.1},
        {"n": "urn:dev:ow:10e2073a01080063:current", "u": "A", "v": 1.2},
    ]


def test_several_data_points_with_base_time_unit_and_version() -> None:
    """RFC 8428 section 5.1.2, second example, and its resolved form in section 5.1.4."""
    text = """[
      {"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,"n":"voltage","u":"V","v":120.1},
      {"n":"current","t":-5,"v":1.2},
      {"n":"current","t":-4,"v":1.3},
      {"n":"current","t":-3,"v":1.4},
      {"n":"current","t":-2,"v":1.5},
      {"n":"current","t":-1,"v":1.6},
      {"n":"current","v":1.7}
    ]"""
    expected = [
        {"n": "urn:dev:ow:10e2073a0108006:voltage", "u": "V", "t": 1.276020076001e09, "v": 120.1},
        {"n": "urn:dev:ow:10e2073a0108006:current", "u": "A", "t": 1.276020071001e09, "v": 1.2},
        {"n": "urn:dev:ow:10e2073a0108006:current", "u": "A", "t": 1.276020072001e09, "v": 1.3},
        {"n": "urn:dev:ow:10e2073a0108006:current", "u": "A", "t": 1.276020073001e09, "v": 1.4},
        {"n": "urn:dev:ow:10e2073a0108006:current", "u": "A", "t": 1.276020074001e09, "v": 1.5},
        {"n": "urn:dev:ow:10e2073a0108006:current", "u": "A", "t": 1.276020075001e09, "v": 1.6},
        {"n": "urn:dev:ow:10e2073a0108006:current", "u": "A", "t": 1.276020076001e09, "v": 1.7},
    ]
    assert _resolved(text) == expected


def test_a_series_needs_no_names_after_the_base_name() -> None:
    """RFC 8428 section 5.1.3, first example (shortened to its first and last lines)."""
    text = """[
      {"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,"bu":"%RH","v":21.2},
      {"t":10,"v":21.3},
      {"t":92,"v":21.5}
    ]"""
    name = "urn:dev:ow:10e2073a01080063"
    assert _resolved(text) == [
        {"n": name, "u": "%RH", "t": 1.320067464e09, "v": 21.2},
        {"n": name, "u": "%RH", "t": 1.320067474e09, "v": 21.3},
        {"n": name, "u": "%RH", "t": 1.320067556e09, "v": 21.5},
    ]


def test_a_unit_beside_the_base_unit_wins() -> None:
    """RFC 8428 section 5.1.3, second example (shortened)."""
    text = """[
      {"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,"bu":"%RH","v":20},
      {"u":"lon","v":24.30621},
      {"t":60,"v":20.3},
      {"u":"%EL","t":150,"v":98}
    ]"""
    name = "urn:dev:ow:10e2073a01080063"
    assert _resolved(text) == [
        {"n": name, "u": "%RH", "t": 1.320067464e09, "v": 20.0},
        {"n": name, "u": "lon", "t": 1.320067464e09, "v": 24.30621},
        {"n": name, "u": "%RH", "t": 1.320067524e09, "v": 20.3},
        {"n": name, "u": "%EL", "t": 1.320067614e09, "v": 98.0},
    ]


def test_values_of_every_type() -> None:
    """RFC 8428 section 5.1.5."""
    text = """[
      {"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},
      {"n":"label","vs":"Machine Room"},
      {"n":"open","vb":false},
      {"n":"nfc-reader","vd":"aGkgCg"}
    ]"""
    base = "urn:dev:ow:10e2073a01080063:"
    assert _resolved(text) == [
        {"n": base + "temp", "u": "Cel", "v": 23.1},
        {"n": base + "label", "vs": "Machine Room"},
        {"n": base + "open", "vb": False},
        {"n": base + "nfc-reader", "vd": "aGkgCg"},
    ]


def test_the_base_name_may_change_within_a_pack() -> None:
    """RFC 8428 section 5.1.6."""
    text = """[
      {"bn":"2001:db8::2/","bt":1.320078429e+09,"n":"temperature","u":"Cel","v":25.2},
      {"n":"humidity","u":"%RH","v":30},
      {"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3},
      {"n":"humidity","u":"%RH","v":67}
    ]"""
    assert _resolved(text) == [
        {"n": "2001:db8::2/temperature", "u": "Cel", "t": 1.320078429e09, "v": 25.2},
        {"n": "2001:db8::2/humidity", "u": "%RH", "t": 1.320078429e09, "v": 30.0},
        {"n": "2001:db8::1/temperature", "u": "Cel", "t": 1.320078429e09, "v": 12.3},
        {"n": "2001:db8::1/humidity", "u": "%RH", "t": 1.320078429e09, "v": 67.0},
    ]


def test_a_record_may_carry_base_fields_alone() -> None:
    """RFC 8428 section 4.1: base fields apply from the record they stand in until the next of their kind."""
    text = '[{"bn":"furnace/","bt":1.5e9},{"n":"tank","u":"Cel","v":60}]'
    assert decode(text.encode()) == [Resolved("furnace/tank", 1.5e9, "Cel", 60.0)]


def test_base_value_and_sum_are_added() -> None:
    """RFC 8428 section 4.1: a missing value counts as zero beside a base value, a sum likewise."""
    text = '[{"bn":"a/","bv":20,"bs":100,"n":"x","v":1.5},{"n":"y","v":2,"s":5},{"n":"z"}]'
    assert [(r.v, r.s) for r in decode(text.encode())] == [(21.5, None), (22.0, 105.0), (20.0, None)]


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("", "truncated"),
        ("[", "truncated"),
        ("{}", "array"),
        ("[1]", "object"),
        ('[{"n":"a","v":NaN}]', "malformed"),
        ('[{"n":"a","v":1e999}]', "range"),
        ('[{"n":"a","v":"1"}]', "Expected"),
        ('[{"n":"a","vb":1}]', "Expected"),
        ('[{"n":"a"}]', "no value"),
        ('[{"n":"a","v":1,"vb":true}]', "more than one value"),
        ('[{"v":1}]', "not a SenML name"),
        ('[{"n":"-a","v":1}]', "not a SenML name"),
        ('[{"n":"a b","v":1}]', "not a SenML name"),
        ('[{"bver":11,"n":"a","v":1}]', "newer"),
        ('[{"n":"a","v":1,"x_":1}]', "must be understood"),
        ('[{"n":"a","v":1,"x\\u005f":1}]', "must be understood"),
        ('[{"n":"a","v":1,"x":' + "[" * 9000 + "]" * 9000 + "}]", "nested"),
    ],
)
def test_what_is_no_pack_is_refused_with_its_reason(text: str, word: str) -> None:
    """Rules of RFC 8428 sections 4.1 to 4.5, and JSON (RFC 8259), which knows neither NaN nor infinity."""
    with pytest.raises(SenmlError, match=word):
        decode(text.encode())


def test_bytes_that_are_no_text_are_refused() -> None:
    with pytest.raises(SenmlError):
        decode(b'[{"n":"a","vs":"\xff\xfe"}]')


def test_fields_unknown_here_are_ignored() -> None:
    """RFC 8428 section 4.4: labels not ending in `_` may be ignored."""
    assert decode(b'[{"n":"a","v":1,"colour":"red"}]') == [Resolved("a", 0.0, None, 1.0)]
