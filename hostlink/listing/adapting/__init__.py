"""Adapt a listing for a board whose BASIC takes other forms."""
