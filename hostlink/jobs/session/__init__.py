"""A board attached for one or many jobs: recognised, watched for restarts, kept open."""
