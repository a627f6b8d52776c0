"""What every check gets: a daemon, an owner, and ids that nobody else uses.

The checks in this folder hold the real daemon against programs and libraries of other people. `tests/run` runs them;
alone they run by `python -m pytest tests/outside` in an environment with `requirements.txt`, after `cargo build`.
"""

import itertools
import tempfile

import hypothesis
import hypothesis.configuration
import pytest

from daemon import BINARY, Daemon

# the same examples in every run, so that a red check stays red until it is mended, and nothing is written here
_kept_until_the_end = tempfile.TemporaryDirectory(prefix="hypothesis-")
hypothesis.configuration.set_hypothesis_home_dir(_kept_until_the_end.name)
hypothesis.settings.register_profile(
    "outside",
    derandomize=True,
    database=None,
    deadline=None,
    print_blob=False,
    suppress_health_check=[hypothesis.HealthCheck.too_slow],
)
hypothesis.settings.load_profile("outside")

_numbers = itertools.count(1)


@pytest.fixture(scope="session")
def binary():
    if not BINARY.exists():
        pytest.fail(f"{BINARY} is missing: build it with `cargo build -p sconced`, or run tests/run", pytrace=False)
    return BINARY


AMSTERDAM = (52.37, 4.9, "Europe/Amsterdam")
"""Where the shared daemon's site is."""


@pytest.fixture(scope="session")
def daemon(binary, tmp_path_factory):
    """A daemon that many checks share, each with fixtures of its own."""
    running = Daemon(tmp_path_factory.mktemp("shared"), site=AMSTERDAM)
    yield running
    running.kill()


@pytest.fixture
def own_daemon(binary, tmp_path):
    """A daemon that one check has for itself."""
    running = Daemon(tmp_path)
    yield running
    running.kill()


@pytest.fixture
def closed_daemon(binary, tmp_path):
    """A daemon that asks everybody for a token."""
    running = Daemon(tmp_path, is_open=False)
    yield running
    running.kill()


@pytest.fixture
def owner(daemon):
    return daemon.owner


@pytest.fixture
def new_id():
    """Makes ids of fixtures that no other check uses."""
    return lambda: f"reed-{next(_numbers)}"


@pytest.fixture(scope="module")
def open_fixture(daemon):
    """A fixture of kind `free`, which takes every document within the bounds."""
    fixture = f"open-{next(_numbers)}"
    daemon.owner.add(fixture, kind="free")
    return fixture


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item):
    report = yield
    if report.failed:
        for running in item.funcargs.values():
            if isinstance(running, Daemon):
                report.sections.append(("the daemon's last words", running.log()))
    return report
