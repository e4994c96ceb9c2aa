"""One page for one solid: faces, points, patches and build directions are picked on it, and the lines of a study that
say just these stand ready to copy."""

from fem.telling.picking.nouns import Choices, FaceChoice, GroupChoice
from fem.telling.picking.page import mark_in, pick_html

__all__ = ["Choices", "FaceChoice", "GroupChoice", "mark_in", "pick_html"]
