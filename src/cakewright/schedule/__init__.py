"""When does what happen: builds on machines and chambers, hands on shifts, a date for every line."""
