"""Programs of other people that the checks call."""

import os
import shutil

import pytest

PACKAGES = {
    "cc": "gcc",
    "curl": "curl",
    "mosquitto": "mosquitto",
    "mosquitto_pub": "mosquitto-clients",
    "mosquitto_sub": "mosquitto-clients",
    "sqlite3": "sqlite3",
}
"""The Debian package of each."""


def program(name):
    """The path of a program. Where it is missing the check is skipped and says so; under CI it fails."""
    path = shutil.which(name) or shutil.which(name, path="/usr/sbin")
    if path is None:
        missing(name, PACKAGES[name])
    return path


def missing(what, package):
    """Skips the check and says so; under CI it fails."""
    why = f"{what} is missing: install the Debian package {package}"
    if os.environ.get("CI"):
        pytest.fail(why)
    pytest.skip(why)


def plain_environment():
    """This process's environment without what would change how a program behaves here."""
    left_out = {"http_proxy", "https_proxy", "all_proxy", "no_proxy", "notify_socket", "curl_home"}
    return {
        name: value
        for name, value in os.environ.items()
        if not name.upper().startswith("SCONCED_") and name.lower() not in left_out
    }
