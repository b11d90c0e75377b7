"""The settings of Lotward with what only tests need; chosen in pyproject.toml.

Databases are files, also on SQLite: a database in memory cannot show locking, and
five of six parallel live-server requests failed on one.
"""

from __future__ import annotations

import atexit
import os
import shutil
import tempfile
from pathlib import Path

TEST_DIR = Path(tempfile.mkdtemp(prefix="lotward-tests-"))
atexit.register(shutil.rmtree, TEST_DIR, ignore_errors=True)

for _name in [name for name in os.environ if name.startswith("LOTWARD_")]:
    if not _name.startswith("LOTWARD_TEST_") and _name != "LOTWARD_DATABASE_URL":
        del os.environ[_name]
if "LOTWARD_TEST_DATABASE_URL" in os.environ:
    os.environ["LOTWARD_DATABASE_URL"] = os.environ["LOTWARD_TEST_DATABASE_URL"]
os.environ["LOTWARD_DATA_DIR"] = str(TEST_DIR)

from lotward.settings import *  # noqa: E402, F403
from lotward.settings import DATABASES, STORAGES  # noqa: E402

_default = DATABASES["default"]
if _default["ENGINE"] == "lotward.sqlite":
    _default["NAME"] = TEST_DIR / "lotward.sqlite3"
    # Tests of power cuts and kills run a server of their own with the real settings.
    _default["OPTIONS"]["init_command"] = _default["OPTIONS"]["init_command"].replace(
        "synchronous=FULL",
        # What a test's savepoints keep would be a file each time.
        "synchronous=OFF;PRAGMA temp_store=MEMORY",
    )
else:
    _default["CONN_MAX_AGE"] = 0
    # A test's own transaction lasts as long as the test.
    _default["OPTIONS"]["options"] += " -c idle_in_transaction_session_timeout=0"

# An empty folder: WhiteNoise reads all that was collected anew for every client.
STATIC_ROOT = TEST_DIR / "static"
STATIC_ROOT.mkdir()
STORAGES["staticfiles"] = {
    "BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"
}
DISK_WARN_PERCENT = 0  # how full the disk of the tests is, is no matter of theirs
CLOCK_GAP_DAYS = 0  # what tests sign by hand is long ago
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.MD5PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",  # the demo's
]
ALLOWED_HOSTS = ["testserver", "localhost", "127.0.0.1"]
