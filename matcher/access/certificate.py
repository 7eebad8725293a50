"""The certificate that the page is served with on a local network: made here, by an authority of this machine's own.

Phones give the camera to secure pages alone. No public authority vouches for a machine on a local network, so one is
made on the first start; a phone that has installed it knows every later certificate too. It can vouch for local
addresses and names alone (RFC 5280, 4.2.1.10), so that who steals its key cannot pose as anybody else.
"""

from __future__ import annotations

import contextlib
import ipaddress
import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from matcher.dates import shown
from matcher.errors import StudioError
from matcher.files import make_folder, whole_file

Address = ipaddress.IPv4Address | ipaddress.IPv6Address
LOCAL = ("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "100.64.0.0/10", "127.0.0.0/8")
LOCAL_6 = ("fc00::/7", "fe80::/10", "::1/128")
"""Addresses that are of a local network: RFC 1918, 3927, 6598, 4193, 4291."""
AUTHORITY_FOR, GOOD_FOR, RENEWED_BEFORE = timedelta(days=3650), timedelta(days=397), timedelta(days=30)
"""397 days: the longest that browsers take of a certificate."""
_NAME = "Studio's own certificate authority"


@dataclass(frozen=True)
class Served:
    """What a page is served with. fingerprint: SHA-256 of the certificate, as browsers show it.

    is_new_authority: phones that have installed an earlier one must install this one.
    """

    certificate: Path
    key: Path
    authority: Path
    fingerprint: str
    is_new_authority: bool


def certificate_for(folder: Path, names: Sequence[str], addresses: Iterable[str]) -> Served:
    """Return a certificate for names and addresses, made where there is none that is good for them all.

    folder: where it is kept, with its key, for its owner alone. Raises StudioError.
    """
    wanted = sorted({ipaddress.ip_address(address.partition("%")[0]) for address in addresses}, key=str)
    hosts = sorted({name.strip(".").lower() for name in names if _is_host(name)} | {"localhost"})
    try:
        make_folder(folder)
        with contextlib.suppress(OSError):
            folder.chmod(0o700)
        authority, authority_key, is_new = _authority(folder, hosts, wanted)
        paths = folder / "served.crt", folder / "served.key"
        if is_new or not _is_good(paths[0], paths[1], authority, hosts, wanted):
            _write_served(paths, authority, authority_key, hosts, wanted)
        served = x509.load_pem_x509_certificate(paths[0].read_bytes())
    except OSError as error:
        raise StudioError(f"The certificate cannot be kept in {folder} ({error.strerror}): make room there.") from error
    return Served(paths[0], paths[1], folder / "authority.crt", fingerprint(served), is_new)


def fingerprint(certificate: x509.Certificate) -> str:
    """Return the SHA-256 of a certificate as browsers show it: "A1:B2:…"."""
    return certificate.fingerprint(hashes.SHA256()).hex(":").upper()


def served_with(certificate: Path, key: Path) -> Served:
    """Return a certificate of one's own to serve with, once certificate and key fit. Raises StudioError."""
    try:
        found = x509.load_pem_x509_certificate(certificate.read_bytes())
        kept = serialization.load_pem_private_key(key.read_bytes(), None)
    except OSError as error:
        raise StudioError(f"{error.filename} cannot be read ({error.strerror}): name another file.") from error
    except (ValueError, TypeError) as error:
        raise StudioError(
            "Give the certificate and its key as PEM files, the key without a passphrase: these are not."
        ) from error
    if kept.public_key() != found.public_key():
        raise StudioError(f"The key {key} is not that of the certificate {certificate}: name the two that fit.")
    if found.not_valid_after_utc < datetime.now(UTC):
        raise StudioError(f"The certificate {certificate} has run out: renew it first.")
    return Served(certificate, key, certificate, fingerprint(found), False)


def _authority(
    folder: Path, hosts: Sequence[str], wanted: Sequence[Address]
) -> tuple[x509.Certificate, ec.EllipticCurvePrivateKey, bool]:
    """Return the authority and its key, made where there is none that may vouch for all that is wanted."""
    kept, key_file = folder / "authority.crt", folder / "authority.key"
    try:
        authority = x509.load_pem_x509_certificate(kept.read_bytes())
        key = serialization.load_pem_private_key(key_file.read_bytes(), None)
        if isinstance(key, ec.EllipticCurvePrivateKey) and _may_vouch(authority, key, hosts, wanted):
            return authority, key, False
    except (OSError, ValueError):
        pass
    key = ec.generate_private_key(ec.SECP256R1())
    now = datetime.now(UTC)
    networks = [ipaddress.ip_network(text) for text in (*LOCAL, *LOCAL_6)]
    networks += [ipaddress.ip_network(one) for one in wanted if not any(one in network for network in networks)]
    permitted: list[x509.GeneralName] = [x509.DNSName(name) for name in sorted({*hosts, "local", "localhost"})]
    permitted += [x509.IPAddress(network) for network in networks]
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, f"{_NAME} ({shown(now)})")])
    authority = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(hours=1))
        .not_valid_after(now + AUTHORITY_FOR)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs_certificates=True), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .add_extension(x509.NameConstraints(permitted, None), critical=True)
        .sign(key, hashes.SHA256())
    )
    _write_key(key_file, key)
    with whole_file(kept, overwrite=True) as half:
        half.write_bytes(authority.public_bytes(serialization.Encoding.PEM))
    return authority, key, True


