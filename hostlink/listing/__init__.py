"""Pure text: parse, mend, measure, review, compare listings. No I/O, no clock, no port."""

from hostlink.listing.canonical import (
    canonical,
    canonical_line,
    listed_line,
    same,
    sha256_canonical,
    sha256_exact,
)
from hostlink.listing.measure import Ledger, LedgerRow, measure
from hostlink.listing.parse import Line, Listing
from hostlink.listing.rules import Form, Language, Rules, Storage

__all__ = [
    "Form",
    "Language",
    "Ledger",
    "LedgerRow",
    "Line",
    "Listing",
    "Rules",
    "Storage",
    "canonical",
    "canonical_line",
    "listed_line",
    "measure",
    "same",
    "sha256_canonical",
    "sha256_exact",
]
