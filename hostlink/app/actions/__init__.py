"""The actions of the app: their keys, words, letters and synonyms."""
