"""The certificate of a page on a local network: made once, renewed in time, and good for nothing else.

Checked by OpenSSL (``openssl verify``) where it is installed, and by Python's ssl in ``test_served_safely``.
"""

from __future__ import annotations

import shutil
import stat
import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography import x509

from matcher.access import certificate as of_certificate
from matcher.access.certificate import GOOD_FOR, RENEWED_BEFORE, certificate_for, served_with
from matcher.access.network import is_loopback, is_this_machine_alone, own_addresses
from matcher.errors import StudioError

HERE = ("192.168.1.20", "fd00::20")


def verified(served: of_certificate.Served, *how: str) -> bool:
    if shutil.which("openssl") is None:
        pytest.skip("openssl is not installed")
    command = ["openssl", "verify", "-CAfile", str(served.authority), *how, str(served.certificate)]
    return subprocess.run(command, capture_output=True, check=False).returncode == 0


def test_it_is_vouched_for_under_each_of_its_names_and_no_other(tmp_path: Path) -> None:
    served = certificate_for(tmp_path / "https", ["bench", "bench.local"], HERE)
    assert all(verified(served, "-verify_ip", address) for address in HERE)
    assert all(verified(served, "-verify_hostname", name) for name in ("bench", "bench.local", "localhost"))
    assert not verified(served, "-verify_hostname", "elsewhere.example")
    assert not verified(served, "-verify_ip", "192.168.1.21")


def test_its_authority_cannot_vouch_for_anybody_elsewhere(tmp_path: Path) -> None:
    """RFC 5280, 4.2.1.10: who steals the key still cannot pose as a site that is not on a local network."""
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    certificate_for(tmp_path / "https", ["bench"], HERE)
    authority = x509.load_pem_x509_certificate((tmp_path / "https" / "authority.crt").read_bytes())
    key = load_pem_private_key((tmp_path / "https" / "authority.key").read_bytes(), None)
    for names, addresses in ((["elsewhere.example"], []), ([], ["203.0.113.9"])):
        folder = tmp_path / "forged"
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir()
        paths = folder / "served.crt", folder / "served.key"
        wanted = [of_certificate.ipaddress.ip_address(one) for one in addresses]
        of_certificate._write_served(paths, authority, key, names or ["bench"], wanted)  # type: ignore[arg-type]
        forged = of_certificate.Served(paths[0], paths[1], tmp_path / "https" / "authority.crt", "", False)
        assert not verified(forged)


def test_keys_are_for_their_owner_alone(tmp_path: Path) -> None:
    served = certificate_for(tmp_path / "https", ["bench"], HERE)
    for path in (served.key, tmp_path / "https" / "authority.key"):
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert stat.S_IMODE((tmp_path / "https").stat().st_mode) == 0o700


def test_it_is_kept_until_it_must_change_and_phones_need_not_learn_anew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "https"
    first = certificate_for(folder, ["bench"], HERE)
    assert first.is_new_authority
    again = certificate_for(folder, ["bench"], HERE)
    assert (again.fingerprint, again.is_new_authority) == (first.fingerprint, False)
    moved = certificate_for(folder, ["bench"], ["192.168.1.77"])
    assert moved.fingerprint != first.fingerprint and not moved.is_new_authority, "another address of a local network"
    later = datetime.now(UTC) + GOOD_FOR - RENEWED_BEFORE

    class Then(datetime):
        @classmethod
        def now(cls, tz=None):  # type: ignore[no-untyped-def]
            return later

    monkeypatch.setattr(of_certificate, "datetime", Then)
    renewed = certificate_for(folder, ["bench"], ["192.168.1.77"])
    assert renewed.fingerprint != moved.fingerprint and not renewed.is_new_authority
    monkeypatch.undo()
    public = certificate_for(folder, ["bench"], ["203.0.113.5"])
    assert public.is_new_authority, "no authority before could vouch for an address that is not local"


def test_no_browser_takes_one_for_longer(tmp_path: Path) -> None:
    """398 days at most are taken by browsers (CA/Browser Forum, Baseline Requirements, 6.3.2)."""
    found = x509.load_pem_x509_certificate(certificate_for(tmp_path / "h", ["b"], HERE).certificate.read_bytes())
    assert found.not_valid_after_utc - found.not_valid_before_utc <= timedelta(days=398)


@pytest.mark.parametrize("damage", [b"", b"no certificate", None])
def test_what_is_damaged_is_made_anew(tmp_path: Path, damage: bytes | None) -> None:
    folder = tmp_path / "https"
    first = certificate_for(folder, ["bench"], HERE)
    for name in ("served.crt", "served.key", "authority.key"):
        path = folder / name
        if damage is None:
            path.unlink()
        else:
            path.write_bytes(damage)
        assert verified(certificate_for(folder, ["bench"], HERE), "-verify_ip", HERE[0])
    assert certificate_for(folder, ["bench"], HERE).fingerprint != first.fingerprint


def test_a_name_that_is_none_is_left_out(tmp_path: Path) -> None:
    served = certificate_for(tmp_path / "https", ["Bench_PC 2", "-x", "ok-1", ""], HERE)
    named = x509.load_pem_x509_certificate(served.certificate.read_bytes()).extensions
    names = named.get_extension_for_class(x509.SubjectAlternativeName).value.get_values_for_type(x509.DNSName)
    assert names == ["localhost", "ok-1"]


def test_ones_own_must_fit(tmp_path: Path) -> None:
    one, other = (certificate_for(tmp_path / name, ["bench"], HERE) for name in ("one", "other"))
    assert served_with(one.certificate, one.key).fingerprint == one.fingerprint
    with pytest.raises(StudioError, match="not that of"):
        served_with(one.certificate, other.key)


@pytest.mark.parametrize(
    "host", ["localhost", "127.0.0.1", "127.9.9.9", "::1", "[::1]", "::ffff:127.0.0.1", "LOCALHOST."]
)
def test_these_are_this_machine_itself(host: str) -> None:
    """RFC 6761, 6.3; RFC 1122, 3.2.1.3; RFC 4291, 2.5.3."""
    assert is_loopback(host) and is_this_machine_alone(host)


@pytest.mark.parametrize(
    "host",
    ["0.0.0.0", "::", "192.168.1.5", "127.0.0.1.elsewhere.example", "no.such.host.invalid", "", "::ffff:10.0.0.1"],
)
def test_these_are_not_and_nor_is_what_nobody_knows(host: str) -> None:
    assert not is_loopback(host) and not is_this_machine_alone(host)


def test_addresses_of_this_machine_are_those_that_others_reach() -> None:
    assert not any(is_loopback(address) for address in own_addresses())
