"""A run in progress: readings on disk, the still they tell of, and what is still to come."""
