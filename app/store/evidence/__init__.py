"""What shows that nothing filed was altered: the chain over all of it, and its check."""
