"""Pure text: parse, mend, measure, review, compare listings. No I/O, no clock, no port."""
