"""Warming oil: a stirred, electrically heated tank, a flow-through preheater, and the dip of a cold refill."""

from math import inf, isinf, log1p

from sootline.heat.elementwise import F, check_positive, check_range, expm1


def heat_capacity(volume_l: float, density_kg_m3: float, specific_heat_J_kgK: float) -> float:
    """Heat capacity of a tankful [J/K]: C = V rho c, V in [L].

    Raises: OutOfRange
    Source: definition.
    """
    check_positive("tank volume", volume_l, "L")
    check_range("density", density_kg_m3, 600.0, 1200.0, "kg/m³")
    check_range("specific heat", specific_heat_J_kgK, 1000.0, 4300.0, "J/(kg K)")
    return volume_l / 1000.0 * density_kg_m3 * specific_heat_J_kgK


def final_temperature(heater_W: float, ua_W_K: float, ambient_C: float) -> float:
    """Temperature the tank tends to [°C]; infinite when no heat is lost and the heater is on.

    T_inf = Ta + P/UA.
    Raises: OutOfRange
    Source: heat balance of a well-stirred tank, m c dT/dt = P - UA (T - Ta).
    """
    check_range("heater power", heater_W, 0.0, 1e5, "W")
    check_range("loss coefficient", ua_W_K, 0.0, 1e4, "W/K")
    if ua_W_K == 0.0:
        return inf if heater_W > 0.0 else ambient_C
    return ambient_C + heater_W / ua_W_K


def tank_temperature(
    time_s: F, start_C: float, heater_W: float, ua_W_K: float, ambient_C: float, capacity_J_K: float
) -> F:
    """Tank temperature [°C] after `time_s` [s] of heating.

    T(t) = T0 + (T_inf - T0)(1 - e^(-t/tau)), tau = C/UA; without loss T0 + P t / C.
    Valid: well stirred, constant power and ambient.
    Raises: OutOfRange
    Source: closed form of m c dT/dt = P - UA (T - Ta).
    """
    check_positive("heat capacity", capacity_J_K, "J/K")
    check_range("time", time_s, 0.0, 1e9, "s")
    end_C = final_temperature(heater_W, ua_W_K, ambient_C)
    if ua_W_K == 0.0 or isinf(end_C):
        return start_C + heater_W * time_s / capacity_J_K
    return start_C - (end_C - start_C) * expm1(-time_s * (ua_W_K / capacity_J_K))


def time_to_temperature(
    target_C: float, start_C: float, heater_W: float, ua_W_K: float, ambient_C: float, capacity_J_K: float
) -> float:
    """Time [s] to warm from `start_C` to `target_C` [°C]; infinite when the heater cannot reach it.

    t = -tau ln((T_inf - T)/(T_inf - T0)); without loss C (T - T0)/P.
    Raises: OutOfRange
    Source: closed form of m c dT/dt = P - UA (T - Ta).
    """
    check_positive("heat capacity", capacity_J_K, "J/K")
    if target_C <= start_C:
        return 0.0
    end_C = final_temperature(heater_W, ua_W_K, ambient_C)
    if isinf(end_C):
        return capacity_J_K * (target_C - start_C) / heater_W
    if target_C >= end_C:
        return inf
    return -capacity_J_K / ua_W_K * log1p(-(target_C - start_C) / (end_C - start_C))


def heater_power_from_slope(
    slope_K_s: float, tank_C: float, ua_W_K: float, ambient_C: float, capacity_J_K: float
) -> float:
    """Heater power [W] that explains a climb of `slope_K_s` [K/s] at `tank_C` [°C].

    P = C dT/dt + UA (T - Ta).
    Raises: OutOfRange
    Source: heat balance of a well-stirred tank.
    """
    check_positive("heat capacity", capacity_J_K, "J/K")
    check_range("slope", slope_K_s, -1.0, 10.0, "K/s")
    return capacity_J_K * slope_K_s + ua_W_K * (tank_C - ambient_C)


def preheat_power(mass_flow_kg_s: float, specific_heat_J_kgK: float, inlet_C: float, outlet_C: float) -> float:
    """Power [W] that warms a flow of `mass_flow_kg_s` [kg/s] from inlet to outlet [°C].

    P = m_dot c (T_out - T_in).
    Raises: OutOfRange
    Source: steady-flow energy balance.
    """
    check_range("mass flow", mass_flow_kg_s, 0.0, 1.0, "kg/s")
    check_range("warming", outlet_C - inlet_C, 0.0, 200.0, "K")
    return mass_flow_kg_s * specific_heat_J_kgK * (outlet_C - inlet_C)


def refill_dip(refill_l: float, refill_C: float, tank_l: float, tank_C: float) -> float:
    """Fall of the tank temperature [K] when `refill_l` at `refill_C` is stirred into `tank_l` at `tank_C` [L, °C].

    dT = V_r (T - T_r) / (V + V_r), equal density and specific heat taken.
    Raises: OutOfRange
    Source: mixing balance; `tank_l` is what is in the tank just before the refill.
    """
    check_range("refill", refill_l, 0.0, 1000.0, "L")
    check_positive("tank contents", tank_l, "L")
    return refill_l * (tank_C - refill_C) / (tank_l + refill_l)
