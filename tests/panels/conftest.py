"""What waits until a slider rests happens at once here, whatever loop of events a browser test has left running."""

import asyncio
from concurrent.futures import ThreadPoolExecutor
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


@pytest.fixture
def in_a_loop():
    """Runs a coroutine in a loop of its own: in a thread, since a browser test may have left one in this."""
    with ThreadPoolExecutor(1) as thread:
        yield lambda coroutine: thread.submit(asyncio.run, coroutine).result()
