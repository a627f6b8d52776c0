"""Programs of other people that the checks call."""

import os
import shutil

import pytest

PACKAGES = {
    "curl": "curl",
    "mosquitto_pub": "mosquitto-clients",
    "mosquitto_sub": "mosquitto-clients",
    "sqlite3": "sqlite3",
}
"""The Debian package of each."""


def program(name):
    """The path of a program. Where it is missing the check is skipped and says so; under CI it fails."""
    path = shutil.which(name)
    if path is None:
        why = f"{name} is missing: install the Debian package {PACKAGES[name]}"
        if os.environ.get("CI"):
            pytest.fail(why)
        pytest.skip(why)
    return path


def plain_environment():
    """This process's environment without what would change how a program behaves here."""
    left_out = {"http_proxy", "https_proxy", "all_proxy", "no_proxy", "notify_socket", "curl_home"}
    return {
        name: value
        for name, value in os.environ.items()
        if not name.upper().startswith("SCONCED_") and name.lower() not in left_out
    }
