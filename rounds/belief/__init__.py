"""Beliefs about the bottles, as a fold over events."""

from rounds.belief.beliefs import Beliefs

__all__ = ["Beliefs"]
