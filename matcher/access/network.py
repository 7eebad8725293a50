"""Where this machine can be reached on its local network: its names and addresses."""

from __future__ import annotations

import ipaddress
import socket
from functools import lru_cache

import ifaddr


def own_addresses() -> list[str]:
    """Return the addresses of this machine that others can reach, those of a local IPv4 network first.

    Without loopback and without IPv6 addresses that hold for one cable only, which nobody types.
    """
    found = {ip.ip if isinstance(ip.ip, str) else ip.ip[0] for adapter in ifaddr.get_adapters() for ip in adapter.ips}
    usable = []
    for text in found:
        address = ipaddress.ip_address(text)
        if not (address.is_loopback or address.is_link_local or address.is_unspecified or address.is_multicast):
            usable.append(address)
    return [str(one) for one in sorted(usable, key=lambda one: (one.version, not one.is_private, int(one)))]


def own_names() -> list[str]:
    """Return the names of this machine: as it calls itself, and as multicast DNS tells it (RFC 6762: ".local")."""
    name = socket.gethostname().partition(".")[0]
    return [name, f"{name}.local"] if name and name != "localhost" else []


@lru_cache(maxsize=256)
def is_loopback(host: str) -> bool:
    """Tell whether a host, by "localhost" or an address, is this machine itself (RFC 6761, 6.3; RFC 4291, 2.5.3)."""
    bare = host.strip().strip("[]").partition("%")[0].rstrip(".").lower()
    if bare == "localhost":
        return True
    try:
        address = ipaddress.ip_address(bare)
    except ValueError:
        return False
    return bool((getattr(address, "ipv4_mapped", None) or address).is_loopback)


@lru_cache(maxsize=16)
def is_this_machine_alone(host: str) -> bool:
    """Tell whether nobody but this machine can reach what listens on ``host``, names looked up; False if unknown."""
    if is_loopback(host):
        return True
    try:
        found = {str(place[0]) for *_, place in socket.getaddrinfo(host, None)}
    except (OSError, UnicodeError):
        return False
    return bool(found) and all(is_loopback(address) for address in found)
