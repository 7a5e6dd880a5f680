"""The limits a dirty exchanger runs into, as a rise of the stack or as burning hours left, with their uncertainty."""

from dataclasses import dataclass
from math import inf

import numpy as np

from sootline.errors import OutOfRange
from sootline.heat.elementwise import FloatArray, check_range


@dataclass(frozen=True)
class RiseLimit:
    """A limit reached when the stack rise over clean passes `rise_K` +- `sd_K` [K]: vent, draft, the owner's own."""

    rise_K: float
    sd_K: float = 0.0


def line_fit(x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray, float]:
    """Least-squares line y = a + b x: (a, b), their covariance, and the residual variance; NaN pairs are left out.

    x, y: in any unit. Valid: at least 8 pairs at different x.
    Raises: OutOfRange
    Source: ordinary least squares.
    """
    usable = np.isfinite(x) & np.isfinite(y)
    x, y = x[usable], y[usable]
    if x.size < 8 or np.ptp(x) < 1e-6:
        raise OutOfRange("at least 8 readings at different values are needed for a line")
    design = np.column_stack([np.ones_like(x), x])
    inverse = np.linalg.inv(design.T @ design)
    coefficients = inverse @ design.T @ y
    residual = y - design @ coefficients
    variance = float(residual @ residual) / (x.size - 2)
    return coefficients, inverse * variance, variance


def clean_stack_at_coldest(outdoor_C: FloatArray, stack_C: FloatArray, coldest_C: float) -> tuple[float, float]:
    """Gross stack temperature [°C] of the clean furnace on the coldest forecast day, and its standard error [K].

    outdoor_C, stack_C: of steady firings while clean [°C]; coldest_C: lowest daily mean of the forecast [°C]. A line
    through the clean firings, carried on at most 15 K beyond the coldest of them; scatter of one firing is included.
    Raises: OutOfRange
    Source: ordinary least squares; long cold-day firings run hotter (service practice).
    """
    seen = float(np.nanmin(outdoor_C))
    check_range("coldest forecast", coldest_C, seen - 15.0, 40.0, "°C")
    (a, b), covariance, variance = line_fit(outdoor_C, stack_C)
    at = np.array([1.0, coldest_C])
    return float(a + b * coldest_C), float(np.sqrt(at @ covariance @ at + variance))


def vent_rise_limit(
    limit_C: float, clean_stack_coldest_C: float, clean_sd_K: float = 5.0, margin_K: float = 40.0
) -> RiseLimit:
    """Rise [K] at which the stack meets its limit less a margin on the coldest forecast day.

    rise = limit - margin - clean stack at the coldest forecast [°C]. Margin 40 K by default.
    Raises: OutOfRange when the clean stack leaves no room: then the furnace is overfired or the limit is wrong
    Source: definition; the margin is common practice.
    """
    check_range("stack limit", limit_C, 100.0, 700.0, "°C")
    room = limit_C - margin_K - clean_stack_coldest_C
    if room <= 0.0:
        raise OutOfRange(
            f"clean stack {clean_stack_coldest_C:.0f} °C on the coldest day leaves no room below "
            f"{limit_C:.0f} °C less {margin_K:.0f} K: find out why before counting on a date"
        )
    return RiseLimit(room, clean_sd_K)


def draft_rise_limit(rise_K: FloatArray, draft_Pa: FloatArray, limit_Pa: float = 0.0) -> RiseLimit | None:
    """Rise [K] at which the draft over the fire reaches `limit_Pa` [Pa], by a line through what was seen.

    draft = a + b rise, draft negative when it pulls; rise* = (limit - a)/b with the delta-method error.
    None when the draft does not weaken clearly with the rise (slope under 2 standard errors).
    Valid: at least 8 pairs; NaN pairs are left out.
    Raises: OutOfRange
    Source: least squares; deposits that block the passes weaken the draft (oil-heat service practice).
    """
    (a, b), covariance, _ = line_fit(rise_K, draft_Pa)
    if b <= 2.0 * float(np.sqrt(covariance[1, 1])):
        return None
    rise = (limit_Pa - a) / b
    gradient = np.array([-1.0 / b, -rise / b])
    return RiseLimit(max(float(rise), 0.0), float(np.sqrt(gradient @ covariance @ gradient)))


def smoke_limit_hours(hours: FloatArray, smoke: FloatArray, draws: FloatArray, number: float = 2.0) -> FloatArray:
    """Burning hours from the last test until the smoke spot reaches `number` [-], one for each normal draw [-].

    0 when the last two tests reached it already; infinite when no upward line can be seen. A line through the tests,
    whose reading error is taken as at least half a spot number.
    hours: burning hours of each test [h]; smoke: spot numbers 0 to 9.
    Raises: OutOfRange
    Source: ASTM D2156 spot number; two tests of 2 or more is the trade's limit, common practice.
    """
    check_range("smoke spot number", smoke, 0.0, 9.0, "")
    if smoke.size >= 2 and bool(np.all(smoke[-2:] >= number)):
        return np.zeros_like(draws)
    if smoke.size < 3 or np.ptp(hours) <= 0.0:
        return np.full_like(draws, inf)
    design = np.column_stack([np.ones_like(hours), hours - hours[-1]])
    inverse = np.linalg.inv(design.T @ design)
    a, b = inverse @ design.T @ smoke
    residual = smoke - design @ np.array([a, b])
    sd = max(0.5, float(np.sqrt(residual @ residual / max(1, smoke.size - 2))))
    slope = b + sd * float(np.sqrt(inverse[1, 1])) * draws
    reached: FloatArray = np.where(slope > 1e-9, (number - a) / np.where(slope > 1e-9, slope, 1.0), inf)
    return np.maximum(0.0, reached)
