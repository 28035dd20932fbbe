"""The identity of a shipped program: a UUID of version 5 by RFC 9562 (May 2024)."""

from __future__ import annotations

import hashlib
import uuid

import pytest

from hostlink.archive.revisions import LIBRARY, library_identity
from hostlink.jobs.listing_source import shipped_programs


def by_the_rfc(namespace: bytes, name: str) -> bytes:
    """Section 5.5: SHA-1 over namespace and name, its first 128 bits; section 4.1 and 4.2: the
    variant bits 10 in octet 8, the version in the high half of octet 6."""
    octets = bytearray(hashlib.sha1(namespace + name.encode("utf-8")).digest()[:16])
    octets[6] = octets[6] & 0x0F | 0x50
    octets[8] = octets[8] & 0x3F | 0x80
    return bytes(octets)


def test_the_example_of_the_rfc() -> None:
    """Appendix A.4: www.example.com in the namespace of DNS names (value from memory)."""
    made = by_the_rfc(uuid.NAMESPACE_DNS.bytes, "www.example.com")
    assert str(uuid.UUID(bytes=made)) == "2ed6657d-e927-568b-95e1-2665a8aea6a2"


@pytest.mark.parametrize("name", sorted(shipped_programs()))
def test_each_shipped_program_has_the_identity_of_its_name(name: str) -> None:
    """Worked out by hand from the RFC; the same for the name in small letters."""
    made = uuid.UUID(bytes=by_the_rfc(LIBRARY.bytes, name))
    assert library_identity(name) == library_identity(name.lower()) == str(made)
    assert made.version == 5 and made.variant == uuid.RFC_4122
