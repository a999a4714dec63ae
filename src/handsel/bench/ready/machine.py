"""What this computer says of itself, without any right that an ordinary program lacks.

Nothing here changes a setting. What a system does not tell is said to be unknown, with where to look.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from datetime import datetime
from pathlib import Path

from handsel.bench.ready.finding import BAD, CARE, GOOD, OPEN, Finding

LEAST_FREE, GOOD_FREE = 500_000_000, 3_000_000_000  # bytes; a photo takes about one million
EARLIEST = datetime.fromisoformat("2026-01-01T00:00:00+00:00")  # this program did not exist before
ANSWER_S = 3.0


def disk(folder: Path) -> Finding:
    """Room for records and photos."""
    free = shutil.disk_usage(folder).free
    said = f"{free / 1e9:.1f} GB free where the records lie"
    state = GOOD if free >= GOOD_FREE else CARE if free >= LEAST_FREE else BAD
    return Finding(
        id="disk", title="Room on the disk", state=state, said=said,
        do="" if state == GOOD else "Free some room: a day with many photos takes up to 3 GB.",
    )  # fmt: skip


def clock(now: datetime, last_entry: datetime | None, zone: str) -> Finding:
    """A clock that is wrong puts a whole day's records at the wrong time."""
    said = f"{now:%A %d %B %Y, %H:%M} in {zone}"
    if now < EARLIEST or (last_entry is not None and now < last_entry):
        return Finding(
            id="clock", title="Date and time", state=BAD, said=f"{said}: earlier than what is on record",
            do="Set the clock of this computer, then load this page again.",
        )  # fmt: skip
    return Finding(id="clock", title="Date and time", state=GOOD, said=f"{said}. Compare with your watch.")


def power() -> Finding:
    """Whether it runs from the mains, and whether it may fall asleep."""
    on_mains, sleep_min = _on_mains(), _sleep_minutes()
    said = {True: "plugged in", False: "running from its battery", None: "plugged in or not: not known"}[
        on_mains
    ]
    if sleep_min is None:
        said += "; when it falls asleep could not be read"
    else:
        said += (
            "; it never falls asleep by itself" if sleep_min == 0 else f"; falls asleep after {sleep_min} min"
        )
    state = GOOD if on_mains is not False and sleep_min == 0 else CARE
    do = (
        ""
        if state == GOOD
        else f"Plug it in, and let it stay awake: {SLEEP_WHERE[_system()]} Leave the lid open."
    )
    return Finding(id="power", title="Power and sleep", state=state, said=said, do=do)


def firewall(*, is_passed: bool, port: str) -> Finding:
    """Whether something stands between the phones and this computer. A phone that got through settles it."""
    if is_passed:
        return Finding(id="firewall", title="Firewall", state=GOOD, said="it let a phone in today")
    is_on = _firewall_on()
    if is_on is False:
        return Finding(id="firewall", title="Firewall", state=GOOD, said="it is off for this network")
    said = "it is on" if is_on else "whether it is on could not be read"
    return Finding(
        id="firewall", title="Firewall", state=OPEN, said=f"{said}; the phone above shows whether it lets people in",
        do=FIREWALL_WHERE[_system()].format(port=port),
    )  # fmt: skip


def backup_folder(folder: str, data: Path) -> Finding:
    """A place for the backup that is not the disk of the records."""
    title = "Place for the backup"
    if not folder.strip():
        return Finding(id="backup", title=title, state=OPEN, said="none chosen", do="A USB stick, best two.")
    path = Path(folder).expanduser()
    if not path.is_dir():
        return Finding(
            id="backup", title=title, state=BAD, said=f"{folder} is not there",
            do="Plug the stick in, and type the folder as the file manager shows it.",
        )  # fmt: skip
    if not os.access(path, os.W_OK):
        return Finding(
            id="backup", title=title, state=BAD, said=f"{folder} cannot be written", do="Try another stick."
        )
    if path.stat().st_dev == data.stat().st_dev:
        return Finding(
            id="backup", title=title, state=CARE, said=f"{folder} is on the same disk as the records",
            do="Choose a stick or another disk: one that fails takes both with it.",
        )  # fmt: skip
    free = shutil.disk_usage(path).free
    return Finding(id="backup", title=title, state=GOOD, said=f"{folder}, {free / 1e9:.1f} GB free")


# ---- one system at a time ---------------------------------------------------------------------------

