"""No test finds on this machine's disk what another run has kept, and none fails because the machine is busy."""

import os

from hypothesis import settings

os.environ["POURPRINT_CACHE"] = ""
settings.register_profile("unhurried", settings(), deadline=None)
settings.load_profile("unhurried")
