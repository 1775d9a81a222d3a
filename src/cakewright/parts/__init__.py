"""Is it printable? Meshes measured, checked, repaired, turned and told apart. Opens no file."""
