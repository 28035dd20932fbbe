"""SQLite: everything kept, with its history."""
