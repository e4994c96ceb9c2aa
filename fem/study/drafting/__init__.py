"""A first study of a solid, written by the program: what there is to name, what it guesses, the file."""
