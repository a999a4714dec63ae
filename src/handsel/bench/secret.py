"""The key that signs cookies: made at the first start, kept in the data folder, never in the program."""

from __future__ import annotations

import os
import secrets
from pathlib import Path

NAME = "secret.key"


def secret_key(folder: Path) -> str:
    """The key in the folder, made when there is none. Two starts at once agree on one key."""
    path = folder / NAME
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return _read(path)
    with os.fdopen(handle, "w", encoding="ascii") as file:
        key = secrets.token_urlsafe(50)
        file.write(key)
    return key


def _read(path: Path) -> str:
    key = path.read_text(encoding="ascii").strip()
    if len(key) >= 40:
        return key
    # Cut short by a full disk or a crash at the first start: nothing was signed with it yet.
    path.unlink()
    return secret_key(path.parent)
