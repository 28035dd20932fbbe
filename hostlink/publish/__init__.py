"""Make pages to print and to publish, and drawings of numbers. No I/O."""
