"""Kinematic viscosity against temperature: the straight line of ASTM D341, and the viscosity index of ASTM D2270."""

from dataclasses import dataclass

from sootline.errors import OutOfRange
from sootline.heat.conversions import celsius, kelvin
from sootline.heat.elementwise import F, check_range, exp, log10

# Oils thicken by wax and stop being Newtonian in the cold, and crack when hot; D341 does not know either.
LOWEST_C, HIGHEST_C = -20.0, 150.0
LOWEST_MM2_S, HIGHEST_MM2_S = 0.21, 2.0e7


def z_of(viscosity_mm2_s: F) -> F:
    """Z [-], the viscosity term of D341: Z = v + 0.7 + exp(-1.47 - 1.84 v - 0.51 v^2).

    viscosity_mm2_s: kinematic viscosity v [mm²/s]
    Valid: v 0.21 to 2e7 mm²/s; above 2 mm²/s the exponential is below 0.001.
    Raises: OutOfRange
    Source: ASTM D341 as implemented by several public codes (the Twu 1985 method uses the same Z); edition
    text not read.
    """
    check_range("viscosity", viscosity_mm2_s, LOWEST_MM2_S, HIGHEST_MM2_S, "mm²/s")
    v = viscosity_mm2_s
    return v + 0.7 + exp(-1.47 - 1.84 * v - 0.51 * v * v)


def viscosity_of_z(z: F) -> F:
    """Kinematic viscosity v [mm²/s] whose D341 term is Z [-]; the inverse of `z_of`.

    First guess v = (Z - 0.7) - exp(-0.7487 - 3.295 (Z-0.7) + 0.6119 (Z-0.7)^2 - 0.3193 (Z-0.7)^3), good to
    2e-4 at 2 mm²/s, then Newton steps on `z_of`.
    Raises: OutOfRange
    Source: ASTM D341 inverse equation, refined; edition text not read.
    """
    check_range("Z", z, 1.06, HIGHEST_MM2_S + 0.7, "")
    u = z - 0.7
    v = u - exp(-0.7487 - 3.295 * u + 0.6119 * u * u - 0.3193 * u * u * u)
    for _ in range(4):
        bump = exp(-1.47 - 1.84 * v - 0.51 * v * v)
        v = v - (v + 0.7 + bump - z) / (1.0 - (1.84 + 1.02 * v) * bump)
    return v


@dataclass(frozen=True)
class ViscosityLine:
    """log10 log10 Z = A - B log10 T, with T in kelvin: one oil's viscosity at every temperature (ASTM D341)."""

    a: float
    b: float

    def at(self, temperature_C: F) -> F:
        """Kinematic viscosity [mm²/s] at `temperature_C` [°C].

        log10 log10 Z = A - B log10 T. Valid: -20 to 150 °C, Newtonian oil above its cloud point.
        Raises: OutOfRange
        Source: ASTM D341.
        """
        check_range("oil temperature", temperature_C, LOWEST_C, HIGHEST_C, "°C")
        loglog_z = self.a - self.b * log10(kelvin(temperature_C))
        z: F = 10.0 ** (10.0**loglog_z)
        return viscosity_of_z(z)

    def temperature_for(self, viscosity_mm2_s: float) -> float:
        """Temperature [°C] at which the oil has `viscosity_mm2_s` [mm²/s].

        T = 10^((A - log10 log10 Z) / B).
        Raises: OutOfRange when the answer lies outside -20 to 150 °C.
        Source: ASTM D341 solved for T.
        """
        loglog_z = log10(log10(z_of(viscosity_mm2_s)))
        temperature_C = celsius(10.0 ** ((self.a - loglog_z) / self.b))
        check_range(f"temperature for {viscosity_mm2_s:g} mm²/s", temperature_C, LOWEST_C, HIGHEST_C, "°C")
        return float(temperature_C)


