"""Sets what holds for every test, and loads the fixtures that several test modules share."""

import os

from tests.example_counts import register_profiles

pytest_plugins = ("tests.browser", "tests.command_line", "tests.log_places")

if "PYTEST_XDIST_WORKER" in os.environ:  # one of several: threads of their own would only take turns
    for library in ("OMP", "OPENBLAS", "MKL"):
        os.environ.setdefault(f"{library}_NUM_THREADS", "1")

os.environ["MATCHER_BACKUPS"] = "no"  # but in the tests that are about them: they would lie in the user's own folder

register_profiles()
