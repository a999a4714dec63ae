"""Under which addresses phones on the same network reach this computer. Nothing is sent to find out."""

from __future__ import annotations

import ipaddress
import socket
import struct
import sys

# No packet goes there: asking for a datagram socket to these only makes the system choose its own address
# on the way. The first is kept for documentation and stands for "anywhere"; the others are private networks.
TOWARD = (
    "192.0.2.1",
    "10.255.255.254",
    "172.31.255.254",
    "192.168.255.254",
    "192.168.1.254",
    "192.168.0.254",
)
SIOCGIFADDR = 0x8915  # Linux: the address of one interface


def lan_addresses() -> tuple[str, ...]:
    """This computer's own IPv4 addresses that others can reach, the likeliest first."""
    found: list[str] = []
    for address in (*_on_the_way(), *_of_the_name(), *_of_interfaces()):
        ip = ipaddress.ip_address(address)
        usable = not (ip.is_loopback or ip.is_unspecified or ip.is_link_local or ip.is_multicast)
        if usable and address not in found:
            found.append(address)
    return tuple(found)


def local_name() -> str:
    """The name that many phones find on the same network without any set-up."""
    return f"{socket.gethostname().split('.')[0].lower()}.local"


def is_loopback(host: str) -> bool:
    """Whether a name or number always means the computer it is used on."""
    if host.lower().rstrip(".") == "localhost":
        return True
    try:
        ip = ipaddress.ip_address(host.strip("[]").split("%")[0])
    except ValueError:
        return False
    mapped = getattr(ip, "ipv4_mapped", None)
    return ip.is_loopback or (mapped is not None and mapped.is_loopback)


def _on_the_way() -> list[str]:
    found = []
    for target in TOWARD:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            try:
                probe.connect((target, 9))
            except OSError:  # no way there: no network of this kind
                continue
            found.append(str(probe.getsockname()[0]))
    return found


def _of_the_name() -> list[str]:
    try:
        return socket.gethostbyname_ex(socket.gethostname())[2]
    except OSError:  # the computer does not know its own name; the other ways remain
        return []


def _of_interfaces() -> list[str]:
    if not sys.platform.startswith("linux"):
        return []
    import fcntl

    found = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        for _, name in socket.if_nameindex():
            wanted = struct.pack("256s", name.encode()[:15])
            try:
                answer = fcntl.ioctl(probe.fileno(), SIOCGIFADDR, wanted)
            except OSError:  # an interface without an IPv4 address
                continue
            found.append(socket.inet_ntoa(answer[20:24]))
    return found