def line_through(t1_C: float, v1_mm2_s: float, t2_C: float, v2_mm2_s: float) -> ViscosityLine:
    """Viscosity line through two measured points, temperatures in [°C], viscosities in [mm²/s].

    B = (log10 log10 Z1 - log10 log10 Z2) / (log10 T2 - log10 T1), A = log10 log10 Z1 + B log10 T1.
    Valid: points at least 10 K apart, the hotter one thinner.
    Raises: OutOfRange
    Source: ASTM D341.
    """
    if t1_C > t2_C:
        t1_C, v1_mm2_s, t2_C, v2_mm2_s = t2_C, v2_mm2_s, t1_C, v1_mm2_s
    check_range("temperature", t1_C, LOWEST_C, HIGHEST_C, "°C")
    check_range("temperature", t2_C, LOWEST_C, HIGHEST_C, "°C")
    if t2_C - t1_C < 10.0:
        raise OutOfRange("the two viscosity points must be at least 10 K apart")
    if v2_mm2_s >= v1_mm2_s:
        raise OutOfRange(f"oil thins when warmed: {v2_mm2_s:g} mm²/s at {t2_C:g} °C is not below {v1_mm2_s:g}")
    y1, y2 = log10(log10(z_of(v1_mm2_s))), log10(log10(z_of(v2_mm2_s)))
    x1, x2 = log10(kelvin(t1_C)), log10(kelvin(t2_C))
    b = (y1 - y2) / (x2 - x1)
    return ViscosityLine(a=float(y1 + b * x1), b=float(b))


# Y from, then L = a Y^2 + b Y + c and H = d Y^2 + e Y + f (ASTM D2270, curve-fit form of its table).
_D2270 = (
    (2.0, 1.14673, 1.7576, -0.109, 0.84155, 1.5521, -0.077),
    (3.8, 3.38095, -15.4952, 33.196, 0.78571, 1.7929, -0.183),
    (4.4, 2.5000, -7.2143, 13.812, 0.82143, 1.5679, 0.119),
    (5.0, 0.10100, 16.6350, -45.469, 0.04985, 9.1613, -18.557),
    (6.4, 3.35714, -23.5643, 78.466, 0.22619, 7.7369, -16.656),
    (7.0, 0.01191, 21.4750, -72.870, 0.79762, -0.7321, 14.610),
    (7.7, 0.41858, 16.1558, -56.040, 0.05794, 10.5156, -28.240),
    (9.0, 0.88779, 7.5527, -16.600, 0.26665, 6.7015, -10.810),
    (12.0, 0.76720, 10.7972, -38.180, 0.20073, 8.4658, -22.490),
    (15.0, 0.97305, 5.3135, -2.200, 0.28889, 5.9741, -4.930),
    (18.0, 0.97256, 5.2500, -0.980, 0.24504, 7.4160, -16.730),
    (22.0, 0.91413, 7.4759, -21.820, 0.20323, 9.1267, -34.230),
    (28.0, 0.87031, 9.7157, -50.770, 0.18411, 10.1015, -46.750),
    (40.0, 0.84703, 12.6752, -133.310, 0.17029, 11.4866, -80.620),
    (55.0, 0.85921, 11.1009, -83.190, 0.17130, 11.3680, -76.940),
    (70.0, 0.83531, 14.6731, -216.246, 0.16841, 11.8493, -96.947),
)


def viscosity_index(v40_mm2_s: float, v100_mm2_s: float) -> float:
    """Viscosity index VI [-] from the viscosities U at 40 °C and Y at 100 °C [mm²/s].

    VI = 100 (L - U)/(L - H) up to 100; above, N = (log H - log U)/log Y and VI = (10^N - 1)/0.00715 + 100.
    Valid: Y 2 to 500 mm²/s.
    Raises: OutOfRange
    Source: ASTM D2270 sections 5.1.4 and 6.1.4; L and H by its curve-fit coefficients (from memory, checked
    in the tests against the table in the `chemicals` library and the standard's worked examples).
    """
    check_range("viscosity at 100 °C", v100_mm2_s, 2.0, 500.0, "mm²/s")
    check_range("viscosity at 40 °C", v40_mm2_s, v100_mm2_s, HIGHEST_MM2_S, "mm²/s")
    row = [r for r in _D2270 if r[0] <= v100_mm2_s][-1]
    y = v100_mm2_s
    low = row[1] * y * y + row[2] * y + row[3]
    high = row[4] * y * y + row[5] * y + row[6]
    if v40_mm2_s >= high:
        return 100.0 * (low - v40_mm2_s) / (low - high)
    n = float((log10(high) - log10(v40_mm2_s)) / log10(y))
    return float((10.0**n - 1.0) / 0.00715 + 100.0)
