"""The invented sample clinic: eight weeks of patients around today, made from a seed."""
