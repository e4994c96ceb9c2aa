"""How a bead, a metal and a thin wall fail: each criterion once, with its reserve and its yes-or-no form."""
