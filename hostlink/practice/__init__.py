"""The practice board: a small BASIC computer made of software, behind the port seam."""
