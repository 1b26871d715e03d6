"""Live values: what the rotor on the bench does now."""
