"""Sentences, tables and drawings for people, of values that others decided. Imports all but `cli`."""
