"""On, off and off-with-the-load-unplugged levels of an on/off input."""

from sootline.errors import UserError

ON_BELOW_V = 0.8
OFF_ABOVE_V = 2.5


def sense_check(on_V: float, off_V: float, unplugged_V: float) -> None:
    """Check the voltages at the controller's pin. Raises UserError that says what the first wrong one means."""
    if not on_V < ON_BELOW_V:
        raise UserError(
            f"On reads {on_V:.2f} V, not under {ON_BELOW_V} V: add a loop at the switch, or a dirty contact."
        )
    if not off_V > OFF_ABOVE_V:
        raise UserError(f"Off reads {off_V:.2f} V, not over {OFF_ABOVE_V} V: stray current, or a leaking contact.")
    if not unplugged_V > OFF_ABOVE_V:
        raise UserError(
            f"With the load unplugged it reads {unplugged_V:.2f} V: the solid-state relay leaks into the sense and an "
            "open heater would look on. Sense the current instead."
        )
