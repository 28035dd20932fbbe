"""The SQLite file itself: its tables and rules, opening it, rows and their checksums."""
