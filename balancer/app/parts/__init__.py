"""Parts: the list, one part with its story, what a person changes of it."""
