"""Settings of the whole test suite."""

from hypothesis import settings

settings.register_profile("segue", derandomize=True, deadline=None, max_examples=50)
settings.load_profile("segue")
