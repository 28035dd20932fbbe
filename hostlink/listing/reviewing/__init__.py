"""Review a listing before a board sees it: lines, jumps, variables."""
