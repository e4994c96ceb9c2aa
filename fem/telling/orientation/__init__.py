"""What a scan of build directions is told with: a page, a table for scripts, pictures of the half sphere."""

from fem.telling.orientation.page import write_orientation

__all__ = ["write_orientation"]