def _may_vouch(
    authority: x509.Certificate, key: ec.EllipticCurvePrivateKey, hosts: Sequence[str], wanted: Sequence[Address]
) -> bool:
    if authority.not_valid_after_utc < datetime.now(UTC) + GOOD_FOR or authority.public_key() != key.public_key():
        return False
    permitted = authority.extensions.get_extension_for_class(x509.NameConstraints).value.permitted_subtrees or []
    names = [one.value for one in permitted if isinstance(one, x509.DNSName)]
    networks = [one.value for one in permitted if isinstance(one, x509.IPAddress)]
    return all(any(host == name or host.endswith(f".{name}") for name in names) for host in hosts) and all(
        any(one in network for network in networks if not isinstance(network, Address)) for one in wanted
    )


def _is_good(
    certificate: Path, key: Path, authority: x509.Certificate, hosts: Sequence[str], wanted: Sequence[Address]
) -> bool:
    """Tell whether a kept certificate is the authority's, for all that is wanted, and lasts a while."""
    try:
        found = x509.load_pem_x509_certificate(certificate.read_bytes())
        kept = serialization.load_pem_private_key(key.read_bytes(), None)
        found.verify_directly_issued_by(authority)
        named = found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except Exception:  # whatever is wrong with it: a new one is made
        return False
    lasts = found.not_valid_after_utc > datetime.now(UTC) + RENEWED_BEFORE
    its_key = isinstance(kept, ec.EllipticCurvePrivateKey) and kept.public_key() == found.public_key()
    all_named = set(hosts) <= set(named.get_values_for_type(x509.DNSName)) and set(wanted) <= set(
        named.get_values_for_type(x509.IPAddress)
    )
    return lasts and its_key and all_named


def _write_served(
    paths: tuple[Path, Path],
    authority: x509.Certificate,
    authority_key: ec.EllipticCurvePrivateKey,
    hosts: Sequence[str],
    wanted: Sequence[Address],
) -> None:
    key = ec.generate_private_key(ec.SECP256R1())
    now = datetime.now(UTC)
    alternative = [*(x509.DNSName(host) for host in hosts), *(x509.IPAddress(address) for address in wanted)]
    certificate = (
        x509.CertificateBuilder()
        .subject_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, hosts[0][:64])]))
        .issuer_name(authority.subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(hours=1))
        .not_valid_after(now + GOOD_FOR - timedelta(hours=2))
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs_certificates=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName(alternative), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(authority_key.public_key()), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(authority_key, hashes.SHA256())
    )
    _write_key(paths[1], key)
    with whole_file(paths[0], overwrite=True) as half:
        chain = certificate.public_bytes(serialization.Encoding.PEM) + authority.public_bytes(
            serialization.Encoding.PEM
        )
        half.write_bytes(chain)


def _write_key(path: Path, key: ec.EllipticCurvePrivateKey) -> None:
    """Write a private key so that nobody but its owner can read it at any moment."""
    text = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    half = path.with_suffix(".half")
    half.unlink(missing_ok=True)
    with os.fdopen(os.open(half, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        file.write(text)
    half.replace(path)


def _usage(signs_certificates: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs_certificates,
        key_cert_sign=signs_certificates,
        crl_sign=signs_certificates,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        encipher_only=False,
        decipher_only=False,
    )


def _is_host(name: str) -> bool:
    """Tell whether a name can stand in a certificate (RFC 952 and 1123: letters, digits, hyphens, dots)."""
    bare = name.strip(".")
    return (
        0 < len(bare) < 254
        and bare.isascii()
        and all(
            part and len(part) < 64 and part.replace("-", "a").isalnum() and part[0] != "-" and part[-1] != "-"
            for part in bare.split(".")
        )
    )
