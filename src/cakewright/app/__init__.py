"""One file per thing a person does. This floor introduces the domains to each other, to files and to the clock."""
