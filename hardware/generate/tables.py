"""Tables for people, as Markdown: wiring, terminal labels, parts, senses, stage figures, error budgets."""

from __future__ import annotations

from collections.abc import Iterable

from hardware.generate.budget import budget
from hardware.generate.load import CONSUMABLE, OPTIONAL, REFERENCE, STANDARD, Hardware, Signal

NOTE = "Generated from the data in `hardware/`; do not edit.\n"


def _table(head: Iterable[str], rows: Iterable[Iterable[object]]) -> str:
    head = list(head)
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    lines += ["| " + " | ".join(str(cell) for cell in row) + " |" for row in rows]
    return "\n".join(lines) + "\n"


def wiring(hardware: Hardware) -> str:
    """Signals, controller pins, terminals, then the sensor board's parts net by net."""
    boards = list(hardware.boards)
    signals = _table(
        [
            "signal",
            "role",
            *(f"{board} GPIO" for board in boards),
            "channel",
            "pull-up",
            "terminal",
            "cable",
            "colours",
        ],
        (
            [
                s.id,
                s.role,
                *(s.pins[board] for board in boards),
                ", ".join(s.channels) or "–",
                f"{s.pull_ohm / 1e3:g} k" if s.pull_ohm else "–",
                s.terminal or "–",
                s.cable or "on the board",
                s.colour or "–",
            ]
            for s in hardware.signals
        ),
    )
    nets: dict[str, list[str]] = {net: [] for net in hardware.sensor_board.nets}
    for part in hardware.sensor_board.parts:
        for pin, net in part.pins.items():
            nets[net].append(f"{part.ref}.{pin}")
    rows = ([net, hardware.sensor_board.nets[net], " ".join(pins)] for net, pins in sorted(nets.items()))
    joined = _table(["net", "domain", "joins (part.pin)"], rows)
    return f"# Wiring\n\n{NOTE}\n## Signals\n\n{signals}\n## Sensor board, net by net\n\n{joined}"


def labels(hardware: Hardware) -> str:
    """One row a wire end: print, cut, stick at both ends of each cable."""
    rows = [row for signal in hardware.signals if signal.terminal for row in _labels(signal)]
    rows.sort(key=lambda row: (int(row[0][1:].split(".")[0]), row[0]))
    return f"# Terminal labels\n\n{NOTE}\n" + _table(["label", "signal", "channel", "wire", "colours"], rows)


def _labels(signal: Signal) -> list[list[str]]:
    channel = signal.channels[0] if len(signal.channels) == 1 else "1-Wire line"
    return [
        [f"{signal.terminal}.{wire.split(' ')[0]}", signal.id, channel, wire.partition(" ")[2], signal.colour]
        for wire in signal.wires
    ]


def parts(hardware: Hardware) -> str:
    """The parts list by build, with rough prices and their sums."""
    text = [f"# Parts list\n\n{NOTE}\nPrices are rough, in US dollars, from memory: an order of size, not an offer.\n"]
    titles = {
        STANDARD: "Standard build: the four required channels, return air, motor and heaters",
        OPTIONAL: "Optional: call, float, lockouts, leak, air pressure, level",
        CONSUMABLE: "Box and small parts",
        REFERENCE: "Reference only: the mains stages of the calculation; nothing here asks you to build them",
    }
    for build, title in titles.items():
        rows = [row for row in hardware.bom.values() if row.build == build]
        low, high = (
            sum(r.qty * price for r, price in ((r, getattr(r, key)) for r in rows)) for key in ("usd_low", "usd_high")
        )
        body = _table(
            ["id", "qty", "part", "rating", "listed", "rough $ each", "or"],
            (
                [
                    r.id,
                    r.qty,
                    r.cls,
                    r.rating,
                    "yes" if r.safety_listed else "",
                    f"{r.usd_low:g}–{r.usd_high:g}",
                    r.alternatives,
                ]
                for r in rows
            ),
        )
        text.append(f"## {title}\n\n{body}\nSum: about {low:.0f} to {high:.0f} $\n")
    return "\n".join(text)


def senses(hardware: Hardware) -> str:
    """Rules R1 to R7, then how each on/off channel is sensed."""
    rules = _table(
        ["rule", "what holds", "held by"], ([k, r["text"], f"`{r['field']}`"] for k, r in hardware.rules.items())
    )
    rows = (
        [
            sense["id"],
            hardware.signal(sense["pinmap_id"]).channels[0],
            hardware.signal(sense["pinmap_id"]).terminal,
            sense["variant"].replace("_", " "),
            sense["domain_in"],
            "yes" if sense["qualified_person"] else "no",
            sense["where"],
            sense["why"],
        ]
        for sense in hardware.senses
    )
    head = ["what", "channel", "terminal", "sensor", "side", "qualified person", "where", "why"]
    return f"# Senses\n\n{NOTE}\n## Rules\n\n{rules}\n## Each sense\n\n{_table(head, rows)}"


def stages(hardware: Hardware) -> str:
    """The figures of the presence stages, from `expected.toml`."""
    rows = []
    for name, netlist in hardware.stages.items():
        e, supply = hardware.expected[name], netlist.meta["supply_v"]
        rows.append(
            [
                name,
                f"{supply['min']}–{supply['max']}",
                e["window"]["off_below_v"],
                e["release_v"],
                e["operate_v"],
                e["window"]["on_above_v"],
                e["unranked_operate_v"],
                " / ".join(map(str, e["led_ma"])),
                " / ".join(map(str, e["input_ma"])),
                " / ".join(map(str, e["series_w"])),
                e["half_wave_v"],
            ]
        )
    head = [
        "stage", "supply V", "must be off below V", "is off below V", "is on above V", "must be on above V",
        "on above V, unranked part", "LED mA min / nom / max", "input mA nom / max", "series W nom / max",
        "half wave, output V",
    ]  # fmt: skip
    ssr = _table(
        ["stage", "snubber nF", "input reads, load open", "bleeder that cures it"],
        (
            [name, nf, reads, f"{ohm / 1e3:g} k" if ohm else "–"]
            for name in hardware.stages
            for nf, reads, ohm in hardware.expected[name]["ssr"]
        ),
    )
    text = "Simulated, not measured: confirm the thresholds on the bench with three parts before anyone relies on them."
    table = _table(head, rows)
    drawings = "\n".join(f"![{name}](sense-{name}.svg)\n" for name in hardware.stages)
    return f"# Presence stages\n\n{NOTE}\n{text}\n\n{table}\n{drawings}\n## Solid-state relay, load gone open\n\n{ssr}"


def budgets(hardware: Hardware) -> str:
    """Error budgets of the temperature channels."""
    rows = []
    for row in hardware.budgets:
        found = budget(row)
        terms = ", ".join(f"{name} {value:.2f}" for name, value in found.terms.items())
        rows.append([row["id"], f"{row['at_C']:g}", terms, f"{found.worst_K:.1f}", f"{found.rss_K:.1f}"])
    head = ["channel", "at °C", "terms K", "worst K", "root sum square K"]
    return f"# Temperature error budgets\n\n{NOTE}\n{_table(head, rows)}"
