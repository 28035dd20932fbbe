"""What holds for all tests: the same examples in every run, no deadline on a busy machine, and
each line traced once where coverage is measured."""

import pytest
from hypothesis import settings

settings.register_profile("steady", derandomize=True, deadline=None)
settings.load_profile("steady")


@pytest.hookimpl(tryfirst=True)
def pytest_sessionstart(session: pytest.Session) -> None:
    """Stop pytest-cov's first measurement in a worker process, before it starts its second.

    It begins one early, not yet told that it is in a worker, and never ends it (seen in 7.1). Every
    line was traced twice, and the mark no_cover stopped only one of the two.
    """
    measuring = session.config.pluginmanager.getplugin("_cov")
    if hasattr(session.config, "workerinput") and getattr(measuring, "cov_controller", None):
        measuring.cov_controller.pause()
