"""Archives as portable files (BagIt bags), and what came from other archives."""
