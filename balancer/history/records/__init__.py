"""Value objects of the history: frozen, checked where they are made."""
