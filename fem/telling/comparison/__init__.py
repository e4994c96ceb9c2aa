"""The page on which variants of a study are compared."""

from fem.telling.comparison.page import write_comparison

__all__ = ["write_comparison"]
