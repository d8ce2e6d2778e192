"""What waits until a slider rests happens at once here, whatever loop of events a browser test has left running."""

from types import SimpleNamespace

import pytest

from pourprint.panels import live


def no_loop():
    raise RuntimeError("no running event loop")


@pytest.fixture(autouse=True, scope="package")
def nobody_drags():
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(live, "asyncio", SimpleNamespace(get_running_loop=no_loop))
        yield
