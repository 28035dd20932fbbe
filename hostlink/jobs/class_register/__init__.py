"""A class: who sits at which board, what was handed out to each, and what came back."""
