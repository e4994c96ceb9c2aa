"""What the part must bear: supports, loads, and the cases that combine them."""
