"""The printed commissioning sheet, from the same steps the host walks through."""

from __future__ import annotations

from sootline.commissioning.steps import STEPS, Step, unlocks

NOTE = "Generated from the steps in `sootline.commissioning`; do not edit.\n"
HEAD = """
Furnace id: ______________________  Board serial: ______________________

Supply frequency: [ ] 50 Hz  [ ] 60 Hz      Control circuit: [ ] 24 V AC  [ ] 120 V  [ ] 230 V

The same values go into the host (`sootline commission`), which computes the results. This sheet stays in the box.
"""


def commissioning_sheet() -> str:
    """Markdown with a block a step: what to do, the caution, blanks to fill, what waits for it."""
    return f"# Commissioning sheet\n\n{NOTE}{HEAD}\n" + "\n".join(_block(i, step) for i, step in enumerate(STEPS, 1))


def _block(number: int, step: Step) -> str:
    marks = [mark for mark, on in (("qualified person", step.qualified), ("every year", step.yearly)) if on]
    title = f"## {number}. {step.title}" + (f" ({', '.join(marks)})" if marks else "")
    head = [f"{f.ask}{f' [{f.unit}]' if f.unit else ''}" for f in step.fields]
    rows = step.channels or ("", "", "")
    columns = [*([""] if step.per else []), *head, "date", "by"]
    lines = ["| " + " | ".join(columns) + " |", "|" + "---|" * len(columns)]
    for channel in rows:
        lines.append("| " + " | ".join([*([channel] if step.per else []), *([" "] * (len(head) + 2))]) + " |")
    waiting = unlocks(step.key)
    tail = f"\nWaits for this step: {', '.join(waiting)}.\n" if waiting else ""
    return f"{title}\n\n{step.how}\n\n**Caution:** {step.caution}\n\n" + "\n".join(lines) + f"\n{tail}"
