"""Size: from wires to the diameters a marker meets, the way on, and the tubes that pass and close there."""
