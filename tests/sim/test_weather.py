"""Weather from a seed."""

import numpy as np
import pytest

from sootline.sim.weather import DAY_MS, HOUR_MS, Weather

START_MS = 1_767_571_200_000


def test_the_same_moment_has_the_same_weather_whenever_it_is_asked():
    one, other = Weather(4), Weather(4)
    moments = [START_MS + k * 3 * HOUR_MS for k in range(200)]
    assert [one.outdoor_C(t) for t in moments] == [other.outdoor_C(t) for t in reversed(moments)][::-1]
    assert Weather(5).outdoor_C(START_MS) != one.outdoor_C(START_MS)


def test_given_days_are_kept_and_dawn_is_coldest():
    number = START_MS // DAY_MS
    weather = Weather(1, days={number: (-10.0, -2.0), number - 1: (-8.0, -4.0), number + 1: (-9.0, -3.0)})
    hours = [weather.outdoor_C(START_MS + h * HOUR_MS // 2) for h in range(48)]
    assert min(hours) == pytest.approx(-10.0, abs=0.6) and int(np.argmin(hours)) in range(11, 16)
    assert max(hours) == pytest.approx(-2.0, abs=0.6) and int(np.argmax(hours)) in range(27, 32)


def test_a_season_has_its_mean_and_spread_and_no_jumps():
    weather = Weather(3, mean_C=-2.0, spread_K=4.0)
    t_C = np.array([weather.outdoor_C(START_MS + k * HOUR_MS) for k in range(24 * 400)])
    assert np.mean(t_C) == pytest.approx(-2.0, abs=1.0)
    daily = t_C.reshape(400, 24).mean(axis=1)
    assert 2.0 < np.std(daily) < 6.0
    assert np.corrcoef(daily[:-1], daily[1:])[0, 1] > 0.5
    assert np.abs(np.diff(t_C)).max() < 4.0
