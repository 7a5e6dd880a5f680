"""Property tests here run the same examples every time and are never judged by the clock."""

from hypothesis import settings

settings.register_profile("heat", deadline=None, derandomize=True)
settings.load_profile("heat")
