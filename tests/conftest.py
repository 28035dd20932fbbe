"""What holds for all tests: the same examples in every run, and no deadline on a busy machine."""

from hypothesis import settings

settings.register_profile("steady", derandomize=True, deadline=None)
settings.load_profile("steady")
