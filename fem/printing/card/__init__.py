"""How a card's file becomes the values of its states: the nouns, the readers, and the checks."""
