"""A physical model of a bench: rotor, stand, sensor and pick-up, made into recordings."""
