"""How do the parts fit? Meshes and pieces in, a placed, proven and removable build out."""
