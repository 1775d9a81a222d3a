"""Migrations, in order. Each is one transaction; none is ever edited once released."""
