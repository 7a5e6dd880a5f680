"""Local times of day: quiet hours, and when the next or the last digest is due."""

from datetime import datetime, time, timedelta, tzinfo


def local(t_ms: int, zone: tzinfo | None) -> datetime:
    """The moment in `zone`; None is the zone of the machine."""
    return datetime.fromtimestamp(t_ms / 1000, zone).astimezone(zone)


def _ms(moment: datetime) -> int:
    return round(moment.timestamp() * 1000)


def _at(day: datetime, at: time, zone: tzinfo | None) -> datetime:
    naive = datetime.combine(day.date(), at)
    return naive.replace(tzinfo=zone) if zone is not None else naive.astimezone()


def quiet_until_ms(now_ms: int, quiet: tuple[time, time] | None, zone: tzinfo | None) -> int | None:
    """When the quiet hours that hold now end; None when none do."""
    if quiet is None or quiet[0] == quiet[1]:
        return None
    now = local(now_ms, zone)
    begin, end = quiet
    inside = begin <= now.time() < end if begin < end else now.time() >= begin or now.time() < end
    if not inside:
        return None
    ends = _at(now, end, zone)
    return _ms(ends if ends > now else _at(now + timedelta(days=1), end, zone))


def last_ms(now_ms: int, at: time, zone: tzinfo | None, weekday: int | None = None) -> int:
    """The last time, now or before, that it was `at` (on that weekday)."""
    now = local(now_ms, zone)
    for back in range(8):
        day = now - timedelta(days=back)
        moment = _at(day, at, zone)
        if moment <= now and weekday in (None, day.weekday()):
            return _ms(moment)
    raise AssertionError("a week has every day in it")


def next_ms(now_ms: int, at: time, zone: tzinfo | None, weekday: int | None = None) -> int:
    """The next time, after now, that it is `at` (on that weekday)."""
    now = local(now_ms, zone)
    for ahead in range(9):
        day = now + timedelta(days=ahead)
        moment = _at(day, at, zone)
        if moment > now and weekday in (None, day.weekday()):
            return _ms(moment)
    raise AssertionError("a week has every day in it")
