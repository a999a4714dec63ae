"""The bench's own settings, in a folder that is thrown away."""

from __future__ import annotations

import atexit
import os
import shutil
import tempfile

os.environ["HANDSEL_DATA"] = tempfile.mkdtemp(prefix="handsel-test-")
atexit.register(shutil.rmtree, os.environ["HANDSEL_DATA"], ignore_errors=True)
for name in ("HANDSEL_SOLO", "HANDSEL_HTTPS", "HANDSEL_DATABASE"):
    os.environ.pop(name, None)

from handsel.bench.settings import *  # noqa: E402, F403

PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]  # quick; the tests guard nothing

# A file and not the memory: threads with connections of their own wait for one another as they do in use.
DATABASES["default"]["ENGINE"] = "clearable"  # noqa: F405
DATABASES["default"]["TEST"] = {"NAME": DATA / "test.sqlite3"}  # noqa: F405

NAMES = ("testserver",)  # what Django's test client calls us

# Every test client starts the whole application; looking for all files of its pages each time takes longer than most
# tests. They are looked up when asked for instead; the tests with a real server serve them as in use.
WHITENOISE_AUTOREFRESH = True
