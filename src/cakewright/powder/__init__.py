"""What does the powder do? Need and balance of a build, age of a mix, lots, blends, stock."""
