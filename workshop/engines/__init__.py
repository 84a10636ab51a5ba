"""Engine specs, and their file format."""
