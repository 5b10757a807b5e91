"""The refit program: buying and stowing of parts through the refit of a cruising boat."""
