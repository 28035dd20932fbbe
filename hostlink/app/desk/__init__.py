"""The desk: the screen where a listing is written and a board is used, in parts."""
