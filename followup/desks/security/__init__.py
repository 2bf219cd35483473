"""Small pieces that keep the desks safe: each does one thing and is tested by a table."""
