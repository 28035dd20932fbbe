"""Parse, mend, measure, review and compare listings; pure functions on text, without I/O."""

from hostlink.listing.canonical import canonical, canonical_line, canonical_lines, listed_line
from hostlink.listing.charset import cannot_take, check_charset, to_bytes, to_text
from hostlink.listing.compare import ChangedLine, Comparison, Stretch, compare, unified
from hostlink.listing.finding import Finding
from hostlink.listing.measure import Ledger, LedgerRow, measure
from hostlink.listing.mending.mend import Mended, mend
from hostlink.listing.mending.rows import Doubt, Mend
from hostlink.listing.parse import Line, Listing
from hostlink.listing.reviewing.review import Review, review
from hostlink.listing.rules import Form, Language, Rules, Storage
from hostlink.listing.source import LIMIT, decode_listing

__all__ = [
    "LIMIT",
    "ChangedLine",
    "Comparison",
    "Doubt",
    "Finding",
    "Form",
    "Language",
    "Ledger",
    "LedgerRow",
    "Line",
    "Listing",
    "Mend",
    "Mended",
    "Review",
    "Rules",
    "Storage",
    "Stretch",
    "cannot_take",
    "canonical",
    "canonical_line",
    "canonical_lines",
    "check_charset",
    "compare",
    "decode_listing",
    "listed_line",
    "measure",
    "mend",
    "review",
    "to_bytes",
    "to_text",
    "unified",
]