SLEEP_WHERE = {
    "linux": "Settings, Power, Automatic Suspend: off.",
    "mac": "System Settings, Displays or Battery, Options: prevent sleeping; or run “caffeinate -s” beside this.",
    "windows": "Settings, System, Power: never put the device to sleep when plugged in.",
}
FIREWALL_WHERE = {
    "linux": "If a phone gets no answer: “sudo ufw allow {port}/tcp” or the firewall's own window, port {port}.",
    "mac": "If a phone gets no answer: System Settings, Network, Firewall: allow incoming connections for Python.",
    "windows": "If a phone gets no answer: Windows asked at the first start; allow Python in private networks, and set "
    "this network to private.",
}


def _system() -> str:
    return {"darwin": "mac", "win32": "windows"}.get(sys.platform, "linux")


def _asked(*command: str) -> str:
    """What a program of the system says; nothing if it is not there, fails or takes too long."""
    found = shutil.which(command[0])
    if found is None:
        return ""
    try:
        done = subprocess.run(
            [found, *command[1:]],
            capture_output=True,
            text=True,
            errors="replace",
            timeout=ANSWER_S,
            check=False,
        )
    except (OSError, subprocess.TimeoutExpired):
        return ""
    return done.stdout if done.returncode == 0 else ""


def _on_mains() -> bool | None:
    if _system() == "mac":
        said = _asked("pmset", "-g", "batt")
        return None if not said else "AC Power" in said
    if _system() == "windows":
        return _windows_mains()
    states = []
    for supply in Path("/sys/class/power_supply").glob("*"):
        try:
            if (supply / "type").read_text().strip() == "Mains":
                states.append((supply / "online").read_text().strip() == "1")
        except OSError:  # a supply that tells nothing
            continue
    return any(states) if states else None


def _windows_mains() -> bool | None:
    import ctypes

    library = getattr(ctypes, "windll", None)  # there on Windows only
    status = (ctypes.c_ubyte * 12)()
    if library is None or not library.kernel32.GetSystemPowerStatus(ctypes.byref(status)):
        return None
    return {0: False, 1: True}.get(status[0])


def _sleep_minutes() -> int | None:
    """Minutes until it falls asleep on mains power, 0 for never."""
    if _system() == "mac":
        return read_pmset(_asked("pmset", "-g"))
    if _system() == "windows":
        return read_powercfg(_asked("powercfg", "/query", "SCHEME_CURRENT", "SUB_SLEEP", "STANDBYIDLE"))
    kind = _asked("gsettings", "get", "org.gnome.settings-daemon.plugins.power", "sleep-inactive-ac-type")
    after = _asked("gsettings", "get", "org.gnome.settings-daemon.plugins.power", "sleep-inactive-ac-timeout")
    return read_gsettings(kind, after)


def read_pmset(said: str) -> int | None:
    """From "pmset -g": the line "sleep  10 (...)"."""
    found = re.search(r"^\s*sleep\s+(\d+)", said, re.MULTILINE)
    return int(found[1]) if found else None


def read_powercfg(said: str) -> int | None:
    """From "powercfg /query": the first of the two last hexadecimal numbers, in seconds; words differ by language."""
    numbers = re.findall(r"0x([0-9a-fA-F]{8})\s*$", said, re.MULTILINE)
    return int(numbers[-2], 16) // 60 if len(numbers) >= 2 else None


def read_gsettings(kind: str, after: str) -> int | None:
    """From the two settings of the desktop: what it does when idle, and after how many seconds."""
    if not kind.strip():
        return None
    if "nothing" in kind:
        return 0
    found = re.search(r"(\d+)\s*$", after.strip())
    return None if found is None else int(found[1]) // 60


def _firewall_on() -> bool | None:
    if _system() == "mac":
        said = _asked("/usr/libexec/ApplicationFirewall/socketfilterfw", "--getglobalstate")
        return None if not said else "enabled" in said.lower()
    if _system() == "windows":
        found = re.findall(r"\b(ON|OFF)\b", _asked("netsh", "advfirewall", "show", "currentprofile", "state"))
        return None if not found else found[0] == "ON"
    for program, word in (("firewall-cmd", "running"),):
        said = _asked(program, "--state")
        if said:
            return word in said
    try:
        conf = Path("/etc/ufw/ufw.conf").read_text(encoding="utf-8")
    except OSError:
        return None
    return "ENABLED=yes" in conf
