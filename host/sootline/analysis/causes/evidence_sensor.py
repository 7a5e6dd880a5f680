"""Evidence about a probe that lies: what the board says of it, and whether others lie with it."""

from sootline.analysis.causes.scene import EVIDENCE, Evidence, Finding, Scene, evidence

KINDS = {
    "open": "board says: circuit open", "short": "board says: shorted", "range": "reading out of range",
    "crc": "answers garbled", "absent": "does not answer", "frozen": "reading stands still",
    "spiking": "reading jumps there and back", "drifted": "wrong against the others when cold",
}  # fmt: skip


def _says(kind: str) -> None:
    def test(scene: Scene) -> Finding | None:
        fault = scene.entry.detail.get("fault")
        return Finding(fault == kind, KINDS[kind] if fault == kind else f"not {kind}") if fault else None

    EVIDENCE[f"fault-{kind}"] = Evidence(f"fault-{kind}", 0.12, f"The fault is of the kind: {KINDS[kind]}.", test)


for _kind in KINDS:
    _says(_kind)


@evidence("others-too", 0.15)
def others_too(scene: Scene) -> Finding | None:
    """Another probe fails at the same time: what they share, a bus, a supply, a ground, is to blame."""
    n = sum(
        entry.alarm == "sensor-fault" and entry is not scene.entry
        and abs(entry.raised_ms - scene.entry.raised_ms) < 600_000
        for entry in scene.plant.book.all_standing()
    )  # fmt: skip
    return Finding(n > 0, f"{n} more probes at the same time" if n else "no other probe at the same time")
