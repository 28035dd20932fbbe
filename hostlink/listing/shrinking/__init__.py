"""Make a listing smaller without changing what it does."""
