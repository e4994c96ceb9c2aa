"""Published checks: problems whose answers are known from outside, computed by the program's own verbs."""
