"""When cleaning pays: the interval with the least average cost, and how little it matters to miss it.

An extra-cost rate L(t) grows with dirt; a cleaning costs C. Average cost J(T) = (C + integral of L)/(T + d) with
downtime d; at the optimum L(T*) = J(T*): clean when the present loss equals the running average.
Time may be days or burning hours; money is any currency; both only have to be the same throughout.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import exp, inf, isfinite, log, pow, sqrt

import numpy as np

from sootline.errors import OutOfRange
from sootline.heat.elementwise import FloatArray, check_positive, check_range

_TOLERANCE = 1e-12


def optimal_interval_linear(cost: float, growth_per_time2: float, downtime: float = 0.0) -> float:
    """Optimal cleaning interval T* [time] when the loss rate grows linearly, L = k t.

    T* = -d + sqrt(d^2 + 2 C/k); without downtime sqrt(2 C/k). C cost of a cleaning [money], k [money/time²].
    Raises: OutOfRange
    Source: minimum of (C + k T^2/2)/(T + d).
    """
    check_positive("cleaning cost", cost, "")
    check_positive("loss growth", growth_per_time2, "")
    check_range("downtime", downtime, 0.0, 1e6, "")
    return -downtime + sqrt(downtime**2 + 2.0 * cost / growth_per_time2)


def optimal_interval_power(cost: float, coefficient: float, exponent: float) -> float:
    """Optimal cleaning interval T* [time] when the loss rate is L = k t^p.

    T* = (C (p + 1)/(k p))^(1/(p + 1)).
    Valid: p above 0; p below 1 is the falling-rate model.
    Raises: OutOfRange
    Source: minimum of (C + k T^(p+1)/(p+1))/T.
    """
    check_positive("cleaning cost", cost, "")
    check_positive("loss coefficient", coefficient, "")
    check_range("exponent", exponent, 0.01, 5.0, "")
    return pow(cost * (exponent + 1.0) / (coefficient * exponent), 1.0 / (exponent + 1.0))


def optimal_interval_asymptotic(cost: float, final_loss: float, tau: float) -> float:
    """Optimal cleaning interval T* [time] when the loss rate levels off, L = Linf (1 - e^(-t/tau)).

    Solves Linf tau (1 - (1 + T/tau) e^(-T/tau)) = C; infinite when C >= Linf tau: cost alone never asks for cleaning.
    Raises: OutOfRange
    Source: minimum of the average cost with the Kern-Seaton asymptotic law.
    """
    check_positive("cleaning cost", cost, "")
    check_positive("final loss rate", final_loss, "")
    check_positive("time constant", tau, "")
    share = cost / (final_loss * tau)
    if share >= 1.0:
        return inf
    low, high = 0.0, 1.0
    while 1.0 - (1.0 + high) * exp(-high) < share:
        high *= 2.0
    while high - low > _TOLERANCE * high:
        middle = 0.5 * (low + high)
        low, high = (middle, high) if 1.0 - (1.0 + middle) * exp(-middle) < share else (low, middle)
    return tau * 0.5 * (low + high)


def average_cost(interval: float, cost: float, spent: Callable[[float], float], downtime: float = 0.0) -> float:
    """Average cost rate J [money/time] of cleaning every `interval` [time].

    J(T) = (C + S(T))/(T + d), S the integral of the loss rate from 0 to T [money].
    Raises: OutOfRange
    Source: definition of the renewal average.
    """
    check_positive("interval", interval, "")
    return (cost + spent(interval)) / (interval + downtime)


def optimal_interval(cost: float, spent: Callable[[float], float], longest: float, downtime: float = 0.0) -> float:
    """Optimal cleaning interval T* [time] for any growing loss, found numerically; infinite if past `longest`.

    Golden-section search on ln T for the minimum of `average_cost`.
    Valid: a loss rate that does not fall with time, so that J has one minimum.
    Raises: OutOfRange
    Source: numeric minimum; agrees with the closed forms to 1e-6.
    """
    check_positive("cleaning cost", cost, "")
    check_positive("longest interval", longest, "")
    ratio = (sqrt(5.0) - 1.0) / 2.0
    low, high = log(longest) - 14.0, log(longest)

    def j(x: float) -> float:
        return average_cost(exp(x), cost, spent, downtime)

    a, b = high - ratio * (high - low), low + ratio * (high - low)
    ja, jb = j(a), j(b)
    while high - low > 1e-9:
        if ja <= jb:
            high, b, jb = b, a, ja
            a = high - ratio * (high - low)
            ja = j(a)
        else:
            low, a, ja = a, b, jb
            b = low + ratio * (high - low)
            jb = j(b)
    best = exp(0.5 * (low + high))
    return inf if best > longest * (1.0 - 1e-6) else best


@dataclass(frozen=True)
class Window:
    """Any time between `start` and `end` costs at most the stated share more than the best time [time]."""

    best: float
    start: float
    end: float
    best_rate: float


def flat_window(time: FloatArray, loss_rate: FloatArray, cost: float, share: float = 0.05) -> Window:
    """Cleaning times that cost at most `share` [-] more than the best one.

    time: grid from 0 on [time]; loss_rate: L on that grid [money/time]; cost: C [money].
    J is built by the trapezium rule. `best`, `end` are infinite when the minimum or the window's end is past the grid.
    Raises: OutOfRange for a grid that does not start at 0 or does not increase
    Source: average cost J(T) = (C + integral of L)/T; near T* a linear loss gives J/J* = (T/T* + T*/T)/2.
    """
    rates = average_cost_curve(time, loss_rate, cost)
    best = int(np.argmin(rates)) + 1
    inside = np.flatnonzero(rates <= rates[best - 1] * (1.0 + share)) + 1
    last = time.size - 1
    return Window(
        best=inf if best == last else float(time[best]),
        start=float(time[inside[0]]),
        end=inf if inside[-1] == last else float(time[inside[-1]]),
        best_rate=float(rates[best - 1]),
    )


def average_cost_curve(time: FloatArray, loss_rate: FloatArray, cost: float) -> FloatArray:
    """Average cost J [money/time] of cleaning at each time after the first of the grid [time].

    J(T) = (C + integral of L by the trapezium rule)/T.
    Raises: OutOfRange for a grid that does not start at 0 or does not increase
    Source: definition of the renewal average.
    """
    check_positive("cleaning cost", cost, "")
    if time.size < 3 or time[0] != 0.0 or np.any(np.diff(time) <= 0.0):
        raise OutOfRange("the time grid must start at 0, increase, and have at least 3 points")
    spent = np.cumsum(np.diff(time) * 0.5 * (loss_rate[1:] + loss_rate[:-1]))
    curve: FloatArray = (cost + spent) / time[1:]
    return curve


def cost_of_missing(actual: float, best: float) -> float:
    """Share [-] by which the average cost exceeds the best when cleaning at `actual` instead of `best` [time].

    J/J* - 1 = (T/T* + T*/T)/2 - 1 for a linear loss: half or double the interval costs 25 % more.
    Raises: OutOfRange
    Source: ratio of J = C/T + k T/2 at T and at T* = sqrt(2 C/k).
    """
    check_positive("actual interval", actual, "")
    check_positive("best interval", best, "")
    if not isfinite(best):
        raise OutOfRange("there is no best interval to compare with")
    return 0.5 * (actual / best + best / actual) - 1.0


def loss_per_kelvin_hour(
    oil_rate_l_per_h: float, oil_value_per_l: float, slope_percent_per_K: float, efficiency: float
) -> float:
    """Money lost per kelvin of stack rise and burning hour [money/(K h)].

    q v s / eta: q oil burned [L/h], v what a litre not wasted is worth [money/L], s efficiency lost per kelvin [%/K],
    eta efficiency [-].
    Raises: OutOfRange
    Source: firing rate times the extra oil of the Siegert slope.
    """
    check_positive("oil rate", oil_rate_l_per_h, "L/h")
    check_range("oil value", oil_value_per_l, 0.0, 1e6, "per L")
    check_range("loss slope", slope_percent_per_K, 0.0, 1.0, "%/K")
    check_range("efficiency", efficiency, 0.4, 1.0, "")
    return oil_rate_l_per_h * oil_value_per_l * slope_percent_per_K / 100.0 / efficiency


def loss_growth(loss_per_K_h: float, rise_K_per_h: float) -> float:
    """Growth k of the loss rate with burning hours [money/h²], for `optimal_interval_linear`.

    k = loss per kelvin and hour [money/(K h)] times the rise per burning hour [K/h].
    Raises: OutOfRange
    Source: a stack that rises in a straight line.
    """
    check_range("stack rise", rise_K_per_h, 0.0, 10.0, "K/h")
    return loss_per_K_h * rise_K_per_h
