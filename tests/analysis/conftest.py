"""Property tests here run the same examples every time and are never judged by the clock."""

from hypothesis import settings

settings.register_profile("analysis", deadline=None, derandomize=True, max_examples=40)
settings.load_profile("analysis")
