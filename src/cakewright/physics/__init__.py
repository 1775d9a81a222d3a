"""What does the build do? Layers, hours, heat, risk, shrink, energy."""
