"""The outcome audit: rows handed in, figures with their uncertainty and what they can't say out."""
