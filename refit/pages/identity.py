"""The boat's identity for what a page prints; kept on the boat's own floor, where commands reach it too."""

from refit.boat.identity import identity

__all__ = ["identity"]
